"""How fast a kidney value rises, and whether a change of the urine ratio is one at all."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.models.trend.trend import Trend
from bpvet.visits.labs.history import LabValue

#: Where the day-to-day variation of the urine ratio is printed.
_NEAR_LOW, _NEAR_HIGH = 0.5, 12.0


@dataclass(frozen=True)
class Rate:
    """How fast a value rises, apart from the drugs.

    Parameters
    ----------
    per_month : Estimate
        Per cent a month of 30 days.
    p_rising : float
        Probability that it rises at all.
    """

    per_month: Estimate
    p_rising: float

    @property
    def percent(self) -> float:
        """Per cent a month."""
        return self.per_month.known[0]

    @property
    def lower(self) -> float:
        """The lower end of the interval, per cent a month."""
        return self.per_month.known[1]

    @property
    def upper(self) -> float:
        """The upper end of the interval, per cent a month."""
        return self.per_month.known[2]

    @property
    def doubling(self) -> tuple[float, float, float]:
        """Months in which it doubles at this rate, with the interval's ends; infinite where not.

        Examples
        --------
        >>> [round(one, 1) for one in Rate(Estimate(1.0, -0.2, 2.0), 0.9).doubling]
        [69.7, 35.0, inf]
        """
        return (
            doubling_months(self.percent),
            doubling_months(self.upper),
            doubling_months(self.lower),
        )


def doubling_months(percent: float) -> float:
    """Return the months in which a value doubles that rises by `percent` a month.

    Examples
    --------
    >>> doubling_months(100.0), doubling_months(-1.0)
    (1.0, inf)
    """
    return math.log(2) / math.log1p(percent / 100) if percent > 0 else math.inf


def rate_of(trend: Trend, level: float) -> Rate | None:
    """Return how fast a laboratory value rises; None where all values are of one date.

    Parameters
    ----------
    trend : Trend
        Of a laboratory quantity.
    level : float
        Probability that the interval holds.
    """
    if np.unique(trend.series.date).size < 2:
        return None
    return Rate(Estimate.of(trend.slope, level, "%"), float(trend.slope.above(0.0)))


@dataclass(frozen=True)
class RatioChange:
    """The newest urine ratio against the one before.

    Parameters
    ----------
    before, after : LabValue
    percent : float
        Change, of the earlier value.
    needed : float
        Per cent that must be exceeded to be more than day-to-day variation.
    """

    before: LabValue
    after: LabValue
    percent: float
    needed: float

    @property
    def within(self) -> bool:
        """Whether it lies within day-to-day variation."""
        return abs(self.percent) <= self.needed


def ratio_change(known: Sequence[LabValue]) -> RatioChange | None:
    """Return the change between the two newest ratios of different days; None without two.

    Parameters
    ----------
    known : sequence of LabValue
        Ratios by date; bounds and zeros are no numbers to compare.

    Notes
    -----
    Source: Nabity et al. 2007 (facts ``kidney.upc.day_to_day``, of dogs), printed near ratios of
    0.5 and 12; between them a straight line over the logarithm of the ratio (J), beyond them the
    nearer of the two.
    """
    numbers = [lab_value for lab_value in known if not lab_value.bound and lab_value.value > 0]
    if not numbers:
        return None
    earlier = [lab_value for lab_value in numbers if lab_value.date < numbers[-1].date]
    if not earlier:
        return None
    before, after = earlier[-1], numbers[-1]
    return RatioChange(
        before, after, 100 * (after.value / before.value - 1), day_to_day(before.value)
    )


def day_to_day(ratio: float) -> float:
    """Return the change in per cent that a ratio must exceed to be more than it does day to day.

    Examples
    --------
    >>> day_to_day(0.3), day_to_day(0.5), day_to_day(12.0)
    (80.0, 80.0, 35.0)
    """
    low, high = (fact(f"kidney.upc.day_to_day.{end}").value or 0.0 for end in ("low", "high"))
    share = math.log(ratio / _NEAR_LOW) / math.log(_NEAR_HIGH / _NEAR_LOW)
    return low + (high - low) * min(max(share, 0.0), 1.0)
