"""Whether further visits would settle what a trend leaves open: the chance, before they are made.

The numbers are those of `bpvet.maths.settling`; here are the visits, and what is asked of them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.equality import Content
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.maths.settling import Ahead, Question, Standing, chances
from bpvet.models.trend.columns import SLOPE_DAYS, excitement
from bpvet.models.trend.effects import Treatment
from bpvet.models.trend.trend import Trend

#: Further visits that are tried, and the days between them; a slope takes longer to show.
VISITS, GAP_DAYS = (1, 2, 4), 14
SLOPE_VISITS, SLOPE_GAP_DAYS = (3, 6, 12), 28


@dataclass(frozen=True)
class Settling(Content):
    """How likely some further visits settle a question.

    Parameters
    ----------
    visits, gap_days, readings : int
        Further visits by the same method under the same condition, days between them (the first
        so long after the latest session), and readings of each.
    at_or_below, above : float
        Probability that the verdict after them is that the quantity lies at or below what is
        asked (at target; a fall of 10 or more; no rise), and that it is the opposite.
    """

    visits: int
    gap_days: int
    readings: int
    at_or_below: float
    above: float

    @property
    def chance(self) -> float:
        """Probability that one of the two is reached."""
        return self.at_or_below + self.above


@dataclass(frozen=True, eq=False)
class Asked:
    """What is asked of a trend: does it lie at or below a threshold?

    Parameters
    ----------
    threshold : float
        In the unit of the series.
    low, sure : float
        Probabilities of that which give a verdict: up to the one, and from the other on.
    vector : (p,) or None
        A combination of the trend's coefficients; None for the usual value on the day of the
        last visit.
    """

    threshold: float
    low: float
    sure: float
    vector: Array | None = None


def usual_asked(value: float) -> Asked:
    """Return the question whether the usual value lies at or below `value`, mmHg."""
    return Asked(value, _verdict("unlikely"), _verdict("sure"))


def effect_asked(trend: Trend, spell: Treatment) -> Asked:
    """Return the question whether the full effect of a spell is a fall of 10 or more."""
    units = [trend.columns.unit(trend.columns.course_term(i)) for i in spell.courses]
    low, sure, fall = (_verdict(key) for key in ("no_fall", "sure", "fall"))
    return Asked(-fall, low, sure, np.sum(units, axis=0))


def slope_asked(trend: Trend) -> Asked:
    """Return the question whether the slope is no rise by more than 1 in 30 days."""
    # Told as rising at 0.9 and as unlikely at 0.1: the same from either side.
    low = _verdict("unlikely")
    return Asked(_verdict("rise"), 1 - _verdict("sure"), 1 - low, trend.columns.unit("slope"))


def settling(
    trend: Trend,
    asked: Sequence[Asked],
    visits: Sequence[int] = VISITS,
    gap_days: int = GAP_DAYS,
    readings: int = ENOUGH_READINGS,
) -> tuple[tuple[Settling, ...], ...]:
    """Return how likely further visits settle questions: for each, one entry a number of visits.

    Parameters
    ----------
    trend : Trend
        The trend as it stands; of measurements, not of laboratory values.
    asked : sequence of Asked
        Questions that it leaves open.
    visits : sequence of int
        Numbers of further visits, each 1 to 60.
    gap_days, readings : int
        Days between visits, and readings of each.

    Notes
    -----
    Deterministic: 256 fixed points, exact within each. The cost is some milliseconds for each
    number of visits. Readings beyond the gauge stand as their normal pseudo-sessions.
    """
    if not asked:
        return ()
    standing = Standing.of(trend.posterior.plain)
    found = []
    for count in visits:
        ahead = _ahead(trend, count, gap_days, readings)
        usual = trend.columns.rows(ahead.day[-1:])[0]
        questions = [
            Question(
                usual if each.vector is None else each.vector,
                each.vector is None,
                each.threshold,
                each.low,
                each.sure,
            )
            for each in asked
        ]
        found.append(
            [
                Settling(count, gap_days, readings, each.at_or_below, each.above)
                for each in chances(standing, ahead, questions)
            ]
        )
    return tuple(zip(*found, strict=True))


def _ahead(trend: Trend, visits: int, gap_days: int, readings: int) -> Ahead:
    """Return further visits by the method of the latest session, on its scale."""
    columns = trend.columns
    day = gap_days * np.arange(1, visits + 1, dtype=np.float64)
    rows, first = columns.rows(day), trend.next_visit
    if first >= 0 and "first_visit" in columns.terms:
        visit = first + np.arange(visits)
        rows[:, columns.terms.index("first_visit")] = excitement(visit, columns.fading)
    shift = np.eye(len(columns.terms))
    shift[columns.terms.index("level"), columns.terms.index("slope")] = -day[-1] / SLOPE_DAYS
    return Ahead(rows, day, float(readings), shift)


def _verdict(key: str) -> float:
    value = fact(f"project.verdict.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return float(value)
