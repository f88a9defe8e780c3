"""The parameters of an animal's report: plain JSON, from which its notebook's first cell works."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Self

from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.frozen import dataclass, field_names, replace
from bpvet.records.records import Records
from bpvet.reports.spec import (
    ReportSpec,
    choice,
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


def _priors_to_plain(priors: Priors | PriorTable | None) -> dict[str, Any] | None:
    if priors is None:
        return None
    if isinstance(priors, Priors):
        return {"all": _one_to_plain(priors)}
    cells = [{"of": list(key), "priors": _one_to_plain(cell)} for key, cell in priors.cells.items()]
    return {"name": priors.name, "cells": cells}


def _one_to_plain(priors: Priors) -> dict[str, Any]:
    """Return priors as JSON values; mappings become plain ones."""
    values = {name: getattr(priors, name) for name in field_names(priors)}
    plain = {
        name: dict(value) if isinstance(value, Mapping) else value for name, value in values.items()
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
            finite(group["weight"]),
            _pair(group["level"]),
            None if group["effect_sd"] is None else finite(group["effect_sd"]),
            None if group["under_drug"] is None else _pair(group["under_drug"]),
        )
        for group in value["parts"]
    )
    level, effect_sd = value["beside"]
    beside = (_pair(level), finite(effect_sd))
    return PriorGroups(parts, beside, finite(value["restart_sd"]), finite(value["added_sd"]))


def _pair(value: Any) -> tuple[float, float]:
    first, second = value
    return finite(first), finite(second)


@dataclass(frozen=True, kw_only=True)
class Parameters(ReportSpec):
    """What a report is asked for: where the records are, whose report it is, and every choice.

    Parameters
    ----------
    records, as_of, reading
        As `bpvet.reports.spec.ReportSpec` takes them.
    animal : str
        Id of the animal.
    method, quantity, condition, bridge, rule
        As `bpvet.fit_trend` takes them.
    guideline, level, edition
        As `Trend.answer` takes them.
    priors : Priors, PriorTable or None
        As `bpvet.fit_trend` takes them.
    """

    animal: str = choice(text)
    method: str | None = choice(text_or_none, default=None)
    quantity: str = choice(filled, default="systolic")
    condition: str | None = choice(text_or_none, default=None)
    bridge: tuple[str, ...] = choice(texts, default=())
    rule: str = choice(filled, default="guideline")
    guideline: str = choice(filled, default="acvim2018")
    level: float = choice(finite, default=0.95)
    priors: Priors | PriorTable | None = choice(
        _priors_from_plain,
        default=None,
    )
    edition: str = choice(filled, default="iris2019", newer=True)

    def settled(self, records: Records) -> Self:
        """Return the same, the animal by its id where it was called by its name."""
        return replace(self, animal=records.animal(self.animal))

    def to_plain(self) -> dict[str, Any]:
        """Return all of it as JSON values."""
        plain = {"bridge": list(self.bridge), "priors": _priors_to_plain(self.priors)}
        return super().to_plain() | plain

    @property
    def trend(self) -> dict[str, Any]:
        """The named arguments of `bpvet.fit_trend`."""
        names = ("method", "quantity", "condition", "bridge", "rule", "priors")
        return {name: getattr(self, name) for name in names}

    @property
    def answer(self) -> dict[str, Any]:
        """The named arguments of `Trend.answer`."""
        return {"guideline": self.guideline, "level": self.level, "edition": self.edition}


#: Reads the parameters in a file, as a report wrote it.
parameters = Parameters.from_file
