"""Looking around the latest session: was it a surprise, how long at target, by which value."""

from __future__ import annotations

from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np

from bpvet.equality import Content
from bpvet.facts.breeds import sighthound
from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.words import Bound
from bpvet.frozen import dataclass, replace
from bpvet.maths.mixture import Mixture
from bpvet.maths.newest import session_ahead
from bpvet.maths.posterior import Posterior
from bpvet.maths.spread import share_interpolated
from bpvet.models.trend.changes import elsewhere, latest_session
from bpvet.models.trend.columns import join_columns, noise_groups
from bpvet.models.trend.fit import refit, subset
from bpvet.models.trend.trend import Context, Trend
from bpvet.printing import a_or_an
from bpvet.reasons import reason
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.series import Course, Series

#: Days that are asked for at once.
_DAYS = 256


@dataclass(frozen=True, eq=False)
class Surprise(Content):
    """The newest session under the fit to the earlier ones.

    Parameters
    ----------
    observed : float
        Its mean, in the unit; a bound where `bound` says so.
    expected : Mixture
        What the earlier sessions led one to expect of it, its own visit, reading and
        first-visit noise included.
    tail : float
        Two-sided tail probability of what was observed; of a bound, twice the probability of
        lying beyond it, 1 at most.
    bound : str
        ``at least``, ``at most``, ``at least and at most`` or blank.
    """

    observed: float
    expected: Mixture
    tail: float
    bound: str = ""

    @cached_property
    def tails(self) -> tuple[float, float]:
        """Probabilities of lying above and below what was observed; 1 where a bound says less."""
        above = (
            1.0
            if self.bound in (Bound.AT_MOST, Bound.BOTH)
            else float(self.expected.above(self.observed))
        )
        below = (
            1.0
            if self.bound in (Bound.AT_LEAST, Bound.BOTH)
            else float(self.expected.below(self.observed))
        )
        return above, below


def surprise(trend: Trend) -> Surprise | None:
    """Return how surprising the newest session is; None where it is the only one.

    The earlier sessions are fitted on their own, with their own t0, but on the scale of the trend
    that is shown: its method and its condition stay the base, whichever of them came last among
    the earlier sessions. A join that only the newest session shows is expected as its prior has
    it; a site, posture, instrument or operator that they do not know adds its own uncertainty.
    """
    known = _KNOWN.get(trend.posterior)
    if known is None or known[0] is not trend.series or known[1] is not trend.context:
        before = before_newest(trend)
        found = None if before is None else surprise_after(trend, refit(trend, before))
        known = _KNOWN[trend.posterior] = (trend.series, trend.context, found)
    return known[2]


#: The refit is done once, where rechecks, answers and the figure all ask. Nothing here holds the
#: posterior, so that an entry goes when its trend does.
_KNOWN: WeakKeyDictionary[Posterior, tuple[Series, Context, Surprise | None]] = WeakKeyDictionary()


def before_newest(trend: Trend) -> Series | None:
    """Return the series without its newest session; None where that is the only one."""
    series, count = trend.series, trend.series.y.size
    if count < 2:
        return None
    arrays: dict[str, Any] = {
        name: each[:-1] for name, each in vars(series).items() if isinstance(each, np.ndarray)
    }
    return replace(series, **arrays)


def surprise_after(trend: Trend, earlier: Trend) -> Surprise:
    """Return how surprising the newest session of a trend is.

    Parameters
    ----------
    trend : Trend
    earlier : Trend
        The fit to `before_newest` of it.
    """
    newest = newest_asked(trend, earlier)
    asked = [newest.row], [newest.day], [newest.readings], [newest.group]
    return surprise_of(trend, session_ahead([earlier.posterior], *asked)[0], newest)


@dataclass(frozen=True, eq=False)
class NewestAsked:
    """The newest session as the fit to the earlier ones is asked for it.

    Parameters
    ----------
    row : (p,)
        Its row of the design.
    day, readings : float
        Its day on the scale of the earlier series, and how many readings it rests on.
    group : int
        Its noise group.
    shift, variance : float
        What is known of it from priors alone: joins and recorded changes that only it shows.
    """

    row: np.ndarray
    day: float
    readings: float
    group: int
    shift: float
    variance: float


