"""A step that nobody recorded: how far the records speak for one, and between which sessions.

A companion of the trend, not part of it. M_0 has no step; M_i has one column more, −1 before
session i, with its own coefficient; the models are weighed by their marginal likelihoods. Most
steps of 25 mmHg are not found: finding none says little.

Of many places only the likeliest are fitted anew. The Bayes factor of every place is first taken
at the noise nodes of the trend itself: it is the same integral, by nodes that lie well for a place
that says little, and those are the places that keep it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.sources import fact
from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array, session_noise
from bpvet.maths.mixture import Mixture
from bpvet.maths.newest import usual_at_newest
from bpvet.maths.posterior import Posterior
from bpvet.maths.special import log_sum_exp
from bpvet.models.trend.columns import Columns
from bpvet.models.trend.effects import FINISHED_TAUS
from bpvet.models.trend.forms import PriorForm
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.trend import Trend
from bpvet.visits.series import Series

STEP = "step"
#: Places that are fitted anew; of the others the Bayes factor is that of the trend's own nodes.
MOST_FITTED = 12
#: Noise nodes that it is taken at, the heaviest.
_HEAVIEST = 40


@dataclass(frozen=True, eq=False)
class Step:
    """How far the records speak for a step that nobody recorded.

    Parameters
    ----------
    p_any : float
        Posterior probability of any step.
    after, before : datetime64[D]
        The sessions between which it most probably lies, if there is one.
    p_there : float
        Posterior probability of that place.
    usual : Mixture
        Usual value at the latest session if there were a step, all places weighed.
    """

    p_any: float
    after: np.datetime64
    before: np.datetime64
    p_there: float
    usual: Mixture


@dataclass(frozen=True, eq=False)
class SteppedColumns(Columns):
    """The coefficients of a trend and one more: what follows a day minus what lies before it.

    Parameters
    ----------
    step_day : float
        First day after the step, from t0.
    """

    step_day: float = 0.0

    def sessions(self) -> Array:
        """Return the (n, p) design of the sessions of the series."""
        rows = super().sessions().copy()
        rows[:, self.terms.index(STEP)] = np.where(self.day < self.step_day, -1.0, 0.0)
        return rows


def unrecorded_step(trend: Trend) -> Step | None:
    """Return how far the records speak for a step that nobody recorded.

    Parameters
    ----------
    trend : Trend
        Of a pressure.

    Returns
    -------
    Step or None
        None where no gap between sessions lies further than 3·tau from every start and stop of a
        course, and where a session holds a reading beyond the gauge.
    """
    series = trend.series
    later = step_places(series)
    if not later.size or series.bounded:
        return None
    sd, any_ = (float(fact(f"project.step.{name}").value or 1) for name in ("sd", "any"))
    log_factor = log_factors(trend, later, sd)
    best = np.sort(np.argsort(-log_factor, kind="stable")[:MOST_FITTED])
    stepped = [_stepped(trend.columns, float(trend.columns.day[later[i]]), sd) for i in best]
    count, context = len(stepped), trend.context
    fits = posteriors([series] * count, [context.priors] * count, stepped, context.fixed)
    log_factor[best] = [fit.log_marginal - trend.posterior.log_marginal for fit in fits]
    # Weights against no step; the prior of any is spread evenly over the places.
    log_odds = log_factor + np.log(any_ / later.size / (1 - any_))
    top = max(float(log_odds.max()), 0.0)
    odds = np.exp(log_odds - top)
    share = odds / (odds.sum() + np.exp(-top))
    there = int(np.argmax(share))
    return Step(
        p_any=min(float(share.sum()), 1.0),
        after=series.date[later[there] - 1],
        before=series.date[later[there]],
        p_there=float(share[there]),
        usual=_usual(trend, stepped, fits, odds[best] / odds[best].sum()),
    )


def step_places(series: Series) -> NDArray[np.int64]:
    """Return the sessions (m,) before which a step may lie: gaps away from all ends of courses.

    A gap is taken as long as no start or stop of a course lies within 3·tau of any of its days.
    """
    day = series.date.astype(np.int64).astype(np.float64)
    free = np.diff(day) > 0
    for course in series.courses:
        reach = FINISHED_TAUS * course.tau_days
        for end in (course.started_on, course.stopped_on):
            if not np.isnat(end):
                at = float(end.astype(np.int64))
                free &= (at < day[:-1] - reach) | (at > day[1:] + reach)
    return np.flatnonzero(free) + 1


def log_factors(trend: Trend, later: NDArray[np.int64], sd: float) -> Array:
    """Return the log Bayes factor (m,) of a step before each of some sessions against none.

    Taken at the heaviest noise nodes of the trend, by dense arithmetic: with V the covariance of
    the session means, r what is left of them and s the column of a step, it is
    −½ log(1 + q sd²) + ½ b² sd²/(1 + q sd²) with q = sᵀV⁻¹s and b = sᵀV⁻¹r.

    Parameters
    ----------
    trend : Trend
    later : (m,) int
        First session after each step.
    sd : float
        SD of a step.
    """
    columns = -(np.arange(trend.series.y.size)[:, None] < later).astype(np.float64)
    weight = trend.posterior.weight
    least = np.sort(weight)[-_HEAVIEST:][0]
    logs, weights = [], []
    # Readings beyond the gauge stand as normal pseudo-sessions here.
    parts = trend.posterior.plain.parts
    for share, conditional in zip(trend.posterior.shares, parts, strict=True):
        batch = conditional.batch
        design, left, day = batch.x[:, :, 0].T, batch.y[:, 0], batch.day[:, 0]
        prior = (design * batch.prior_sd[:, 0] ** 2) @ design.T
        kept = np.exp(-np.abs(day[:, None] - day) / batch.wander_days[0])
        noise = session_noise(batch, conditional.noise)[:, 0]
        for node in np.flatnonzero(share * conditional.weight >= least):
            covariance = prior + conditional.noise.wander[0, node] * kept + np.diag(noise[:, node])
            solved = np.linalg.solve(covariance, columns)
            grown = 1 + sd**2 * np.sum(columns * solved, axis=0)
            logs.append(-0.5 * np.log(grown) + 0.5 * sd**2 * (left @ solved) ** 2 / grown)
            weights.append(share * conditional.weight[node])
    log_weights = np.log(np.array(weights) / np.sum(weights))
    return np.asarray(log_sum_exp(np.array(logs) + log_weights[:, None], axis=0))


def _stepped(columns: Columns, day: float, sd: float) -> SteppedColumns:
    return SteppedColumns(
        series=columns.series,
        terms=(*columns.terms, STEP),
        forms=tuple(_with_step(form, sd) for form in columns.forms),
        wander_days=columns.wander_days,
        fading=columns.fading,
        step_day=day,
    )


def _with_step(form: PriorForm, sd: float) -> PriorForm:
    """Return a form of the prior with one more coefficient, independent of the others."""
    count = form.mean.size
    transform = np.eye(count + 1)
    transform[:count, :count] = form.transform
    return PriorForm(form.weight, transform, np.append(form.mean, 0.0), np.append(form.sd, sd))


def _usual(
    trend: Trend, columns: Sequence[Columns], fits: Sequence[Posterior], share: Array
) -> Mixture:
    """Return the usual value at the latest session over several designs, weighed."""
    day = trend.columns.day[-1:]
    heavy = [i for i in range(len(fits)) if share[i] > 1e-9]
    # The forms of each side by side: a filter for every one of them takes three times as long.
    parts = [usual_at_newest([fits[i]], [*columns[i].rows(day)])[0] for i in heavy]
    weights = np.concatenate(
        [share[i] * mixture.weights for i, mixture in zip(heavy, parts, strict=True)]
    )
    means = np.concatenate([mixture.means for mixture in parts])
    sds = np.concatenate([mixture.sds for mixture in parts])
    combined = Mixture(weights / weights.sum(), means, sds)
    return replace(combined, scale=trend.latest.scale)
