"""Looking around the latest session: was it a surprise, how long at target, when again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bpvet.facts.breeds import sighthound
from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.maths.mixture import Mixture
from bpvet.maths.spread import share_interpolated
from bpvet.models.columns import noise_groups
from bpvet.models.fit import refit, subset
from bpvet.models.trend import Trend
from bpvet.visits.series import Course, Series


@dataclass(frozen=True, eq=False)
class Surprise:
    """The newest session under the fit to the earlier ones.

    Parameters
    ----------
    observed : float
        Its mean, in the unit.
    expected : Mixture
        What the earlier sessions led one to expect of it, its own visit, reading and
        first-visit noise included.
    tail : float
        Two-sided tail probability of what was observed.
    """

    observed: float
    expected: Mixture
    tail: float


def surprise(trend: Trend) -> Surprise | None:
    """Return how surprising the newest session is; None where it is the only one.

    The earlier sessions are fitted on their own, with their own t0.
    """
    series = trend.series
    count = series.y.size
    if count < 2:
        return None
    earlier = refit(trend, subset(series, np.arange(count) < count - 1))
    day = float(series.date[-1].astype(np.int64)) - earlier.columns.origin
    method = str(series.methods[-1])
    # A method met here for the first time has no noise group among the earlier sessions; its
    # readings then speak of the earlier method's noise, and the join is unknown.
    groups = noise_groups(earlier.series)
    group = groups.index(method) if method in groups else 0
    rows = earlier.columns.rows(np.array([day]), visit=int(series.visit[-1]), method=method)
    expected = earlier.posterior.session(rows, np.array([day]), series.k[-1:], group)
    scale = "log" if trend.logarithmic else "plain"
    one = Mixture(expected.weights, expected.means[0], expected.sds[0], scale)
    observed = float(trend.observed[-1])
    tail = 2 * min(float(one.below(observed)), float(one.above(observed)))
    return Surprise(observed, one, min(tail, 1.0))


@dataclass(frozen=True)
class ShareAtTarget:
    """Share of the period from the first to the latest session spent at or below a value.

    Parameters
    ----------
    expected : float
        Mean over days of the probability of lying at or below it.
    interpolated : float or None
        Straight lines between session means (Rosendaal 1993); None with one date.
    days : int
        Length of the period.
    """

    expected: float
    interpolated: float | None
    days: int


def share_at_target(trend: Trend, target: float) -> ShareAtTarget:
    """Return the share of the period at or below `target`, in the unit of the series."""
    first, last = trend.series.date[0], trend.series.date[-1]
    dates = np.arange(first, last + np.timedelta64(1, "D"))
    expected = float(np.mean(np.atleast_1d(trend.at(dates).below(target))))
    days = dates.size - 1
    if days == 0:
        return ShareAtTarget(expected, None, 0)
    date, means = _means_by_date(trend.series)
    return ShareAtTarget(expected, share_interpolated(date, means, target).estimate, days)


def _means_by_date(series: Series) -> tuple[np.ndarray, np.ndarray]:
    """Return one plain mean a date: straight lines need distinct dates."""
    date, which = np.unique(series.date.astype(np.int64), return_inverse=True)
    return date.astype(np.float64), np.bincount(which, series.y) / np.bincount(which)


def days_until_likely_above(trend: Trend, guideline_target: float) -> tuple[int | None, str]:
    """Return the days after which the model asks for a visit, or None and the reason.

    The first h of 14 days or more with P(mu(t + h) > target + 10) of 0.2 or more, shown up to
    the length of the record or 90 days, at most 180; only where P(mu(latest) > target) is
    below 0.1. Facts ``project.recheck.*``.

    Parameters
    ----------
    trend : Trend
    guideline_target : float
        Target, mmHg.
    """

    def number(key: str) -> float:
        value = fact(f"project.recheck.{key}").value
        return float(value if value is not None else np.nan)

    if float(trend.latest.above(guideline_target)) >= number("model.above_now"):
        return None, "the usual pressure is not settled below the value that counts"
    record = float((trend.series.date[-1] - trend.series.date[0]) / np.timedelta64(1, "D"))
    furthest = int(min(max(record, number("model_record")), number("model_last")))
    ahead = np.arange(int(number("model_first")), furthest + 1)
    above = np.atleast_1d(
        trend.at(trend.latest_date + ahead.astype("timedelta64[D]")).above(
            guideline_target + number("model.margin")
        )
    )
    likely = np.flatnonzero(above >= number("model.above_then"))
    if likely.size == 0:
        return None, f"no rise that would ask for a visit is likely within {furthest} days"
    return int(ahead[likely[0]]), ""


def with_scaled_tau(trend: Trend, factor: float) -> Trend:
    """Return the trend with every course's time constant multiplied by `factor`."""

    def scaled(course: Course) -> Course:
        return replace(course, tau_days=course.tau_days * factor)

    own = trend.priors
    taus = {drug: tau * factor for drug, tau in own.tau_days.items()}
    priors = tuple(replace(one, tau_days=taus) for one in trend.context.priors)
    series = replace(trend.series, courses=tuple(scaled(one) for one in trend.series.courses))
    context = replace(trend.context, priors=priors)
    return refit(replace(trend, context=context), series)


def with_medians(trend: Trend) -> Trend:
    """Return the trend of the sessions' medians in place of their means."""
    return refit(trend, replace(trend.series, y=trend.series.median))


def without_tense(trend: Trend) -> Trend | None:
    """Return the trend without sessions of tense demeanour; None where none or all are."""
    tense = trend.series.tense
    if not tense.any() or tense.all():
        return None
    return refit(trend, subset(trend.series, ~tense))


def target_for(trend: Trend, guideline: Guideline) -> tuple[float, str]:
    """Return the value that control is judged by, and whose it is.

    Returns
    -------
    value : float
        mmHg.
    kind : str
        ``own`` (set by the vet for this animal), ``guideline`` (its target), or ``raised``
        (the bound of the raised range: the animal is untreated).
    """
    if not treated(trend):
        return guideline.raised.value, "raised"
    animals = trend.records.animals
    own = animals.loc[animals["animal"] == trend.series.animal, "target_systolic"]
    if len(own) and np.isfinite(own.iloc[0]):
        return float(own.iloc[0]), "own"
    return guideline.target.value, "guideline"


def treated(trend: Trend) -> bool:
    """Return whether a modelled course is on at the date the trend speaks for."""
    as_of = trend.as_of
    return any(
        course.started_on <= as_of and (np.isnat(course.stopped_on) or course.stopped_on >= as_of)
        for course in trend.context.treatments.courses
    )


def category_withheld(trend: Trend) -> str | None:
    """Return why no category is named for this animal, or None where one is."""
    sessions = trend.context.sessions
    breed = str(sessions["breed"].iloc[-1])
    if sighthound(breed):
        return (
            f"a {breed} is a sighthound: this breed group runs apart, and no range of its own "
            "is sourced here"
        )
    youngest = float(fact("project.category.youngest").value or 0)
    age = sessions.set_index("session")["age_years"].get(trend.series.session[-1])
    if age is not None and age < youngest:
        return "the animal is under one year of age; the categories speak of adults"
    return None
