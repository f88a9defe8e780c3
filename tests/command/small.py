"""What the tests of commands share: a date, what a command left behind, a small readings file."""

from dataclasses import dataclass
from pathlib import Path

#: The date that every command here speaks for.
AS_OF = "2026-06-01"


@dataclass(frozen=True)
class Ended:
    """What a command left behind."""

    status: int
    out: str
    err: str


def write_readings(folder: Path, rows: str, name: str = "readings.csv") -> Path:
    """Write a readings file with these rows below a header of four columns."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / name
    file.write_text(f"animal,taken_at,method,systolic\n{rows}\n", encoding="utf-8")
    return folder
