"""The columns of a trend's design: level, slope, courses, first-visit excitement and joins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.facts.priors import METHOD_OFFSET_PAIRED, METHOD_OFFSET_UNPAIRED, Priors
from bpvet.maths.gaussian import Array
from bpvet.visits.series import Course, Series

#: The slope is stated per this many days.
SLOPE_DAYS = 30.0
#: Visits over which first-visit excitement falls to 1/e.
FIRST_VISIT_DECAY = 1.5

METHOD_OFFSET = "offset oscillometric minus Doppler"
CONDITION_OFFSET = {
    "home": "offset home minus clinic",
    "calmed": "offset calmed minus awake",
}


@dataclass(frozen=True, eq=False)
class Columns:
    """The coefficients of one trend: their names, priors and columns.

    Parameters
    ----------
    series : Series
        The series.
    terms : tuple of str
        Names of the p coefficients: ``level``, ``slope``, ``course 0`` …, ``first_visit``,
        ``offset …``.
    prior_mean, prior_sd : (p,)
        Their normal priors.
    wander_days : float
        Time constant of the wander.
    """

    series: Series
    terms: tuple[str, ...]
    prior_mean: Array
    prior_sd: Array
    wander_days: float

    @property
    def origin(self) -> float:
        """Day number of t0, the latest session; the series counts its days from there."""
        return float(self.series.date[-1].astype(np.int64))

    @property
    def day(self) -> Array:
        """(n,) days of the sessions from t0."""
        return self.series.date.astype(np.int64).astype(np.float64) - self.origin

    def course_term(self, index: int) -> str:
        """Return the name of the coefficient of the series' course `index`."""
        return f"course {index}"

    def unit(self, name: str) -> Array:
        """Return the (p,) vector that picks the coefficient `name`."""
        vector = np.zeros(len(self.terms))
        vector[self.terms.index(name)] = 1.0
        return vector

    def sessions(self) -> Array:
        """Return the (n, p) design of the sessions of the series."""
        rows = self.rows(self.day)
        if "first_visit" in self.terms:
            rows[:, self.terms.index("first_visit")] = excitement(self.series.visit)
        for name, values in join_columns(self.series).items():
            rows[:, self.terms.index(name)] = values
        return rows

    def rows(self, day: Array, visit: int = -1, method: str | None = None) -> Array:
        """Return the (T, p) design at days from t0.

        Parameters
        ----------
        day : (T,)
            Days from t0.
        visit : int
            Index of the visit for first-visit excitement; −1 for none: a usual pressure.
        method : str or None
            Method on whose scale it is asked; that of the series by default.
        """
        rows = np.zeros((day.size, len(self.terms)))
        rows[:, 0], rows[:, 1] = 1.0, day / SLOPE_DAYS
        for i, course in enumerate(self.series.courses):
            rows[:, self.terms.index(self.course_term(i))] = on_share(course, day + self.origin)
        if visit >= 0 and "first_visit" in self.terms:
            rows[:, self.terms.index("first_visit")] = excitement(np.array(visit))
        if method is not None and method != self.series.method and METHOD_OFFSET in self.terms:
            sign = 1.0 if method == "oscillometric" else -1.0
            rows[:, self.terms.index(METHOD_OFFSET)] = sign
        return rows


def columns_of(series: Series, priors: Priors) -> Columns:
    """Return the coefficients of a series with their priors."""
    terms, mean, sd = ["level", "slope"], [priors.level[0], 0.0], [priors.level[1], priors.slope_sd]
    for i, course in enumerate(series.courses):
        terms.append(f"course {i}")
        mean.append(0.0)
        sd.append(priors.effect_sd if course.kind == "base" else priors.increment_sd)
    if priors.first_visit is not None and np.any(series.visit >= 0):
        terms.append("first_visit")
        mean.append(priors.first_visit[0])
        sd.append(priors.first_visit[1])
    for name in join_columns(series):
        centre, spread = _offset_prior(name, series, priors)
        terms.append(name)
        mean.append(centre)
        sd.append(spread)
    return Columns(series, tuple(terms), np.array(mean), np.array(sd), priors.wander_days)


def on_share(course: Course, day: Array) -> Array:
    """Return how far a course has risen at days since 1970-01-01, 0 to 1.

    It rises from its start as 1 − exp(−(t − start)/tau) and after a stop decays from where it
    was with the same tau.
    """
    start, tau = float(course.started_on.astype(np.int64)), course.tau_days
    rise = -np.expm1(-np.maximum(day - start, 0.0) / tau)
    if np.isnat(course.stopped_on):
        return np.asarray(rise)
    stop = float(course.stopped_on.astype(np.int64))
    reached = -np.expm1(-(stop - start) / tau)
    return np.where(day <= stop, rise, reached * np.exp(-np.maximum(day - stop, 0.0) / tau))


def excitement(visit: np.ndarray) -> Array:
    """Return the loading of first-visit excitement at visits (−1: none)."""
    return np.where(visit >= 0, np.exp(-visit / FIRST_VISIT_DECAY), 0.0)


def noise_groups(series: Series) -> tuple[str, ...]:
    """Return the methods of the series, that of its latest session first."""
    others = sorted(set(series.methods.tolist()) - {series.method})
    return (series.method, *others)


def join_columns(series: Series) -> dict[str, Array]:
    """Return the columns (n,) of the joins of a bridged series, zero on the latest's scale."""
    columns: dict[str, Array] = {}
    oscillometric = (series.methods == "oscillometric").astype(float)
    if np.ptp(oscillometric) > 0:
        columns[METHOD_OFFSET] = oscillometric - float(series.method == "oscillometric")
    for condition, name in CONDITION_OFFSET.items():
        held = (series.conditions == condition).astype(float)
        if np.ptp(held) > 0:
            columns[name] = held - float(series.condition == condition)
    return columns


def _offset_prior(name: str, series: Series, priors: Priors) -> tuple[float, float]:
    if name != METHOD_OFFSET:
        condition = next(key for key, value in CONDITION_OFFSET.items() if value == name)
        return priors.condition_offset[condition]
    if priors.method_offset is not None:
        return priors.method_offset
    dates = [set(series.date[series.methods == method].tolist()) for method in set(series.methods)]
    return METHOD_OFFSET_PAIRED if set.intersection(*dates) else METHOD_OFFSET_UNPAIRED
