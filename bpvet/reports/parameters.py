"""The parameters of a report: plain JSON beside the notebook, from which its first cell works."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.prior_table import PriorTable
from bpvet.facts.priors import Priors
from bpvet.records.conventions import is_toml
from bpvet.records.read_options import ReadOptions

#: A database's URL as a path, which keeps one stroke of two.
_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:/")


@dataclass(frozen=True)
class Parameters:
    """What a report is asked for: where the records are, whose report it is, and every choice.

    Parameters
    ----------
    records : str
        Path of the records, from the notebook's folder where that is possible.
    animal : str
        Id of the animal.
    method, quantity, condition, bridge, rule
        As `bpvet.fit_trend` takes them.
    guideline, level
        As `Trend.answer` takes them.
    as_of : str
        The date that the report speaks for, YYYY-MM-DD.
    reading : ReadOptions
        How the records are read.
    priors : Priors, PriorTable or None
        As `bpvet.fit_trend` takes them.
    """

    records: str
    animal: str
    method: str | None
    quantity: str
    condition: str | None
    bridge: tuple[str, ...]
    rule: str
    guideline: str
    level: float
    as_of: str
    reading: ReadOptions
    priors: Priors | PriorTable | None

    def to_json(self, mark: str) -> str:
        """Return the parameters as JSON text that bears the mark of its report."""
        held = {part.name: getattr(self, part.name) for part in fields(self)}
        held["bridge"] = list(self.bridge)
        held["reading"] = self.reading.to_plain()
        held["priors"] = _priors_to_plain(self.priors)
        return json.dumps({"bpvet_report": mark} | held, indent=2, ensure_ascii=False) + "\n"

    @property
    def read(self) -> dict[str, Any]:
        """The named arguments of `bpvet.read`."""
        return {"as_of": self.as_of} | self.reading.to_plain()

    @property
    def trend(self) -> dict[str, Any]:
        """The named arguments of `bpvet.fit_trend`."""
        names = ("method", "quantity", "condition", "bridge", "rule", "priors")
        return {name: getattr(self, name) for name in names}

    @property
    def answer(self) -> dict[str, Any]:
        """The named arguments of `Trend.answer`."""
        return {"guideline": self.guideline, "level": self.level}


def parameters(path: str | os.PathLike[str]) -> Parameters:
    """Return the parameters in a file, as a report wrote it.

    Parameters
    ----------
    path : str or path
        A JSON file.

    Raises
    ------
    CallError
        Where the file cannot be read, or is no such file.
    """
    try:
        held = json.loads(Path(path).read_text(encoding="utf-8"))
        given = {part.name: held[part.name] for part in fields(Parameters)}
        given["bridge"] = tuple(given["bridge"])
        given["reading"] = ReadOptions(**given["reading"])
        given["priors"] = _priors_from_plain(given["priors"])
        return Parameters(**given)
    except OSError as error:
        raise CallError(f"{path} cannot be read: {error.strerror}.") from error
    except (KeyError, TypeError, ValueError) as error:
        raise CallError(f"{path} does not hold the parameters of a report: {error}.") from error


def path_from(folder: Path, records: Path) -> str:
    """Return the path of the records as seen from `folder`; the whole path on another drive.

    Raises
    ------
    CallError
        The records are no files, so that the notebook could not read them again; and the URL of
        a database, which may hold a password, is never written down.
    """
    if str(records) == "-" or _URL.match(str(records)):
        raise CallError(
            "A report's notebook reads its records again, so it is made from files. Export the "
            "database's table as CSV, or save what is piped in, and give that."
        )
    try:
        return Path(os.path.relpath(records.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return records.resolve().as_posix()


def reading_from(folder: Path, reading: ReadOptions) -> ReadOptions:
    """Return how the records are read, a mapping file's path as seen from `folder`."""
    if not is_toml(reading.columns):
        return reading
    return replace(reading, columns=path_from(folder, Path(str(reading.columns))))


def _priors_to_plain(priors: Priors | PriorTable | None) -> dict[str, Any] | None:
    if priors is None:
        return None
    if isinstance(priors, Priors):
        return {"all": _one_to_plain(priors)}
    cells = [{"of": list(key), "priors": _one_to_plain(cell)} for key, cell in priors.cells.items()]
    return {"name": priors.name, "cells": cells}


def _one_to_plain(priors: Priors) -> dict[str, Any]:
    """Return priors as JSON values; mappings become plain ones."""
    held = {part.name: getattr(priors, part.name) for part in fields(priors)}
    return {
        name: dict(value) if isinstance(value, Mapping) else value for name, value in held.items()
    }


def _priors_from_plain(plain: Mapping[str, Any] | None) -> Priors | PriorTable | None:
    if plain is None:
        return None
    if "all" in plain:
        return _one_from_plain(plain["all"])
    cells = {tuple(cell["of"]): _one_from_plain(cell["priors"]) for cell in plain["cells"]}
    return PriorTable(cells, plain["name"])


def _one_from_plain(plain: Mapping[str, Any]) -> Priors:
    def pairs(value: Any) -> Any:
        if isinstance(value, list):
            return tuple(value)
        if isinstance(value, dict):
            return {name: pairs(held) for name, held in value.items()}
        return value

    return Priors(**{name: pairs(value) for name, value in plain.items()})
