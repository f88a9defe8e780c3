"""What is known of each course's effect, and of each spell's, its dose changes summed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.maths.gaussian import Array
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.columns import Columns, on_share
from bpvet.visits.series import Course, Series

#: Multiples of tau after which a response is taken as finished.
FINISHED_TAUS = 3.0


@dataclass(frozen=True, eq=False)
class CourseEffect:
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
    knowable : bool
        False where no session lies before the start, nor any 3·tau or more after a stop: the
        effect then is the prior's, not the records'.
    before_mean, after_mean : float or None
        Plain mean of the session means before the start, and from 3·tau after it to the stop:
        corrected neither for starting on a high day nor for getting used to visits.
    """

    course: Course
    effect: Mixture
    effect_now: Mixture
    share_now: float
    finished: bool
    before_sessions: int
    knowable: bool
    before_mean: float | None
    after_mean: float | None


@dataclass(frozen=True, eq=False)
class Treatment:
    """A spell on one drug: its base and its dose changes summed.

    Parameters
    ----------
    drug : str
        Generic name, or several that cannot be told apart.
    started_on, stopped_on : datetime64[D]
        First day and last day (NaT: ongoing).
    changed_on : datetime64[D]
        Start of the newest dose change that is modelled; the first day where there is none.
    effect, effect_now : Mixture
        Sum of the full effects at the last dose, and the sum of what is reached at the latest
        session.
    finished, knowable : bool
        As in `CourseEffect`: the last change has had its time; the base can be known.
    tau_days : float
        Time constant used.
    before_mean, after_mean : float or None
        As in `CourseEffect`, of the spell.
    """

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    changed_on: np.datetime64
    effect: Mixture
    effect_now: Mixture
    finished: bool
    knowable: bool
    tau_days: float
    before_mean: float | None
    after_mean: float | None


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
            knowable=knowable(series, course),
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
        knowable=knowable(series, base),
        tau_days=base.tau_days,
        before_mean=before,
        after_mean=after,
    )


def finished(series: Series, course: Course) -> bool:
    """Return whether the latest session lies at least 3·tau after the start of the course."""
    return bool(_days(series.date[-1], course.started_on) >= FINISHED_TAUS * course.tau_days)


def knowable(series: Series, course: Course) -> bool:
    """Return whether any session shows the animal off the course."""
    if np.any(series.date <= course.started_on):
        return True
    if np.isnat(course.stopped_on):
        return False
    return bool(_days(series.date[-1], course.stopped_on) >= FINISHED_TAUS * course.tau_days)


def _share_now(series: Series, course: Course) -> float:
    return float(on_share(course, series.date[-1:].astype(np.int64).astype(np.float64))[0])


def _plain_means(series: Series, course: Course) -> tuple[float | None, float | None]:
    since = (series.date - course.started_on).astype(np.float64)
    settled = since >= FINISHED_TAUS * course.tau_days
    if not np.isnat(course.stopped_on):
        settled &= series.date <= course.stopped_on
    return _mean(series.y[since <= 0]), _mean(series.y[settled])


def _mean(values: Array) -> float | None:
    return float(values.mean()) if values.size else None


def _days(later: np.datetime64, earlier: np.datetime64) -> float:
    return float((later - earlier) / np.timedelta64(1, "D"))
