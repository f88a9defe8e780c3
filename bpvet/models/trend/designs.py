"""The columns of many trends at once: the same as `columns_of` gives one at a time.

What is worked out of dates is worked out for all sessions of all series of one make together; each
series' design is a slice of that. Priors that are equal are one object.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.priors.priors import Priors
from bpvet.maths.gaussian import Array
from bpvet.models.trend.changes import RecordedChange, recorded_changes
from bpvet.models.trend.columns import (
    SLOPE_DAYS,
    Columns,
    excitement,
    join_columns,
    on_share,
    terms_of,
)
from bpvet.models.trend.forms import (
    PriorForm,
    bounded_forms,
    course_roles,
    group_forms,
    single_form,
)
from bpvet.visits.series import Course, Series

_Terms = tuple[str, ...]
_Others = tuple[tuple[float, float], ...]


def all_columns(series: Sequence[Series], priors: Sequence[Priors]) -> list[Columns]:
    """Return the coefficients of each series with their priors, as `columns_of` does.

    Parameters
    ----------
    series, priors : sequences of one length
        Series, and the priors of the method of the latest session of each.
    """
    changes = [recorded_changes(animal_series) for animal_series in series]
    known = [terms_of(*each) for each in zip(series, priors, changes, strict=True)]
    makes: dict[Hashable, list[int]] = {}
    for i, (animal_series, (terms, _)) in enumerate(zip(series, known, strict=True)):
        make = (
            len(animal_series.courses),
            "first_visit" in terms,
            len(terms),
            priors[i].first_visit_fading,
        )
        makes.setdefault(make, []).append(i)
    forms, found = _Forms(), dict[int, Columns]()
    for members in makes.values():
        alike = _Alike([series[i] for i in members], priors[members[0]].first_visit_fading)
        days, designs = alike.days(), alike.designs(known[members[0]][0])
        under_drug = alike.treated()
        for row, i in enumerate(members):
            terms, others = known[i]
            prior = forms.of(series[i], priors[i], others, under_drug[row])
            fading = priors[i].first_visit_fading
            columns = Columns(series[i], terms, prior, priors[i].wander_days, fading)
            _fill(designs[row], terms, series[i], changes[i])
            # Where the columns themselves would keep them once they are asked for.
            vars(columns).update(_sessions=designs[row], _day=days[row], changes=changes[i])
            found[i] = columns
    return [found[i] for i in range(len(series))]


class _Alike:
    """Series with as many courses, with or without a first visit: their sessions end to end."""

    def __init__(self, series: Sequence[Series], fading: float) -> None:
        self._fading = fading
        length = np.array([animal_series.y.size for animal_series in series], dtype=np.int64)
        end: NDArray[np.int64] = np.cumsum(length)
        self._start: NDArray[np.int64] = end - length
        bounds = zip(self._start.tolist(), end.tolist(), strict=True)
        self._slices = [slice(*each) for each in bounds]
        date = (
            np.concatenate([animal_series.date for animal_series in series])
            .astype(np.int64)
            .astype(np.float64)
        )
        self._day = date - np.repeat(date[end - 1], length)
        self._visit = np.concatenate([animal_series.visit for animal_series in series])
        count = len(series[0].courses)
        courses = [[animal_series.courses[i] for animal_series in series] for i in range(count)]
        self._shares = [_shares(each, date, self._slices) for each in courses]

    def days(self) -> list[Array]:
        """Days of the sessions of each series from its t0."""
        return [self._day[rows_of] for rows_of in self._slices]

    def designs(self, terms: _Terms) -> list[Array]:
        """Return the (n, p) design of each, the columns of joins and changes still nil."""
        rows = np.zeros((self._day.size, len(terms)))
        rows[:, 0], rows[:, 1] = 1.0, self._day / SLOPE_DAYS
        for i, share in enumerate(self._shares, start=2):
            rows[:, i] = share
        if "first_visit" in terms:
            rows[:, terms.index("first_visit")] = excitement(self._visit, self._fading)
        return [rows[rows_of] for rows_of in self._slices]

    def treated(self) -> list[bool]:
        """Return of each whether some session was taken with a course on, or not yet decayed."""
        on = np.zeros(self._day.size, dtype=bool)
        for share in self._shares:
            on |= share > 0
        return [bool(is_on) for is_on in np.logical_or.reduceat(on, self._start)]


def _shares(courses: Sequence[Course], day: Array, slices: Sequence[slice]) -> Array:
    """Return `on_share` of a course a series at the days of its sessions, end to end."""
    length = [rows.stop - rows.start for rows in slices]
    start = np.array([course.started_on for course in courses], dtype="datetime64[D]")
    stop = np.array([course.stopped_on for course in courses], dtype="datetime64[D]")
    tau = np.array([course.tau_days for course in courses])
    ended = ~np.isnat(stop)
    begin, end = start.astype(np.float64), np.where(ended, stop, start).astype(np.float64)
    reached = -np.expm1(-(end - begin) / tau)
    begin, end, reached, over, tau = (
        np.repeat(each, length) for each in (begin, end, reached, ended, tau)
    )
    share = -np.expm1(-np.maximum(day - begin, 0.0) / tau)
    over &= day > end
    share[over] = reached[over] * np.exp(-np.maximum(day - end, 0.0) / tau)[over]
    for course, rows in zip(courses, slices, strict=True):
        if course.missed:
            share[rows] = on_share(course, day[rows])
    return share


def _fill(
    design: Array, terms: _Terms, series: Series, changes: Sequence[RecordedChange]
) -> NDArray[np.float64]:
    """Fill in the columns of joins and recorded changes; the design is read-only from here on."""
    # Most series have no terms but level, slope, courses and the first visit.
    if len(terms) > 2 + len(series.courses) + ("first_visit" in terms):
        columns = join_columns(series) | {change.term: change.column for change in changes}
        for term, values in columns.items():
            if term in terms:
                design[:, terms.index(term)] = values
    design.setflags(write=False)
    return design


class _Forms:
    """The forms of priors; those of series that differ in nothing they rest on are one."""

    def __init__(self) -> None:
        self._known: dict[Hashable, tuple[PriorForm, ...]] = {}

    def of(
        self, series: Series, priors: Priors, others: _Others, treated: bool
    ) -> tuple[PriorForm, ...]:
        """Return the forms of one series; arguments as in `single_form`."""
        groups, courses = priors.groups, series.courses
        key: Hashable
        if groups is not None and treated:
            key = (id(priors), "groups", course_roles(courses), others)
            make = group_forms
        elif groups is not None and series.bounded:
            key = (id(priors), "bounded", tuple(course.kind for course in courses), others)
            make = bounded_forms
        else:
            key = (id(priors), "", tuple(course.kind for course in courses), others)
            if key not in self._known:
                self._known[key] = (single_form(priors, courses, others),)
            return self._known[key]
        if key not in self._known:
            self._known[key] = make(groups, priors, courses, others)
        return self._known[key]
