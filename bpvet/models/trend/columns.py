"""The columns of a trend's design: level, slope, courses, first-visit excitement and joins."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.priors.priors import METHOD_OFFSET_PAIRED, METHOD_OFFSET_UNPAIRED, Priors
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.models.trend.changes import RecordedChange, change_columns, recorded_changes
from bpvet.models.trend.forms import PriorForm, bounded_forms, group_forms, single_form
from bpvet.visits.series import Course, Series

#: The slope is stated per this many days.
SLOPE_DAYS = 30.0

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
        ``offset …``, ``change …``.
    forms : tuple of PriorForm
        Their prior: one normal distribution, or a mixture of a few.
    wander_days : float
        Time constant of the wander.
    fading : float
        Visits over which first-visit excitement falls to 1/e.
    """

    series: Series
    terms: tuple[str, ...]
    forms: tuple[PriorForm, ...]
    wander_days: float
    fading: float

    @property
    def bounded(self) -> bool:
        """Whether the forms are the levels of an untreated animal with a reading past the gauge."""
        return self.series.bounded and len(self.forms) > 1 and not treated(self.series)

    @property
    def origin(self) -> float:
        """Day number of t0, the latest session; the series counts its days from there."""
        return float(self.series.date[-1].astype(np.int64))

    @property
    def day(self) -> Array:
        """(n,) days of the sessions from t0."""
        return self._day

    @cached_property
    def _day(self) -> Array:
        return self.series.date.astype(np.int64).astype(np.float64) - self.origin

    @cached_property
    def changes(self) -> tuple[RecordedChange, ...]:
        """What is recorded of measuring that differs from the latest session."""
        return recorded_changes(self.series)

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
        return self._sessions

    @cached_property
    def _sessions(self) -> Array:
        rows = self.rows(self.day)
        if "first_visit" in self.terms:
            rows[:, self.terms.index("first_visit")] = excitement(self.series.visit, self.fading)
        for name, values in join_columns(self.series).items():
            rows[:, self.terms.index(name)] = values
        for change in self.changes:
            if change.term in self.terms:
                rows[:, self.terms.index(change.term)] = change.column
        rows.setflags(write=False)
        return rows

    def newest(self) -> Array:
        """Return the (p,) design of a usual pressure at t0: the row of `rows` for day 0."""
        row = self.sessions()[-1].copy()
        # First visits, joins and changes come after level, slope and courses.
        row[2 + len(self.series.courses) :] = 0.0
        return row

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
            rows[:, self.terms.index("first_visit")] = excitement(np.array(visit), self.fading)
        if method is not None and method != self.series.method and METHOD_OFFSET in self.terms:
            sign = 1.0 if method == "oscillometric" else -1.0
            rows[:, self.terms.index(METHOD_OFFSET)] = sign
        return rows


def columns_of(series: Series, priors: Priors, *, grouped: bool | None = None) -> Columns:
    """Return the coefficients of a series with their priors.

    Parameters
    ----------
    series : Series
    priors : Priors
    grouped : bool or None
        Whether the groups of treated animals apply; by default where some session has a course
        on. Priors without groups have none to apply.
    """
    beyond = grouped is None and series.bounded
    if grouped is None:
        grouped = treated(series)
    changes = recorded_changes(series)
    terms, others = terms_of(series, priors, changes)
    if grouped and priors.groups is not None:
        forms = group_forms(priors.groups, priors, series.courses, others)
    elif beyond and priors.groups is not None:
        forms = bounded_forms(priors.groups, priors, series.courses, others)
    else:
        forms = (single_form(priors, series.courses, others),)
    return Columns(series, terms, forms, priors.wander_days, priors.first_visit_fading)


def terms_of(
    series: Series, priors: Priors, changes: Sequence[RecordedChange]
) -> tuple[tuple[str, ...], tuple[tuple[float, float], ...]]:
    """Return the names of a series' coefficients, and centre and SD of those after the courses.

    Parameters
    ----------
    series : Series
    priors : Priors
    changes : sequence of RecordedChange
        Those of the series.
    """
    terms = ["level", "slope", *(f"course {i}" for i in range(len(series.courses)))]
    others: list[tuple[float, float]] = []
    if priors.first_visit is not None and (series.visit >= 0).any():
        terms.append("first_visit")
        others.append(priors.first_visit)
    offsets = {name: _offset_prior(name, series, priors) for name in join_columns(series)}
    for name, prior in (offsets | change_columns(changes, priors)).items():
        terms.append(name)
        others.append(prior)
    return tuple(terms), tuple(others)


