"""Levels, target and floor of a picture: the guideline's bounds where they hold for the series."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.sources import fact, marked, source
from bpvet.facts.stages import staging
from bpvet.figures.pictures import GuideLine, Level
from bpvet.models.trend.outlook import own_target, target_for, written_species
from bpvet.pictures.lab_panels import stage_levels
from bpvet.printing import number
from bpvet.visits.latest_date import judged_offset

if TYPE_CHECKING:
    from bpvet.models.trend.trend import Trend


@dataclass(frozen=True)
class Guides:
    """What lies across a panel.

    Parameters
    ----------
    levels : tuple of Level
        Categories or stages; empty where none are named.
    whose : str
        Whose the levels are; blank without levels.
    target, floor : GuideLine or None
    note : str
        What must be said of them; may be blank.
    """

    levels: tuple[Level, ...] = ()
    whose: str = ""
    target: GuideLine | None = None
    floor: GuideLine | None = None
    note: str = ""


def guides(trend: Trend, chosen: Guideline | None, withheld: str | None, lowest: float) -> Guides:
    """Return what lies across the panel of a trend.

    Home and calmed sessions read lower and are judged on more than was measured, so every line
    lies so much lower for them.

    Parameters
    ----------
    trend : Trend
    chosen : Guideline or None
        The guideline; None where the series is no systolic pressure.
    withheld : str or None
        Why no category is named; None where they are.
    lowest : float
        Lowest session mean of the panel, in its unit.
    """
    series = trend.series
    if chosen is None:
        staged = staging(series.quantity, series.species, series.unit)
        return Guides(stage_levels(staged), "" if staged is None else staged.edition)
    if written_species(trend.records, series.animal):
        return Guides()
    lower = float(judged_offset([series.condition])[0])
    floor = chosen.floor.value - lower
    said = marked(_said(chosen.floor.value, lower), chosen.floor.fact.remembered)
    low_words = f"below the floor, {said}"
    below = lowest < floor
    levels: tuple[Level, ...] = ()
    if withheld is None:
        named = tuple(
            Level(one.name, max(one.low - lower, floor), one.high - lower)
            for one in chosen.categories
        )
        levels = (Level(low_words if below else "", -np.inf, floor), *named)
    floor_words = low_words if below else f"floor {said}"
    floor_words = "" if below and levels else floor_words
    note = ""
    if lower:
        note = (
            f"Levels, target and floor lie {number(lower, 0)} {series.unit} lower than in the "
            "clinic, because such sessions are judged on so much more than was measured."
        )
    return Guides(
        levels,
        _named(chosen) if levels else "",
        _target_line(trend, chosen, lower),
        GuideLine(floor, floor_words),
        note,
    )


def _said(value: float, lower: float) -> str:
    """Return a bound as written: of home and calmed series the clinic's, and what it is here."""
    return f"{number(value, 0)}, here {number(value - lower, 0)}" if lower else number(value, 0)


def _named(chosen: Guideline) -> str:
    """Return whose the bounds are: a set may take them from another edition."""
    bounds = [fact(one.fact_id) for one in guideline(chosen.categories_from).categories]
    named = dict.fromkeys(source(one.source).name for one in bounds)
    return marked(" and ".join(named), any(one.remembered for one in bounds))


def _target_line(trend: Trend, chosen: Guideline, lower: float) -> GuideLine | None:
    own = own_target(trend.records, trend.series.animal)
    if own is not None:
        return GuideLine(own - lower, f"target {_said(own, lower)}, set for this animal")
    value, kind = target_for(trend, chosen)
    if kind == "raised":
        return None
    words = f"target {_said(value, lower)}, of the guideline"
    return GuideLine(value - lower, marked(words, chosen.target.fact.remembered))
