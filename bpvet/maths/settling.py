"""The chance that further visits settle a question, before they are made.

Today's posterior is a mixture over noise nodes and forms of the prior, Gaussian in each. What
the next m visits would read is drawn from it at 256 fixed points, and each time the report that
would then be written is worked out, at the same nodes: its prior stands at the date of its own
latest session, and its nodes are weighed anew by what was read. The chance is the share of points
at which that report gives a verdict.

Preposterior analysis: Raiffa H, Schlaifer R, *Applied Statistical Decision Theory* (1961).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from bpvet.frozen import dataclass
from bpvet.maths.gaussian import (
    Array,
    Noise,
    backward_solve,
    cholesky,
    forward_solve,
    whiten,
)
from bpvet.maths.posterior import Posterior
from bpvet.maths.sobol import sobol_points
from bpvet.maths.special import ndtr, ndtri

#: Nodes that weigh less than this are left out.
LIGHT = 1e-4
_BLOCKS = 4


@dataclass(frozen=True, eq=False)
class Ahead:
    """Visits that have not been made, as the model sees them.

    Parameters
    ----------
    rows : (m, p)
        Design of their sessions in the natural coefficients, first visits and all.
    day : (m,)
        Their days on the series' scale, all after its latest session.
    readings : float
        Readings that each session's mean will rest on.
    shift : (p, p)
        Today's natural coefficients from those of a report whose latest session is the last of
        these.
    """

    rows: Array
    day: Array
    readings: float
    shift: Array


@dataclass(frozen=True, eq=False)
class Question:
    """A quantity, and when a report gives a verdict on it.

    Parameters
    ----------
    vector : (p,)
        Its natural coefficients.
    wander : bool
        Whether the wander on the day of the last visit is part of it.
    threshold : float
        What it is to lie at or below.
    low, sure : float
        The verdict is given where the probability of that is `low` or less, or `sure` or more.
    """

    vector: Array
    wander: bool
    threshold: float
    low: float
    sure: float


@dataclass(frozen=True)
class Chances:
    """How likely further visits settle a question.

    Parameters
    ----------
    at_or_below, above : float
        Probability that the verdict "at or below" is reached, and that "above" is.
    """

    at_or_below: float
    above: float


@dataclass(frozen=True, eq=False)
class Standing:
    """What today's sessions leave at the heavy nodes of all forms: K of them, side by side.

    Parameters
    ----------
    log_weight : (K,)
        Log of their weights.
    form : (K,) int
        Which form each belongs to.
    base : (G,) int
        The form in whose own columns the cross-products of each form are.
    transform : (G, p, p)
        Natural coefficients from the own ones of each form.
    prior_mean, prior_sd : (G, p)
        Priors of the own coefficients.
    gram : (K, p + 1, p + 1)
        Cross-products of the whitened columns and values.
    wander_mean : (K, p + 1)
        Filtered wander at the latest session, for each column.
    wander_share : (K,)
        Share of the wander's variance left then.
    noise : Noise
        Variances at the nodes, B = 1.
    wander_days, last_day : float
        Time constant, and the day of the latest session.
    """

    log_weight: Array
    form: np.ndarray
    base: np.ndarray
    transform: Array
    prior_mean: Array
    prior_sd: Array
    gram: Array
    wander_mean: Array
    wander_share: Array
    noise: Noise
    wander_days: float
    last_day: float

    @classmethod
    def of(cls, posterior: Posterior) -> Standing:
        """Return it for a posterior."""
        # Readings beyond the gauge stand as normal pseudo-sessions here.
        shares, parts = posterior.shares, posterior.plain.parts
        weights = [
            share * conditional.weight for share, conditional in zip(shares, parts, strict=True)
        ]
        heavy = [np.flatnonzero(weight >= LIGHT) for weight in weights]
        form = np.repeat(np.arange(len(parts)), [nodes.size for nodes in heavy])
        noises = [_of(conditional.noise, at) for conditional, at in zip(parts, heavy, strict=True)]
        noise = _joined(noises)
        # Forms of the same sessions span the same columns: one run of the filter is for all. With
        # readings beyond the gauge, each form has its own pseudo-sessions.
        if all(conditional.batch.k is parts[0].batch.k for conditional in parts):
            base, found = np.zeros(len(parts), dtype=np.int64), [parts[0].batch]
            noises = [noise]
        else:
            base, found = np.arange(len(parts)), [conditional.batch for conditional in parts]
        runs = [whiten(*each, keep=True) for each in zip(found, noises, strict=True)]
        gram = np.concatenate([run.gram[:, :, 0] for run in runs], axis=-1)
        lower = np.tril(np.ones(gram.shape[:2]), -1)[:, :, None] * gram
        means = np.concatenate([run.mean[-1, :, 0] for run in runs], axis=-1)
        batch = parts[0].batch
        return cls(
            log_weight=np.log(np.concatenate([weights[i][at] for i, at in enumerate(heavy)])),
            form=form,
            base=base,
            transform=np.array([conditional.transform for conditional in parts]),
            prior_mean=np.array([conditional.prior_mean for conditional in parts]),
            prior_sd=np.array([conditional.batch.prior_sd[:, 0] for conditional in parts]),
            gram=np.ascontiguousarray(np.moveaxis(gram + lower.transpose(1, 0, 2), -1, 0)),
            wander_mean=np.ascontiguousarray(means.T),
            wander_share=np.concatenate([run.share[-1, 0] for run in runs]),
            noise=noise,
            wander_days=float(batch.wander_days[0]),
            last_day=float(batch.day[-1, 0]),
        )

    @cached_property
    def today(self) -> _Fit:
        """The coefficients under the prior of today's report."""
        return _fit(self, np.eye(self.transform.shape[-1]))


