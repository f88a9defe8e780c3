"""Levels, target and floor of a picture: the guideline's bounds where they hold for the series."""

from __future__ import annotations

import numpy as np

from bpvet.facts.categories import Guideline
from bpvet.facts.stages import staging
from bpvet.figures.pictures import GuideLine, Level
from bpvet.frozen import dataclass
from bpvet.models.trend.outlook import own_target, target_for, written_species
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_panels import stage_levels
from bpvet.visits.latest_date import judged_offset
from bpvet.wording.en.pictures.guides import (
    floor_words,
    lower_words,
    own_target_words,
    target_words,
    whose_levels,
)


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
    below = lowest < floor
    levels: tuple[Level, ...] = ()
    if withheld is None:
        named = tuple(
            Level(category.name, max(category.low - lower, floor), category.high - lower)
            for category in chosen.categories
        )
        under = floor_words(chosen, lower, reached=True) if below else ""
        levels = (Level(under, -np.inf, floor), *named)
    # Named once: with the range under it, or as a line.
    words = "" if below and levels else floor_words(chosen, lower, reached=below)
    return Guides(
        levels,
        whose_levels(chosen) if levels else "",
        _target_line(trend, chosen, lower),
        GuideLine(floor, words),
        lower_words(lower, series.unit) if lower else "",
    )


def _target_line(trend: Trend, chosen: Guideline, lower: float) -> GuideLine | None:
    target = own_target(trend.records, trend.series.animal)
    if target is not None:
        return GuideLine(target - lower, own_target_words(target, lower))
    value, kind = target_for(trend, chosen)
    if kind == "raised":
        return None
    return GuideLine(value - lower, target_words(chosen, value, lower))
