"""What is known of each course's effect, and of each spell's, its dose changes summed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.changes import RecordedChange
from bpvet.models.trend.columns import Columns, on_share
from bpvet.visits.series import Course, Series

#: Multiples of tau after which a response is taken as finished.
FINISHED_TAUS = 3.0
#: Share of its effect that a drug must have reached at some session for the effect to be knowable.
KNOWABLE_SHARE = 0.5

#: Why an effect cannot be known yet.
NONE_BEFORE, NONE_ON = "none_before", "none_on"


@dataclass(frozen=True, eq=False)
class CourseEffect(Content):
    """One course of a trend, and what is known of its effect.

    Parameters
    ----------
    course : Course
        Drug, dates, tau, base or increment.
    effect : Mixture
        Full effect, in the unit of the series (negative: it lowers).
    effect_now : Mixture
        Effect at the latest session: the full effect times the share reached then.
    share_now : float
        That share, 0 to 1.
    finished : bool
        Whether the latest session lies at least 3·tau after the start.
    before_sessions : int
        Sessions up to and including the day of the start.
    unknowable : str
        Why the effect is the prior's and not the records': `NONE_BEFORE`, `NONE_ON`; blank
        where it can be known.
    before_mean, after_mean : float or None
        Plain mean of the session means before the start, and from 3·tau after it to the stop:
        corrected neither for starting on a high day nor for getting used to visits. Sessions with
        a reading beyond the gauge are left out.
    """

    course: Course
    effect: Mixture
    effect_now: Mixture
    share_now: float
    finished: bool
    before_sessions: int
    unknowable: str
    before_mean: float | None
    after_mean: float | None

    @property
    def knowable(self) -> bool:
        """Whether the records can tell the effect."""
        return not self.unknowable


@dataclass(frozen=True, eq=False)
class Treatment(Content):
    """A spell on one drug: its base and its dose changes summed.

    Parameters
    ----------
    drug : str
        Generic name, or several that cannot be told apart.
    started_on, stopped_on : datetime64[D]
        First day and last day (NaT: ongoing).
    changed_on : datetime64[D]
        Start of the newest dose change that began by the latest session; the first day where
        there is none.
    effect, effect_now : Mixture
        Sum of the full effects of the base and of the dose changes that began by the latest
        session, and the sum of what is reached then.
    finished : bool
        As in `CourseEffect`: the last change has had its time.
    unknowable : str
        As in `CourseEffect`, of the base.
    tau_days : float
        Time constant used.
    before_mean, after_mean : float or None
        As in `CourseEffect`, of the spell.
    courses : tuple of int
        Places of the base and of those dose changes among the courses of the series.
    """

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    changed_on: np.datetime64
    effect: Mixture
    effect_now: Mixture
    finished: bool
    unknowable: str
    tau_days: float
    before_mean: float | None
    after_mean: float | None
    courses: tuple[int, ...]

    @property
    def knowable(self) -> bool:
        """Whether the records can tell the effect."""
        return not self.unknowable


@dataclass(frozen=True, eq=False)
class ChangeEffect(Content):
    """A recorded change of measuring, and what is known of the difference that it makes.

    Parameters
    ----------
    change : RecordedChange
    prior : (float, float)
        Centre and SD of the difference before the readings are seen.
    difference : Mixture
        The latest value minus the other one, in the unit of the series.
    courses : tuple of Course
        Courses on whose start it falls, so that the two cannot be told apart.
    """

    change: RecordedChange
    prior: tuple[float, float]
    difference: Mixture
    courses: tuple[Course, ...]


def change_effects(
    series: Series, columns: Columns, posterior: Posterior
) -> tuple[ChangeEffect, ...]:
    """Return what each recorded change that has a column differs by."""
    # Of every form alike: a group says nothing of how an animal was measured.
    form = columns.forms[0]
    prior = dict(zip(columns.terms, zip(form.mean, form.sd, strict=True), strict=True))
    return tuple(
        ChangeEffect(
            change=change,
            prior=(float(prior[change.term][0]), float(prior[change.term][1])),
            difference=posterior.combination(columns.unit(change.term)),
            courses=tuple(each for each in series.courses if change.inseparable(series, each)),
        )
        for change in columns.changes
        if change.term in columns.terms
    )


def course_effects(
    series: Series, columns: Columns, posterior: Posterior
) -> tuple[CourseEffect, ...]:
    """Return the effect of each course of the series, in its order."""
    effects = []
    for i, course in enumerate(series.courses):
        vector = columns.unit(columns.course_term(i))
        share = _share_now(series, course)
        before, after = _plain_means(series, course)
        effect = CourseEffect(
            course=course,
            effect=posterior.combination(vector),
            effect_now=posterior.combination(vector * share),
            share_now=share,
            finished=finished(series, course),
            before_sessions=int(np.sum(series.date <= course.started_on)),
            unknowable=unknowable(series, course),
            before_mean=before,
            after_mean=after,
        )
        effects.append(effect)
    return tuple(effects)


def spell_effects(series: Series, columns: Columns, posterior: Posterior) -> tuple[Treatment, ...]:
    """Return the summed effect of each spell, in order of start.

    A coefficient that several spells share (they cannot be told apart) counts in each; spells
    that share all of theirs are one.
    """
    spells = dict.fromkeys(spell for course in series.courses for spell in course.spells)
    shared = {
        tuple(i for i, course in enumerate(series.courses) if spell in course.spells): None
        for spell in spells
    }
    return tuple(_spell(series, columns, posterior, list(indices)) for indices in shared)


def _spell(series: Series, columns: Columns, posterior: Posterior, indices: list[int]) -> Treatment:
    # A dose change after the latest session has no reading to speak for it.
    indices = [i for i in indices if _counts(series, series.courses[i])]
    members = [series.courses[i] for i in indices]
    units = np.array([columns.unit(columns.course_term(i)) for i in indices])
    shares = np.array([_share_now(series, course) for course in members])
    base, newest = members[0], members[-1]
    before, after = _plain_means(series, base)
    return Treatment(
        drug=base.drug,
        started_on=base.started_on,
        stopped_on=base.stopped_on,
        changed_on=newest.started_on,
        effect=posterior.combination(units.sum(axis=0)),
        effect_now=posterior.combination(shares @ units),
        finished=finished(series, newest),
        unknowable=unknowable(series, base),
        tau_days=base.tau_days,
        before_mean=before,
        after_mean=after,
        courses=tuple(indices),
    )


def finished(series: Series, course: Course) -> bool:
    """Return whether the latest session lies at least 3·tau after the start of the course."""
    return bool(_days(series.date[-1], course.started_on) >= FINISHED_TAUS * course.tau_days)


def unknowable(series: Series, course: Course) -> str:
    """Return why the effect of a course cannot be known yet; blank where it can.

    A session must show the animal off the drug (before the start, on its day, or 3·tau after the
    stop) and one must show it with half of the effect or more.
    """
    off = bool(np.any(series.date <= course.started_on))
    if not off and not np.isnat(course.stopped_on):
        off = _days(series.date[-1], course.stopped_on) >= FINISHED_TAUS * course.tau_days
    if not off:
        return NONE_BEFORE
    shares = on_share(course, series.date.astype(np.int64).astype(np.float64))
    return "" if float(shares.max()) >= KNOWABLE_SHARE else NONE_ON


def _counts(series: Series, course: Course) -> bool:
    return course.kind == "base" or bool(course.started_on <= series.date[-1])


def _share_now(series: Series, course: Course) -> float:
    return float(on_share(course, series.date[-1:].astype(np.int64).astype(np.float64))[0])


def sides(series: Series, course: Course) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which sessions lie before a course, and which from 3·tau after its start to its stop.

    Of a course, the plain means before and after are those of these sessions.
    """
    since = (series.date - course.started_on).astype(np.float64)
    settled = since >= FINISHED_TAUS * course.tau_days
    if not np.isnat(course.stopped_on):
        settled &= series.date <= course.stopped_on
    # A session with a reading beyond the gauge has no mean.
    return (since <= 0) & series.plain, settled & series.plain


def _plain_means(series: Series, course: Course) -> tuple[float | None, float | None]:
    before, after = sides(series, course)
    return _mean(series.y[before]), _mean(series.y[after])


def _mean(values: Array) -> float | None:
    return float(values.mean()) if values.size else None


def _days(later: np.datetime64, earlier: np.datetime64) -> float:
    return float((later - earlier) / np.timedelta64(1, "D"))