def _of(noise: Noise, nodes: np.ndarray) -> Noise:
    """Return the noise at some nodes."""
    return Noise(noise.visit[..., nodes], noise.reading[..., nodes], noise.wander[..., nodes])


def _joined(noises: Sequence[Noise]) -> Noise:
    """Return the noise at the nodes of several, one after another."""
    return Noise(
        np.concatenate([noise.visit for noise in noises], axis=-1),
        np.concatenate([noise.reading for noise in noises], axis=-1),
        np.concatenate([noise.wander for noise in noises], axis=-1),
    )


@dataclass(frozen=True, eq=False)
class _Fit:
    """Today's sessions under the prior of one report: coefficients, and their evidence.

    Parameters
    ----------
    natural : (G, p, p)
        Natural coefficients from that prior's own ones, of each form.
    centre : (G, p)
        Prior means of the own coefficients.
    form : (K,) int
        The form of each node.
    mean : (p, K)
        Posterior means less the prior's.
    root : (p, p, K)
        Lower Cholesky factor of the posterior precision.
    wander : (p + 1, K)
        Filtered wander at the latest session, for that prior's columns.
    log_evidence : (K,)
        Log marginal likelihood but for terms that do not depend on the prior.
    """

    natural: Array
    centre: Array
    form: np.ndarray
    mean: Array
    root: Array
    wander: Array
    log_evidence: Array


def _fit(standing: Standing, shift: Array) -> _Fit:
    """Return today's sessions under the prior of a report that stands `shift` further on."""
    form, count = standing.form, shift.shape[0]
    base, natural = standing.base, shift @ standing.transform
    turned = np.linalg.solve(standing.transform[base], natural)
    change = np.zeros((turned.shape[0], count + 1, count + 1))
    change[:, :count, :count], change[:, count, count] = turned, 1.0
    moved = standing.prior_mean[base] - np.einsum("gab,gb->ga", turned, standing.prior_mean)
    change[:, :count, count] = moved
    each = np.ascontiguousarray(change[form])
    gram = np.moveaxis(each.transpose(0, 2, 1) @ standing.gram @ each, 0, -1)
    sd = standing.prior_sd[form].T
    precision = gram[:count, :count].copy()
    diagonal = np.arange(count)
    precision[diagonal, diagonal] += 1 / sd**2
    root = cholesky(precision)
    half = forward_solve(root, gram[:count, count])
    log_det = np.log(sd).sum(axis=0) + np.log(root[diagonal, diagonal]).sum(axis=0)
    return _Fit(
        natural=natural,
        centre=standing.prior_mean,
        form=form,
        mean=backward_solve(root, half),
        root=root,
        wander=(each.transpose(0, 2, 1) @ standing.wander_mean[:, :, None])[:, :, 0].T,
        log_evidence=-log_det - 0.5 * (gram[count, count] - np.sum(half * half, axis=0)),
    )


