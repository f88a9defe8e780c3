"""A session that was typed, as rows of the readings' table."""

from __future__ import annotations

import argparse

from bpvet.answers.room.result import ReadingFate
from bpvet.command.shared.options import option
from bpvet.command.shared.typed_readings import one_line
from bpvet.errors import CallError

#: Columns that options fill as they are typed, and those that hold sizes in cm.
TEXTS = ("session", "site", "side", "posture", "demeanour", "operator", "instrument", "note")
SIZES = ("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm")
_SIGNS = {"at least": "> ", "at most": "< "}


def shared_cells(arguments: argparse.Namespace, animal: str, taken_at: str) -> dict[str, str]:
    """Return the cells that are the same for all readings of a session, by column.

    Raises
    ------
    CallError
        A text is more than one line, or a size is none.
    """
    texts = {name: one_line(getattr(arguments, name), option(name)) for name in TEXTS}
    sizes = {name: getattr(arguments, name) for name in SIZES}
    for name, size in sizes.items():
        if size is not None and not 0 <= size <= 500:
            raise CallError(f"{option(name)} {size:g} is not a size in cm.")
    return {
        "animal": animal,
        "taken_at": taken_at,
        "method": arguments.method,
        "setting": arguments.setting,
        "state": arguments.state,
        **texts,
        **{name: "" if size is None else f"{size:g}" for name, size in sizes.items()},
    }


def readings_csv(
    readings: tuple[ReadingFate, ...], shared: dict[str, str], plain: bool = False
) -> bytes:
    """Return readings as a file in our layout, one row a reading.

    Parameters
    ----------
    readings : tuple of ReadingFate
        In order of taking.
    shared : dict
        The cells that are the same in every row, by column.
    plain : bool
        As in `bpvet.files.csv_bytes`.
    """
    from bpvet.files import csv_bytes
    from bpvet.records.entries.files import ENTRY
    from bpvet.records.tables import column_names

    heads = [name for name in column_names("readings") if name != ENTRY]
    rows = reading_rows(readings, shared)
    return csv_bytes(heads, ([row.get(name, "") for name in heads] for row in rows), plain)


def reading_rows(readings: tuple[ReadingFate, ...], shared: dict[str, str]) -> list[dict[str, str]]:
    """Return readings as rows of the table, cells by column; as `readings_csv` takes them."""
    rows = []
    for reading in readings:
        systolic = "no sound" if reading.systolic is None else f"{reading.systolic:.10g}"
        cells = {
            "systolic": f"{_SIGNS.get(reading.bound, '')}{systolic}",
            "reading": str(reading.number),
        }
        for name in ("diastolic", "mean", "heart_rate"):
            value = getattr(reading, name)
            cells[name] = "" if value is None else f"{value:.10g}"
        cells["excluded"] = reading.reason if reading.fate == "excluded" else ""
        rows.append({**shared, **cells})
    return rows
