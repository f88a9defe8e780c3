"""The band of a trend's picture, and where it is not to be leaned on."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from bpvet.figures.pictures import Band
from bpvet.maths.special import ndtri
from bpvet.models.trend.columns import noise_groups
from bpvet.models.trend.trend import Trend
from bpvet.wording.en.pictures.trend import band_words, doubt_words

_DAY = np.timedelta64(1, "D")
#: Dates at which the band is drawn, besides those of the sessions and of treatment changes.
_GRID = 160
_INNER = 0.5
#: A band that more than this share of the sessions' means miss is hatched.
MISSED_SHARE = 0.25
#: So few sessions say nothing of a band.
_LEAST = 4
#: Across a gap without a session longer than this the band is hatched.
LONGEST_GAP = np.timedelta64(180, "D")
_LEVEL = 0.95


def trend_band(trend: Trend, level: float) -> Band:
    """Return the bands on a grid that holds every session and every change of treatment.

    Parameters
    ----------
    trend : Trend
    level : float
        Probability of the outer band.
    """
    dates = _grid(trend)
    usual = trend.at(dates)
    # The inner band holds one half, or half of what the outer one holds.
    half = _INNER if level > _INNER else level / 2
    inner, outer = usual.interval(half), usual.interval(level)
    doubtful = np.full(dates.size, bool(missed(trend)))
    for before, after in gaps(trend):
        doubtful |= (dates >= before) & (dates <= after)
    # The dates (m,) from the session before to the one after any that is a bound.
    series = trend.series
    days, found = np.unique(series.date), np.zeros(dates.size, dtype=bool)
    for day in np.unique(series.date[series.bound != ""]):
        at = int(np.searchsorted(days, day))
        left, right = days[max(0, at - 1)], days[min(days.size - 1, at + 1)]
        found |= (dates >= left) & (dates <= right)
    return Band(
        date=dates,
        centre=np.atleast_1d(usual.mean),
        low_inner=np.atleast_1d(inner[0]),
        high_inner=np.atleast_1d(inner[1]),
        low_outer=np.atleast_1d(outer[0]),
        high_outer=np.atleast_1d(outer[1]),
        words=band_words(trend, level, half),
        inner=half,
        outer=level,
        doubtful=doubtful,
        unjoined=found,
    )


def missed(trend: Trend) -> int:
    """Return how many sessions' means lie outside the band where they are too many, else 0.

    A mean lies outside where it misses the 95 % of its own usual value, widened by the visit and
    reading noise that such visits usually have (the priors' medians; not the noise fitted here,
    which grows until it holds any scatter). Bounds are not counted.
    """
    series = trend.series
    plain = series.bound == ""
    if plain.sum() < _LEAST:
        return 0
    usual = trend.posterior.usual(trend.columns.sessions(), trend.columns.day)
    groups = noise_groups(series)
    priors = [trend.context.priors[groups.index(method)] for method in series.methods.tolist()]
    noise = np.array([prior.sv[0] ** 2 for prior in priors])
    if not trend.logarithmic:
        noise += np.array([prior.sr[0] ** 2 for prior in priors]) / series.k
    sd = np.sqrt(np.square(usual.sd) + noise)
    beyond = np.abs(series.y - usual.mean) > float(ndtri((1 + _LEVEL) / 2)) * sd
    count = int(np.sum(beyond & plain))
    return count if count > MISSED_SHARE * int(plain.sum()) else 0


def gaps(trend: Trend) -> list[tuple[np.datetime64, np.datetime64]]:
    """Return the sessions' dates before and after each gap that is too long to draw across."""
    dates = np.unique(trend.series.date)
    long = np.flatnonzero(np.diff(dates) > LONGEST_GAP)
    return [(dates[i], dates[i + 1]) for i in long]


def doubts(trend: Trend) -> Iterator[str]:
    """Yield sentences on where the band is hatched, and where its line is broken."""
    return doubt_words(trend, missed(trend), gaps(trend))


def _grid(trend: Trend) -> NDArray[np.datetime64]:
    series = trend.series
    first, last = series.date[0], series.date[-1]
    step = max(1, int((last - first) / _DAY) // _GRID)
    changes = [course.started_on for course in series.courses]
    changes += [course.stopped_on for course in series.courses]
    inside = [day for day in changes if not np.isnat(day) and first <= day <= last]
    grid = np.arange(first, last + _DAY, step * _DAY)
    return np.unique(np.concatenate([grid, series.date, np.array(inside, dtype="datetime64[D]")]))