def _joint(fit: _Fit, rows: Array, kept: Array) -> tuple[Array, Array]:
    """Return mean (q, K) and covariance (K, q, q) of rows, the wander's own share left out.

    Parameters
    ----------
    fit : _Fit
    rows : (q, p)
        Natural designs.
    kept : (q,)
        How much of the wander at the latest session each still holds.
    """
    design = rows @ fit.natural
    count = rows.shape[1]
    left = (
        design.transpose(1, 2, 0).take(fit.form, axis=2) - kept[:, None, None] * fit.wander[:count]
    )
    prior = (design @ fit.centre[:, :, None])[:, :, 0].T
    mean = prior.take(fit.form, axis=1) + kept[:, None] * fit.wander[count]
    mean += np.sum(left * fit.mean, axis=1)
    half = forward_solve(fit.root[:, :, None], left.transpose(1, 0, 2)).transpose(2, 1, 0)
    return mean, half @ half.transpose(0, 2, 1)


def _wander(standing: Standing, day: Array, present: Array) -> Array:
    """Return the covariance (K, q, q) of the wander on days given what was seen."""
    gap = np.abs(day[:, None] - day)
    reach = np.minimum(day[:, None], day) - standing.last_day
    lost = -np.expm1(-2 * reach / standing.wander_days)
    factor = np.exp(-gap / standing.wander_days) * present[:, None] * present
    share = standing.wander_share[:, None, None] * (1 - lost) + lost
    return np.asarray(standing.noise.wander[0][:, None, None] * share * factor)


def chances(standing: Standing, ahead: Ahead, questions: Sequence[Question]) -> list[Chances]:
    """Return how likely the further visits settle each question.

    Parameters
    ----------
    standing : Standing
        What is known today.
    ahead : Ahead
        The visits: m of them, at most 60.
    questions : sequence of Question
        Questions that stand today.
    """
    count = len(questions)
    loose = _loose(standing, ahead, questions)
    mean, spread = _expected(standing, standing.today, ahead, questions, loose)
    later = _later(standing, ahead, questions, loose)
    root = np.linalg.cholesky(spread[:, count:, count:])
    points = sobol_points(ahead.day.size + 1)
    drawn, weight = ndtri(points[:, 1:]), np.exp(standing.log_weight)
    found = []
    for i, question in enumerate(questions):
        node = _chosen(mean[i], weight, points[:, 0])
        read = mean[count:, node].T + (root[node] @ drawn[:, :, None])[:, :, 0]
        # In blocks that fit the processor's cache.
        p = np.concatenate([later.at_or_below(i, block) for block in np.split(read, _BLOCKS)])
        found.append(Chances(float(np.mean(p >= question.sure)), float(np.mean(p <= question.low))))
    return found


def later_report(standing: Standing, ahead: Ahead, questions: Sequence[Question]) -> LaterReport:
    """Return what the report after the visits would say, for anything that they may read."""
    return _later(standing, ahead, questions, _loose(standing, ahead, questions))


def _later(
    standing: Standing, ahead: Ahead, questions: Sequence[Question], loose: Array
) -> LaterReport:
    then = _fit(standing, ahead.shift)
    mean, spread = _expected(standing, then, ahead, questions, loose)
    weight = standing.log_weight + then.log_evidence - standing.today.log_evidence
    return LaterReport.of(
        mean, spread, weight, np.array([question.threshold for question in questions])
    )


def _loose(standing: Standing, ahead: Ahead, questions: Sequence[Question]) -> Array:
    """Return the covariance (K, q + m, q + m) that is of no coefficient: wander and noise."""
    count, visits = len(questions), ahead.day.size
    found = _wander(standing, _days(ahead, count), _present(questions, visits))
    session = np.arange(count, count + visits)
    extra = standing.noise.visit[0, 0] + standing.noise.reading[0, 0] / ahead.readings
    found[:, session, session] += extra[:, None]
    return found