def treated(series: Series) -> bool:
    """Return whether some session of the series was taken with a course on, or not yet decayed."""
    day = series.date.astype(np.int64).astype(np.float64)
    return any(bool(np.any(on_share(course, day) > 0)) for course in series.courses)


def on_share(course: Course, day: Array) -> Array:
    """Return how far a course has risen at days since 1970-01-01, 0 to 1.

    It rises from its start as 1 − exp(−(t − start)/tau) and after a stop decays from where it
    was with the same tau. From the first to the last day of a stretch of missed doses, both
    inclusive, it decays likewise, and rises again from where it was. A session of a day comes
    before that day's dose, so that one missed day tells from the next day on.
    """
    if course.missed:
        return _on_share_with_gaps(course, day)
    start, tau = float(course.started_on.astype(np.int64)), course.tau_days
    rise = -np.expm1(-np.maximum(day - start, 0.0) / tau)
    if np.isnat(course.stopped_on):
        return np.asarray(rise)
    stop = float(course.stopped_on.astype(np.int64))
    reached = -np.expm1(-(stop - start) / tau)
    return np.where(day <= stop, rise, reached * np.exp(-np.maximum(day - stop, 0.0) / tau))


def _on_share_with_gaps(course: Course, day: Array) -> Array:
    """Return `on_share` of a course with missed doses: exact, piece by piece."""
    start, tau = float(course.started_on.astype(np.int64)), course.tau_days
    stop = np.inf if np.isnat(course.stopped_on) else float(course.stopped_on.astype(np.int64))
    begins, rising = [start], [True]
    for first, last in course.missed:
        begins += [float(first.astype(np.int64)), float(last.astype(np.int64)) + 1.0]
        rising += [False, True]
    inside = [i for i, begin in enumerate(begins) if begin < stop]
    begins, rising = [begins[i] for i in inside], [rising[i] for i in inside]
    if np.isfinite(stop):
        begins, rising = [*begins, stop], [*rising, False]
    reached = [0.0]
    for begin, end, rises in zip(begins, begins[1:], rising, strict=False):
        left = reached[-1] * np.exp(-(end - begin) / tau)
        reached.append(float(left - np.expm1(-(end - begin) / tau) if rises else left))
    # Of pieces of no length, the last begins at a day.
    piece = np.searchsorted(np.array(begins), day, side="right") - 1
    at = np.maximum(piece, 0)
    since = np.maximum(day - np.array(begins)[at], 0.0) / tau
    decayed = np.array(reached)[at] * np.exp(-since)
    return np.where(piece < 0, 0.0, decayed - np.where(np.array(rising)[at], np.expm1(-since), 0.0))


def excitement(visit: np.ndarray, fading: float) -> Array:
    """Return the loading of first-visit excitement at visits (−1: none)."""
    return np.where(visit >= 0, np.exp(-visit / fading), 0.0)


def noise_groups(series: Series) -> tuple[str, ...]:
    """Return the methods of the series, that of its latest session first."""
    others = sorted(set(series.methods.tolist()) - {series.method})
    return (series.method, *others)


def _one_text(texts: NDArray[np.str_]) -> bool:
    return len(set(texts.tolist())) == 1


def join_columns(series: Series) -> dict[str, Array]:
    """Return the columns (n,) of the joins of a bridged series, zero on the latest's scale."""
    columns: dict[str, Array] = {}
    if _one_text(series.methods) and _one_text(series.conditions):
        return columns
    oscillometric = (series.methods == "oscillometric").astype(float)
    if np.ptp(oscillometric) > 0:
        columns[METHOD_OFFSET] = oscillometric - float(series.method == "oscillometric")
    for condition, name in CONDITION_OFFSET.items():
        indicator = (series.conditions == condition).astype(float)
        if np.ptp(indicator) > 0:
            columns[name] = indicator - float(series.condition == condition)
    return columns


def _offset_prior(name: str, series: Series, priors: Priors) -> tuple[float, float]:
    if name != METHOD_OFFSET:
        condition = next(key for key, value in CONDITION_OFFSET.items() if value == name)
        return priors.condition_offset[condition]
    if priors.method_offset is not None:
        return priors.method_offset
    dates = [set(series.date[series.methods == method].tolist()) for method in set(series.methods)]
    return METHOD_OFFSET_PAIRED if set.intersection(*dates) else METHOD_OFFSET_UNPAIRED
