"""Bounds of kidney stages and substages, from the edition that they were read in.

The bounds in mg/dL and in µmol/L are printed apart and are not conversions of each other, so a
value is laid beside the bounds of its own unit, or beside none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from bpvet.facts.sources import AS_REMEMBERED, Fact, facts, source

#: The facts that hold the bounds, by analyte and unit as `facts.labs.unit_as_given` spells it.
_PRINTED_IN = {
    ("creatinine", "µmol/L"): "iris.creatinine",
    ("creatinine", "mg/dL"): "iris.creatinine_mg",
    ("sdma", "µg/dL"): "iris.sdma",
    ("upc", "ratio"): "iris.upc",
}


@dataclass(frozen=True)
class Stage:
    """A stage: values from `low` up to the next stage's; minus infinity at the lowest.

    `printed` is its range as the guideline prints it, such as ``251–440``; between two printed
    ranges, as from 250 to 251, the guideline says nothing, and the lower stage is drawn.
    """

    name: str
    low: float
    high: float
    printed: str


@dataclass(frozen=True)
class Staging:
    """The stages of one analyte in one unit for one species, and whose they are.

    Parameters
    ----------
    analyte, unit, species : str
        What they are of.
    stages : tuple of Stage
        From the lowest to the highest; together they hold every value once.
    edition : str
        Name and year of the guideline, with a word where a bound is from memory.
    """

    analyte: str
    unit: str
    species: str
    stages: tuple[Stage, ...]
    edition: str

    def words(self) -> str:
        """Return every stage with its range as printed.

        Examples
        --------
        >>> print(staging("creatinine", "cat", "mg/dL").words())
        stage 1 below 1.6, stage 2 1.6–2.8, stage 3 2.9–5, stage 4 above 5
        """
        return ", ".join(f"{stage.name} {stage.printed}" for stage in self.stages)


@cache
def staging(analyte: str, species: str, unit: str) -> Staging | None:
    """Return the stages that are sourced for an analyte in a unit; None where none are.

    Parameters
    ----------
    analyte : str
        As in the records, such as ``creatinine``.
    species : str
        ``cat`` or ``dog``; for any other there are no stages.
    unit : str
        As `facts.labs.unit_as_given` spells it.

    Examples
    --------
    >>> staging("sdma", "cat", "µg/dL").stages[1]
    Stage(name='stage 2', low=18.0, high=26.0, printed='18–25')
    >>> staging("sdma", "cat", "µmol/L") is None
    True
    """
    topic = _PRINTED_IN.get((analyte, unit))
    found = tuple(one for one in facts("iris") if one.id.startswith(f"{topic}.{species}."))
    if topic is None or not found:
        return None
    lows = [-math.inf if one.low is None else one.low for one in found]
    highs = [*lows[1:], math.inf]
    stages = tuple(
        Stage(one.statistic.partition(",")[0], low, high, _printed(one))
        for one, low, high in zip(found, lows, highs, strict=True)
    )
    named = source(found[0].source).name
    remembered = any(one.remembered for one in found)
    edition = f"{named}; {AS_REMEMBERED}" if remembered else named
    return Staging(analyte, unit, species, stages, edition)


def _printed(one: Fact) -> str:
    if one.low is None:
        return f"below {one.high:g}"
    return f"above {one.low:g}" if one.high is None else f"{one.low:g}–{one.high:g}"