def _days(ahead: Ahead, count: int) -> Array:
    return np.concatenate([np.full(count, ahead.day[-1]), ahead.day])


def _present(questions: Sequence[Question], visits: int) -> Array:
    return np.array([float(question.wander) for question in questions] + [1.0] * visits)


def _expected(
    standing: Standing, fit: _Fit, ahead: Ahead, questions: Sequence[Question], loose: Array
) -> tuple[Array, Array]:
    """Return mean (q + m, K) and covariance (K, q + m, q + m) of questions and sessions."""
    count = len(questions)
    rows = np.concatenate([np.array([question.vector for question in questions]), ahead.rows])
    gap = _days(ahead, count) - standing.last_day
    kept = _present(questions, ahead.day.size) * np.exp(-gap / standing.wander_days)
    mean, spread = _joint(fit, rows, kept)
    return mean, spread + loose


def _chosen(mean: Array, weight: Array, point: Array) -> np.ndarray:
    """Return the node of each point: the inverse of the weights, cumulated by rising mean."""
    order = np.argsort(mean, kind="stable")
    reached = np.cumsum(weight[order])
    return order[np.searchsorted(reached / reached[-1], point)]


@dataclass(frozen=True, eq=False)
class LaterReport:
    """The later report, as polynomials in what its new sessions read.

    Parameters
    ----------
    middle : (m,)
        What is taken off the sessions first, so that squares keep their digits.
    log_density : (K, f)
        Log weight of each node with the sessions read: the coefficients of `_features`.
    room : (q, K, m + 1)
        How far below the threshold each question then lies, in its SDs: the coefficients of 1
        and of each session.
    """

    middle: Array
    log_density: Array
    room: Array

    @classmethod
    def of(cls, mean: Array, spread: Array, log_weight: Array, thresholds: Array) -> LaterReport:
        """Return it from the joint mean and covariance of the questions and the sessions.

        Parameters
        ----------
        mean, spread : (q + m, K) and (K, q + m, q + m)
        log_weight : (K,)
            Before the sessions are read.
        thresholds : (q,)
        """
        count = thresholds.size
        root = np.linalg.cholesky(spread[:, count:, count:])
        inverse = np.linalg.inv(root)
        precision = inverse.transpose(0, 2, 1) @ inverse
        middle = mean[count:].mean(axis=1)
        off = (mean[count:] - middle[:, None]).T
        pull = (precision @ off[:, :, None])[:, :, 0]
        first, second = np.triu_indices(middle.size)
        pairs = precision[:, first, second] * np.where(first == second, -0.5, -1.0)
        log_det = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        constant = log_weight - log_det - 0.5 * np.sum(off * pull, axis=1)
        cross = spread[:, :count, count:]
        gain = cross @ precision
        diagonal_ = np.diagonal(spread[:, :count, :count], axis1=1, axis2=2)
        left = np.maximum(diagonal_ - np.sum(gain * cross, axis=2), 1e-12 * diagonal_)
        at_middle = thresholds - mean[:count].T + np.sum(gain * off[:, None, :], axis=2)
        room = np.concatenate([at_middle[:, :, None], -gain], axis=2) / np.sqrt(left)[:, :, None]
        return cls(
            middle=middle,
            log_density=np.concatenate([constant[:, None], pull, pairs], axis=1),
            room=np.ascontiguousarray(room.transpose(1, 0, 2)),
        )

    def at_or_below(self, question: int, read: Array) -> Array:
        """Return the probability that the later report gives, for each of some readings.

        Parameters
        ----------
        question : int
        read : (R, m)
            What the sessions read.
        """
        features = _features(read - self.middle)
        weight = self.log_density @ features
        weight -= weight.max(axis=0)
        np.exp(weight, out=weight)
        share = self.room[question] @ features[: read.shape[1] + 1]
        ndtr(share, out=share)
        share *= weight
        return np.asarray(share.sum(axis=0) / weight.sum(axis=0))


def _features(values: Array) -> Array:
    """Return 1, each value and each product of two, (f, R), of values (R, m)."""
    first, second = np.triu_indices(values.shape[1])
    ones = np.ones((1, values.shape[0]))
    columns = np.ascontiguousarray(values.T)
    return np.concatenate([ones, columns, columns[first] * columns[second]])
