"""What an indirect instrument has to meet to be accepted, by the guideline on validation."""

from __future__ import annotations

import math
from functools import cache

from bpvet.equality import Content
from bpvet.facts.sources import Fact, facts
from bpvet.frozen import dataclass


@dataclass(frozen=True, eq=False)
class DeviceCriterion(Content):
    """One criterion for accepting an indirect instrument.

    Parameters
    ----------
    key : str
        ``bias``, ``sd``, ``r``, ``within10``, ``within20``, ``n.direct``, ``n.indirect`` or
        ``published``.
    words : str
        The criterion in words.
    sense : str
        ``at most``, ``at least``, or ``not assessable`` from figures.
    bound : float or None
        The bound, in the unit of `fact`; None where it is not assessable.
    fact : Fact
        Where it comes from.
    """

    key: str
    words: str
    sense: str
    bound: float | None
    fact: Fact

    def met(self, value: float) -> bool | None:
        """Return whether a figure meets the criterion; None where that cannot be said."""
        if self.bound is None or not math.isfinite(value):
            return None
        return abs(value) <= self.bound if self.sense == "at most" else value >= self.bound


@cache
def device_criteria() -> tuple[DeviceCriterion, ...]:
    """Return the criteria for devices in the guideline's order; shares are in per cent."""
    return tuple(_criterion(each) for each in facts("validation"))


def _criterion(found: Fact) -> DeviceCriterion:
    key = found.id.removeprefix("validation.")
    if found.value is None:
        return DeviceCriterion(key, found.text, "not assessable", None, found)
    # Differences and scatter may be no larger, shares and correlations no smaller.
    sense = "at most" if found.unit == "mmHg" else "at least"
    return DeviceCriterion(key, f"{found.quantity}: {found.statistic}", sense, found.value, found)
