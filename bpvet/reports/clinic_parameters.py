"""The parameters of a report on a clinic's measuring: plain JSON beside the notebook."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.records.read_options import ReadOptions


@dataclass(frozen=True)
class ClinicParameters:
    """What a report on a clinic's measuring is asked for.

    Parameters
    ----------
    records : str
        Path of the records, from the notebook's folder where that is possible.
    as_of : str
        The date that the report speaks for, YYYY-MM-DD.
    reading : ReadOptions
        How the records are read.
    options : dict
        Named arguments of the library's function, JSON values.
    """

    records: str
    as_of: str
    reading: ReadOptions
    options: dict[str, Any]

    def to_json(self, mark: str) -> str:
        """Return the parameters as JSON text that bears the mark of its report."""
        held = {
            "bpvet_report": mark,
            "records": self.records,
            "as_of": self.as_of,
            "reading": self.reading.to_plain(),
            "options": self.options,
        }
        return json.dumps(held, indent=2, ensure_ascii=False) + "\n"

    @property
    def read(self) -> dict[str, Any]:
        """The named arguments of `bpvet.read`."""
        return {"as_of": self.as_of} | self.reading.to_plain()


def parameters(path: str | os.PathLike[str]) -> ClinicParameters:
    """Return the parameters in a file, as a report wrote it.

    Raises
    ------
    CallError
        Where the file cannot be read, or is no such file.
    """
    try:
        held = json.loads(Path(path).read_text(encoding="utf-8"))
        given = {part.name: held[part.name] for part in fields(ClinicParameters)}
        given["reading"] = ReadOptions(**given["reading"])
        given["options"] = dict(given["options"])
        return ClinicParameters(**given)
    except OSError as error:
        raise CallError(f"{path} cannot be read: {error.strerror}.") from error
    except (KeyError, TypeError, ValueError) as error:
        raise CallError(f"{path} does not hold the parameters of a report: {error}.") from error
