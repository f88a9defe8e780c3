"""How a session is measured and checked: rules, limits for flags, units, criteria for devices.

The constants are written out so that the in-room sum reads no file; `FACT_OF` names the fact
behind each, and a test holds the two together.
"""

from __future__ import annotations

import math
from functools import cache

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.sources import Fact, fact
from bpvet.facts.words import SPECIES
from bpvet.frozen import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

#: Readings below which a session is thin, from which it is enough, and above which it is noted.
MIN_READINGS = 3
ENOUGH_READINGS = 5
MAX_READINGS = 12
#: Under the guideline rule the first reading is dropped when at least this many were taken.
DROP_FIRST_FROM = 4
#: Coefficient of variation of the used readings up to which they are called consistent.
CONSISTENT_CV = 0.20
#: A session that fell by more than this, each reading below the last, was still falling.
STILL_FALLING_MMHG = 10
#: Readings this many hours apart or further are of two sessions.
SESSION_GAP_HOURS = 2
#: Counted pulse and displayed heart rate further apart than this share are flagged.
PULSE_DISAGREES = 0.10
#: A frequent ceiling of gauges, mmHg.
CEILING = 300
#: (mean − diastolic) / (systolic − diastolic) outside these is noted.
MEAN_FRACTION = (0.15, 0.60)
#: mmHg in one kPa; and the median of a systolic column below which it is not in mmHg.
MMHG_PER_KPA = 7.5006157585
KPA_MEDIAN_BELOW = 45
#: mmHg for each cm that the cuff lies above the heart: added, and only on request.
HEIGHT_MMHG_PER_CM = 0.78
#: µmol/L in one mg/dL of creatinine, and in one µg/dL of SDMA.
CREATININE_UMOL_PER_MG = 88.4
SDMA_UMOL_PER_UG = 0.0495

#: The fact behind each constant, and which of its numbers it is; ``ends``: both ends of its range.
FACT_OF = {
    "MIN_READINGS": ("protocol.n.minimum", "value"),
    "ENOUGH_READINGS": ("protocol.n.enough", "low"),
    "MAX_READINGS": ("limits.readings", "high"),
    "DROP_FIRST_FROM": ("protocol.discard_first.from", "value"),
    "CONSISTENT_CV": ("protocol.consistency.cv", "value"),
    "STILL_FALLING_MMHG": ("protocol.still_falling", "value"),
    "SESSION_GAP_HOURS": ("protocol.session_gap", "value"),
    "PULSE_DISAGREES": ("protocol.pulse_disagrees", "value"),
    "CEILING": ("limits.ceiling", "value"),
    "MEAN_FRACTION": ("limits.mean_fraction", "ends"),
    "MMHG_PER_KPA": ("unit.kPa", "value"),
    "KPA_MEDIAN_BELOW": ("unit.detect.median", "value"),
    "HEIGHT_MMHG_PER_CM": ("physics.height.used", "value"),
    "CREATININE_UMOL_PER_MG": ("unit.creatinine", "value"),
    "SDMA_UMOL_PER_UG": ("unit.sdma.usual", "value"),
}

#: Quantities that have limits; those of the second line differ between the species.
LIMITED = (
    ("systolic", "diastolic", "mean", "pulse_pressure"),
    ("heart_rate", "counted_pulse", "cuff_ratio"),
)


@dataclass(frozen=True, eq=False, repr=False)
class Limits(Content):
    """The bounds of a quantity, in its unit.

    Parameters
    ----------
    note_low, note_high : float
        Outside these a value is noted.
    aside_low, aside_high : float
        Outside these it is set aside; inf where there is no bound.
    fact, aside_fact : Fact
        Where the two pairs come from.
    above_aside_low : bool
        Whether a value at `aside_low` itself is set aside too, as a pulse pressure of 0 is.
    """

    note_low: float
    note_high: float
    aside_low: float
    aside_high: float
    fact: Fact
    aside_fact: Fact
    above_aside_low: bool = False

    def sets_aside(self, value: float) -> bool:
        """Return whether a value is no physiology but a slip; NaN is not judged."""
        if self.above_aside_low and value == self.aside_low:
            return True
        return value < self.aside_low or value > self.aside_high

    def usual(self, value: Any) -> Any:
        """Return whether a value, or each of an array, lies within what is usual; ends count.

        A ratio of two decimals may miss its end by rounding: that is forgiven.
        """
        slack = 1e-9 * max(abs(self.note_low), abs(self.note_high))
        return (value >= self.note_low - slack) & (value <= self.note_high + slack)

    def notes(self, value: float) -> bool:
        """Return whether a value is noted: outside the usual, yet not set aside."""
        return (value < self.note_low or value > self.note_high) and not self.sets_aside(value)


@cache
def limits(quantity: str, species: str = "") -> Limits:
    """Return the limits of a quantity; of an unknown species, the widest of all.

    Parameters
    ----------
    quantity : str
        A quantity of a reading, ``pulse_pressure``, ``counted_pulse`` or ``cuff_ratio`` (width
        over circumference).
    species : str
        ``cat``, ``dog``, or anything else for unknown.

    Raises
    ------
    CallError
        If the quantity has no limits.

    Examples
    --------
    >>> limits("heart_rate", "").note_low, limits("heart_rate", "").note_high
    (45.0, 260.0)
    """
    same, by_species = LIMITED
    if quantity not in same + by_species:
        raise CallError(
            f"{quantity!r} has no limits; those that do are {', '.join(same + by_species)}."
        )
    name = "heart_rate" if quantity == "counted_pulse" else quantity
    strict = name in ("pulse_pressure", "cuff_ratio")
    if name in same:
        return _limits(f"limits.{name}", strict)
    if species in SPECIES:
        return _limits(f"limits.{name}.{species}", strict)
    return _widest([_limits(f"limits.{name}.{each}", strict) for each in SPECIES])


def limits_of(ids: list[str]) -> Limits:
    """Return the limits whose facts begin with these ids, the widest of several."""
    return _widest([_limits(id, False) for id in ids])


def _limits(id: str, strict: bool) -> Limits:
    note, aside = fact(f"{id}.note"), fact(f"{id}.aside")
    if note.low is None or note.high is None or aside.low is None:
        raise ValueError(f"{id}: a bound is missing")
    high = math.inf if aside.high is None else aside.high
    return Limits(note.low, note.high, aside.low, high, note, aside, strict)


def _widest(each: list[Limits]) -> Limits:
    first = each[0]
    return Limits(
        min(bounds.note_low for bounds in each),
        max(bounds.note_high for bounds in each),
        min(bounds.aside_low for bounds in each),
        max(bounds.aside_high for bounds in each),
        first.fact,
        first.aside_fact,
        first.above_aside_low,
    )