def newest_asked(trend: Trend, earlier: Trend) -> NewestAsked:
    """Return how the fit to the earlier sessions is asked for the newest one."""
    series = trend.series
    day = float(series.date[-1].astype(np.int64)) - earlier.columns.origin
    method = str(series.methods[-1])
    groups = noise_groups(earlier.series)
    # A method met here for the first time has no noise among the earlier sessions.
    group = groups.index(method) if method in groups else 0
    terms = earlier.columns.terms
    values = None if series.recorded is None else series.recorded[-1]
    moved = elsewhere(earlier.series, earlier.priors, terms, method, values)
    rows = earlier.columns.rows(np.array([day]), visit=int(series.visit[-1]))
    shift, variance = _join(trend, earlier, rows)
    rows[:, [terms.index(term) for term in moved.terms]] = -1.0
    return NewestAsked(
        row=rows[0],
        day=day,
        readings=float(series.k[-1]),
        group=group,
        shift=shift + moved.shift,
        variance=variance + moved.variance,
    )


def surprise_of(trend: Trend, expected: Mixture, asked: NewestAsked) -> Surprise:
    """Return the surprise of a trend's newest session from what was expected of it."""
    expected_there = Mixture(
        expected.weights,
        expected.means + asked.shift,
        np.sqrt(np.square(expected.sds) + asked.variance),
        "log" if trend.logarithmic else "plain",
    )
    found = Surprise(float(trend.observed[-1]), expected_there, 1.0, str(trend.series.bound[-1]))
    whole = replace(found, tail=min(2 * min(found.tails), 1.0))
    # Where it would keep them itself: they are of the same numbers.
    vars(whole)["tails"] = found.tails
    return whole


def _join(trend: Trend, earlier: Trend, rows: np.ndarray) -> tuple[float, float]:
    """Fill in the joins of the newest session, and return what only their priors can tell.

    Parameters
    ----------
    trend, earlier : Trend
        The trend, and that of all sessions but the newest, on one scale.
    rows : (1, p) float
        Design of the newest session under `earlier`; its columns of joins are filled in.

    Returns
    -------
    shift, variance : float
        Prior mean and variance of the joins that the earlier sessions do not hold: there they are
        one with the level, so that what counts is the step from them to the newest session.
    """
    shift, variance = 0.0, 0.0
    for name, column in join_columns(trend.series).items():
        if name in earlier.columns.terms:
            rows[0, earlier.columns.terms.index(name)] = column[-1]
            continue
        # A join has one prior, whatever form that of level and effects takes.
        form = trend.columns.forms[0]
        at, step = trend.columns.terms.index(name), float(column[-1] - column[0])
        shift += step * float(form.centre[at])
        variance += step**2 * float(form.covariance[at, at])
    return shift, variance


@dataclass(frozen=True)
class ShareAtTarget:
    """Share of the period from the first to the latest session spent at or below a value.

    Parameters
    ----------
    expected : float
        Mean over days of the probability of lying at or below it.
    interpolated : float or None
        Straight lines between session means (Rosendaal 1993); None with one date. Sessions with a
        reading beyond the gauge have no mean to draw them through.
    days : int
        Length of the period.
    left_out : int
        Sessions that the straight lines leave out.
    """

    expected: float
    interpolated: float | None
    days: int
    left_out: int = 0


def share_at_target(trend: Trend, target: float) -> ShareAtTarget:
    """Return the share of the period at or below `target`, in the unit of the series."""
    first, last = trend.series.date[0], trend.series.date[-1]
    dates = np.arange(first, last + np.timedelta64(1, "D"))
    # A few days at a time: of each there is a number for every noise node.
    cuts = range(_DAYS, dates.size, _DAYS)
    chances = [np.atleast_1d(trend.at(some).below(target)) for some in np.split(dates, cuts)]
    expected = float(np.mean(np.concatenate(chances)))
    days = dates.size - 1
    if days == 0:
        return ShareAtTarget(expected, None, 0)
    plain = trend.series.plain
    # One plain mean a date: straight lines need distinct dates and numbers.
    date, which = np.unique(trend.series.date[plain].astype(np.int64), return_inverse=True)
    means = np.bincount(which, trend.series.y[plain]) / np.bincount(which)
    day = date.astype(np.float64)
    lines = share_interpolated(day, means, target).estimate if date.size > 1 else None
    return ShareAtTarget(expected, lines, days, int(np.sum(~trend.series.plain)))


