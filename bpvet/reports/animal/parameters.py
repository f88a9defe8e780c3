"""The parameters of an animal's report: plain JSON, from which its notebook's first cell works."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.reports.asked import (
    Asked,
    Held,
    filled,
    finite,
    path_from,
    reading_from,
    text,
    text_or_none,
    texts,
)

#: Fields of priors that are one number.
_NUMBERS = (
    *("slope_sd", "effect_sd", "increment_sd", "wander_days", "sitting_minus_lateral"),
    "first_visit_fading",
)

__all__ = ["Parameters", "parameters", "path_from", "reading_from"]


@dataclass(frozen=True)
class Parameters(Asked):
    """What a report is asked for: where the records are, whose report it is, and every choice.

    Parameters
    ----------
    records, as_of, reading
        As `bpvet.reports.asked.Asked` takes them.
    animal : str
        Id of the animal.
    method, quantity, condition, bridge, rule
        As `bpvet.fit_trend` takes them.
    guideline, level, edition
        As `Trend.answer` takes them.
    priors : Priors, PriorTable or None
        As `bpvet.fit_trend` takes them.
    """

    animal: str
    method: str | None
    quantity: str
    condition: str | None
    bridge: tuple[str, ...]
    rule: str
    guideline: str
    level: float
    priors: Priors | PriorTable | None
    edition: str = "iris2019"

    def to_plain(self) -> dict[str, Any]:
        """Return all of it as JSON values."""
        own = {"bridge": list(self.bridge), "priors": _priors_to_plain(self.priors)}
        return super().to_plain() | own

    @property
    def trend(self) -> dict[str, Any]:
        """The named arguments of `bpvet.fit_trend`."""
        names = ("method", "quantity", "condition", "bridge", "rule", "priors")
        return {name: getattr(self, name) for name in names}

    @property
    def answer(self) -> dict[str, Any]:
        """The named arguments of `Trend.answer`."""
        return {"guideline": self.guideline, "level": self.level, "edition": self.edition}


def parameters(path: str | os.PathLike[str]) -> Parameters:
    """Return the parameters in a file, as a report wrote it.

    Parameters
    ----------
    path : str or path
        A JSON file.

    Raises
    ------
    CallError
        Where the file cannot be read, is no such file, or holds a value of another kind.
    """
    held = Held(path)
    return Parameters(
        records=held.records(),
        as_of=held.as_of(),
        reading=held.reading(),
        animal=held.get("animal", "an id", text),
        method=held.get("method", "a method, or null", text_or_none),
        quantity=held.get("quantity", "a quantity", filled),
        condition=held.get("condition", "a condition, or null", text_or_none),
        bridge=held.get("bridge", "a list of what is joined", texts),
        rule=held.get("rule", "a rule", filled),
        guideline=held.get("guideline", "a guideline", filled),
        level=held.get("level", "a number", finite),
        priors=held.get("priors", "priors as a report writes them, or null", _priors_from_plain),
        # Reports of before the option have no edition.
        edition=held.get("edition", "an edition", filled) if held.has("edition") else "iris2019",
    )


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
    plain = {
        name: dict(value) if isinstance(value, Mapping) else value for name, value in held.items()
    }
    # JSON holds lists; tuples would not come back equal.
    return plain | {"groups": None if priors.groups is None else asdict(priors.groups)}


def _priors_from_plain(plain: Mapping[str, Any] | None) -> Priors | PriorTable | None:
    if plain is None:
        return None
    if "all" in plain:
        return _one_from_plain(plain["all"])
    cells = {}
    for cell in plain["cells"]:
        species, method, quantity = map(text, cell["of"])
        cells[species, method, quantity] = _one_from_plain(cell["priors"])
    return PriorTable(cells, text(plain["name"]))


def _one_from_plain(plain: Mapping[str, Any]) -> Priors:
    return Priors(**{name: _of_priors(name, value) for name, value in plain.items()})


def _of_priors(name: str, value: Any) -> Any:
    """Return one field of priors: a text, a number, two numbers, such by name, or None."""
    if name == "source":
        return text(value)
    if name in ("tau_days", "change_sd"):
        return {text(drug): finite(days) for drug, days in value.items()}
    if name == "condition_offset":
        return {text(key): _pair(pair) for key, pair in value.items()}
    if value is None and name in ("first_visit", "first_visit_new", "method_offset", "groups"):
        return None
    if name == "groups":
        return _groups(value)
    return finite(value) if name in _NUMBERS else _pair(value)


def _groups(value: Mapping[str, Any]) -> PriorGroups:
    parts = tuple(
        PriorGroup(
            finite(one["weight"]),
            _pair(one["level"]),
            None if one["effect_sd"] is None else finite(one["effect_sd"]),
            None if one["under_drug"] is None else _pair(one["under_drug"]),
        )
        for one in value["parts"]
    )
    level, effect_sd = value["beside"]
    beside = (_pair(level), finite(effect_sd))
    return PriorGroups(parts, beside, finite(value["restart_sd"]), finite(value["added_sd"]))


def _pair(value: Any) -> tuple[float, float]:
    first, second = value
    return finite(first), finite(second)
