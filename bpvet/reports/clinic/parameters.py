"""The parameters of a report on a clinic's measuring: plain JSON beside the notebook."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

from bpvet.reports.asked import Asked, Held, finite, text, truth


@dataclass(frozen=True)
class ClinicParameters(Asked):
    """What a report on a clinic's measuring is asked for.

    Parameters
    ----------
    records, as_of, reading
        As `bpvet.reports.asked.Asked` takes them.
    options : dict
        Named arguments of the library's function, JSON values.
    """

    options: dict[str, Any]


def parameters(path: str | os.PathLike[str]) -> ClinicParameters:
    """Return the parameters in a file, as a report wrote it.

    Raises
    ------
    CallError
        Where the file cannot be read, is no such file, or holds a value of another kind.
    """
    held = Held(path)
    options = held.get("options", "options by name, each a text, a number or true or false", _plain)
    return ClinicParameters(held.records(), held.as_of(), held.reading(), options)


def _plain(value: Any) -> dict[str, Any]:
    return {text(name): _one(held) for name, held in value.items()}


def _one(value: Any) -> str | float | bool | None:
    if value is None:
        return None
    if isinstance(value, bool):
        return truth(value)
    return text(value) if isinstance(value, str) else finite(value)
