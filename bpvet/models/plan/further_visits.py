"""How well further visits would know an animal already measured, before they are made.

Given the noise SDs the posterior variance does not depend on the values that will be read. It
is averaged over what the readings say of the noise SDs now; that
these stay uncertain is left out, so that the SD realised lies some per cent above. Which group a
treated animal is of stays as uncertain as it is today: further readings can only tell more of it.
"""

from __future__ import annotations

import numpy as np

from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array, Batch
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.plan.schedule import MOST_VISITS, Precision, check_visits, check_within
from bpvet.models.trend.effects import Treatment, spell_effects
from bpvet.models.trend.trend import Trend


@dataclass(frozen=True, eq=False)
class Further:
    """How well an animal already measured would be known after some further visits.

    Parameters
    ----------
    visits, readings : int
        Further visits by the same method under the same condition, and readings of each.
    every_days : int
        Days between them, the first so long after the latest session.
    level : float
        Probability that the half-widths hold.
    usual : Precision
        Usual value: at the latest session, and on the day of the last further visit.
    slope : Precision
        Change per 30 days.
    effects : tuple of (Treatment, Precision)
        Full effect of each spell of treatment, as its dose stands.
    """

    visits: int
    readings: int
    every_days: int
    level: float
    usual: Precision
    slope: Precision
    effects: tuple[tuple[Treatment, Precision], ...]


def further(
    trend: Trend, visits: int = 4, readings: int = 5, every_days: int = 7, level: float = 0.95
) -> Further:
    """Return how well an animal already measured would be known after further visits.

    Parameters
    ----------
    trend : Trend
        The trend so far.
    visits, readings, every_days, level
        As in `Further`.

    Raises
    ------
    CallError
        Where a number cannot be planned with.
    """
    check_visits(visits, readings, every_days)
    columns, longer = trend.columns, _after(trend, visits, readings, every_days)
    weights = longer.weight
    # Today's groups as the plan's own posterior has them: its nodes are those of `longer`, which
    # those of a posterior with readings beyond the gauge are not.
    today = spell_effects(trend.series, columns, trend.posterior.plain)
    then = spell_effects(trend.series, columns, longer)
    effects = tuple(
        (
            effect,
            Precision.of(
                float(effect.effect.sd),
                weights,
                _unresolved(longer, now.effect, later.effect),
                level,
            ),
        )
        for effect, now, later in zip(trend.treatments, today, then, strict=True)
    )
    slope = longer.combination(columns.unit("slope")).sds
    return Further(
        visits=visits,
        readings=readings,
        every_days=every_days,
        level=level,
        usual=Precision.of(float(trend.latest.sd), weights, _usual(trend, longer), level),
        slope=Precision.of(float(trend.slope.sd), weights, slope, level),
        effects=effects,
    )


def fewest_further(
    trend: Trend, within: float, readings: int = 5, every_days: int = 7, level: float = 0.95
) -> int | None:
    """Return the fewest further visits that know the usual value to ± `within`, in the unit.

    0 where it is known so well at the latest session; None where `MOST_VISITS` do not.
    """
    check_visits(1, readings, every_days)
    check_within(within)
    low, high = trend.latest.interval(level)
    if float(high) - float(low) <= 2 * within:
        return 0
    # One by one: time passes too, so that one visit in half a year may know less than today.
    for visits in range(1, MOST_VISITS + 1):
        longer = _after(trend, visits, readings, every_days)
        precision = Precision.of(0.0, longer.weight, _usual(trend, longer), level)
        if precision.half_width <= within:
            return visits
    return None


def _after(trend: Trend, visits: int, readings: int, every_days: float) -> Posterior:
    """Return the posterior with further visits; of it only the SDs mean anything."""
    day = every_days * np.arange(1, visits + 1)
    columns = trend.columns
    first = int(trend.series.visit.max(initial=-1)) + 1
    rows = [
        columns.rows(np.array([now]), visit=first + i if first > 0 else -1)
        for i, now in enumerate(day)
    ]
    more = np.concatenate(rows) if rows else np.zeros((0, len(columns.terms)))
    # The values seen do not enter a Gaussian's variance, so any will do.
    return Posterior(
        tuple(
            replace(
                conditional,
                batch=_longer(
                    conditional.batch, more @ conditional.transform, day, float(readings)
                ),
            )
            for conditional in trend.posterior.plain.parts
        )
    )


def _usual(trend: Trend, longer: Posterior) -> Array:
    """Return the SDs (K,) of the usual value on the day of the last visit, 0 for the latest."""
    last = np.maximum(longer.parts[0].batch.day[-1], 0.0)
    rows = trend.columns.rows(last)
    now = trend.posterior.plain.usual(rows, last).first()
    return _unresolved(longer, now, longer.usual(rows, last).first())


def _unresolved(longer: Posterior, now: Mixture, then: Mixture) -> Array:
    """Return SDs (K,) after further visits, with what will still divide the groups.

    Visits draw a group's mean to what they find by the share of its variance that they take away,
    and so leave the rest of what sets it apart today. That they also tell the groups' weights
    apart is left out.
    """
    if len(longer.parts) == 1:
        return then.sds
    edges = np.cumsum([0, *(conditional.weight.size for conditional in longer.parts)])
    means, left = np.empty(len(longer.parts)), np.empty(len(longer.parts))
    for i, conditional in enumerate(longer.parts):
        nodes = slice(edges[i], edges[i + 1])
        means[i] = now.means[nodes] @ conditional.weight
        left[i] = (then.sds[nodes] ** 2 @ conditional.weight) / (
            now.sds[nodes] ** 2 @ conditional.weight
        )
    shares = longer.shares
    between = float(shares @ (left * (means - shares @ means)) ** 2)
    return np.sqrt(then.sds**2 + between)


def _longer(batch: Batch, rows: np.ndarray, day: np.ndarray, readings: float) -> Batch:
    count = day.size

    def added(values: np.ndarray, new: np.ndarray | float) -> np.ndarray:
        return np.concatenate([values, np.full((count, 1), new, dtype=values.dtype)])

    return replace(
        batch,
        y=added(batch.y, 0.0),
        x=np.concatenate([batch.x, rows.T[:, :, None]], axis=1),
        day=np.concatenate([batch.day, day[:, None]]),
        k=added(batch.k, readings),
        group=added(batch.group, 0),
        live=added(batch.live, True),
    )