def with_scaled_tau(trend: Trend, factor: float) -> Trend:
    """Return the trend with every course's time constant multiplied by `factor`."""

    def scaled(course: Course) -> Course:
        return replace(course, tau_days=course.tau_days * factor)

    given = trend.priors
    taus = {drug: tau * factor for drug, tau in given.tau_days.items()}
    priors = tuple(replace(each, tau_days=taus) for each in trend.context.priors)
    series = replace(trend.series, courses=tuple(scaled(each) for each in trend.series.courses))
    context = replace(trend.context, priors=priors)
    return refit(replace(trend, context=context), series)


def with_medians(trend: Trend) -> Trend:
    """Return the trend of the sessions' medians in place of their means.

    Sessions with a reading beyond the gauge have no median, and enter as they do in the trend.
    """
    series = trend.series
    medians = np.where(series.plain, series.median, series.y)
    return trend if np.array_equal(medians, series.y) else refit(trend, replace(series, y=medians))


def without_tense(trend: Trend) -> Trend | None:
    """Return the trend without sessions of tense demeanour; None where none or all are."""
    tense = trend.series.tense
    if not tense.any() or tense.all():
        return None
    return refit(trend, subset(trend.series, ~tense))


def usual_as_latest(trend: Trend, whole: Trend) -> float:
    """Return the usual value at the latest session of a whole trend by a part of its sessions.

    As measured at that session: where the part's own latest session has another site, posture,
    instrument or operator, its scale is another one.
    """
    series, terms = whole.series, trend.columns.terms
    values = None if series.recorded is None else series.recorded[latest_session(series)]
    moved = elsewhere(trend.series, trend.priors, terms, series.method, values)
    day = series.date[-1:].astype(np.int64).astype(np.float64) - trend.columns.origin
    rows = trend.columns.rows(day)
    rows[:, [terms.index(term) for term in moved.terms]] = -1.0
    usual = trend.posterior.usual(rows, day).first()
    scale = "log" if trend.logarithmic else "plain"
    return float(Mixture(usual.weights, usual.means + moved.shift, usual.sds, scale).mean)


def target_for(trend: Trend, guideline: Guideline) -> tuple[float, str]:
    """Return the value that control is judged by, and whose it is.

    Returns
    -------
    value : float
        mmHg.
    kind : str
        ``own`` (set by the vet for this animal), ``guideline`` (its target), or ``raised``
        (the bound of the raised range: no blood-pressure drug is on record).
    """
    if not treated(trend):
        return guideline.raised.value, "raised"
    target = own_target(trend.records, trend.series.animal)
    return (guideline.target.value, "guideline") if target is None else (target, "own")


def own_target(records: Records, animal: str) -> float | None:
    """Return the target that the vet has set for an animal, mmHg; None where none is."""
    row = animal_rows(records).get(animal)
    return None if row is None else row.target_systolic


def treated(trend: Trend) -> bool:
    """Return whether a modelled course is on at the date the trend speaks for."""
    as_of = trend.as_of
    return any(
        course.started_on <= as_of and (np.isnat(course.stopped_on) or course.stopped_on >= as_of)
        for course in trend.context.treatments.courses
    )


def category_withheld(trend: Trend) -> str | None:
    """Return why no category is named for this animal, or None where one is."""
    row = animal_rows(trend.records)[trend.series.animal]
    breed = row.breed
    if written := row.species_written:
        return reason("category.species", species=written)
    if sighthound(breed):
        return reason("category.sighthound", breed=a_or_an(breed))
    youngest = float(fact("project.category.youngest").value or 0)
    first = trend.series.date[0]
    if row.born_after(first):
        return reason("category.unborn")
    age = row.age_years(trend.latest_date, first)
    if age is not None and age < youngest:
        return reason("category.young")
    return None


def written_species(records: Records, animal: str) -> str:
    """Return the species as written where it is neither cat nor dog; blank otherwise."""
    row = animal_rows(records).get(animal)
    return "" if row is None else row.species_written
