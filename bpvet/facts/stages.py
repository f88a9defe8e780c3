"""Bounds of kidney stages and substages, from the edition that they were read in.

The bounds in mg/dL and in µmol/L are printed apart and are not conversions of each other, so a
value is laid beside the bounds of its own unit, or beside none.
"""

from __future__ import annotations

import math
from functools import cache

from bpvet.facts.analytes import all_analytes
from bpvet.facts.sources import Fact, fact, facts, marked, source
from bpvet.facts.words import KIDNEY_EDITIONS
from bpvet.frozen import dataclass
from bpvet.reasons import reason

#: Substages by pressure of each edition, from the lowest to the highest.
_PRESSURE_IN = {
    "iris2019": tuple(
        f"iris.bp.{name}" for name in ("normotensive", "prehypertensive", "hypertensive", "severe")
    ),
    "iris2017": tuple(
        f"iris.bp_2015.{name}" for name in ("normotensive", "borderline", "hypertensive", "severe")
    ),
}
#: Editions of the kidney guidance, the default first.
EDITIONS = KIDNEY_EDITIONS

#: What is said beside the bounds: they are of the edition named there.
NEWER = reason("facts.newer")


@dataclass(frozen=True)
class Stage:
    """A stage: values from `low` up to the next stage's; minus infinity at the lowest.

    `printed` is its range as the guideline prints it, such as ``251–440``, and `top` where that
    ends; between two printed ranges, as from 250 to 251, the guideline says nothing, and the lower
    stage is drawn.
    """

    name: str
    low: float
    high: float
    printed: str
    top: float = math.inf

    def beyond_print(self, value: float) -> bool:
        """Return whether a value lies above this range as printed, and below the next one's."""
        return self.top < value < self.high


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
        Name and year of the guideline, with a mark where a bound is from memory.
    """

    analyte: str
    unit: str
    species: str
    stages: tuple[Stage, ...]
    edition: str

    def place_of(self, value: float) -> int:
        """Return the place (from 0) of the stage that a value lies in.

        Between two printed ranges the guideline says nothing, and the lower stage is given. The
        highest is printed as "above": a value at its very bound still lies in the one before.

        Examples
        --------
        >>> found = staging("creatinine", "cat", "µmol/L")
        >>> [found.stages[found.place_of(value)].name for value in (139, 140, 250.6, 440, 441)]
        ['stage 1', 'stage 2', 'stage 2', 'stage 3', 'stage 4']
        """
        return sum(
            value > stage.low if stage.printed.startswith("above") else value >= stage.low
            for stage in self.stages[1:]
        )

    def words(self) -> str:
        """Return every stage with its range as printed.

        Examples
        --------
        >>> print(staging("creatinine", "cat", "mg/dL").words())
        stage 1 below 1.6, stage 2 1.6–2.8, stage 3 2.9–5, stage 4 above 5
        """
        return ", ".join(f"{stage.name} {stage.printed}" for stage in self.stages)


@cache
def staging(analyte: str, species: str, unit: str, edition: str = "iris2019") -> Staging | None:
    """Return the stages that are sourced for an analyte in a unit; None where none are.

    Parameters
    ----------
    analyte : str
        As in the records, such as ``creatinine``.
    species : str
        ``cat`` or ``dog``; for any other there are no stages.
    unit : str
        As `facts.labs.unit_as_given` spells it.
    edition : str
        One of `EDITIONS`.

    Examples
    --------
    >>> staging("sdma", "cat", "µg/dL").stages[1]
    Stage(name='stage 2', low=18.0, high=26.0, printed='18–25', top=25.0)
    >>> staging("sdma", "cat", "µmol/L") is None
    True
    """
    # Older editions are there for reading old letters; they had no table of SDMA.
    known = all_analytes().get(analyte)
    topic = "" if known is None else known.units.get(unit, {}).get("stages", {}).get(edition, "")
    found = tuple(stage for stage in facts("iris") if stage.id.startswith(f"{topic}.{species}."))
    if not topic or not found:
        return None
    lows = [-math.inf if stage.low is None else stage.low for stage in found]
    highs = [*lows[1:], math.inf]
    stages = tuple(
        Stage(
            stage.statistic.partition(",")[0],
            low,
            high,
            _printed(stage),
            high if stage.high is None or stage.low is None else stage.high,
        )
        for stage, low, high in zip(found, lows, highs, strict=True)
    )
    printed_by = marked(source(found[0].source).name, any(stage.remembered for stage in found))
    return Staging(analyte, unit, species, stages, printed_by)


@cache
def pressure_substages(edition: str) -> Staging:
    """Return the substages by systolic pressure of an edition, in mmHg; of both species.

    Parameters
    ----------
    edition : str
        One of `EDITIONS`.

    Examples
    --------
    >>> [one.low for one in pressure_substages("iris2017").stages[1:]]
    [150.0, 160.0, 180.0]
    """
    found = [fact(id) for id in _PRESSURE_IN[edition]]
    names = [
        stage.id.rpartition(".")[2].replace("severe", "severely hypertensive") for stage in found
    ]
    lows = [-math.inf if stage.low is None else stage.low for stage in found]
    stages = tuple(
        Stage(name, low, high, _printed(stage), high)
        for name, low, high, stage in zip(names, lows, [*lows[1:], math.inf], found, strict=True)
    )
    printed_by = marked(source(found[0].source).name, any(stage.remembered for stage in found))
    return Staging("systolic", "mmHg", "", stages, printed_by)


def _printed(stage: Fact) -> str:
    if stage.low is None:
        return reason("facts.below", high=stage.high)
    if stage.high is None:
        return reason("facts.above", low=stage.low)
    return f"{stage.low:g}–{stage.high:g}"
