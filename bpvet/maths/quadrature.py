"""Integrating the noise SDs out by the nested rule: no sampling, the same digits every time.

With rho = log(sw/sv), lt = ½ log(sv² + sw²) and lr = log sr, the map from (log sv, log sw) to
(lt, rho) has Jacobian 1. Seventeen equally spaced rho carry the outer integral; at each, the
mode over (lt, lr) is found and a 5 × 5 Gauss–Hermite rule is centred and scaled there. Rules
centred on the prior, or on one joint mode, are out by up to 34 mmHg on odd records.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, roots_hermite

from bpvet.errors import FitError
from bpvet.maths.gaussian import Array, Batch, Noise, coefficients, whiten

RHO_NODES = 17
RHO_HALF_WIDTH = 6.0
GAUSS_NODES = 5
#: Weight allowed at either end of the rho grid before it is widened.
END_WEIGHT = 1e-6
_WIDENINGS = 6
_NEWTON_STEPS = 60
_STEP = 0.02
#: The mode only centres a rule, so a hundredth of its SD is near enough.
_NEAR = 1e-2
#: A failed search matters only where its rho carries weight.
_MATTERS = 1e-9


@dataclass(frozen=True, eq=False)
class NoisePrior:
    """Lognormal priors of the noise SDs of B animals.

    Parameters
    ----------
    sv, sr : (G, 2, B)
        Log-median and log-SD of the visit and the reading SD of each noise group; group 0
        is that of the latest session's method.
    sw : (2, B)
        The same of the wander SD.
    """

    sv: Array
    sr: Array
    sw: Array

    def take(self, animals: NDArray[np.int64]) -> NoisePrior:
        """Return the priors of the animals at these positions."""
        return NoisePrior(self.sv[..., animals], self.sr[..., animals], self.sw[..., animals])


@dataclass(frozen=True, eq=False)
class Nodes:
    """Where the integral is evaluated and what each place weighs.

    Parameters
    ----------
    log_sv, log_sr, log_sw : (B, K)
        Log-SDs of noise group 0 and of the wander.
    weight : (B, K)
        Posterior weights; each animal's sum to 1.
    log_marginal : (B,)
        Log marginal likelihood of all readings.
    """

    log_sv: Array
    log_sr: Array
    log_sw: Array
    weight: Array
    log_marginal: Array


def noise_at(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Noise:
    """Return the noise variances of every group where group 0 has these log-SDs, (B, K) each.

    The groups of a bridged series share one z: an animal noisy by one method is taken to be
    as noisy, in prior SDs, by the other.
    """

    def by_group(own: Array, pairs: Array) -> Array:
        z = (own - pairs[0, 0][:, None]) / pairs[0, 1][:, None]
        others = pairs[1:, 0][:, :, None] + pairs[1:, 1][:, :, None] * z
        return np.exp(2 * np.concatenate([own[None], others]))

    return Noise(by_group(log_sv, prior.sv), by_group(log_sr, prior.sr), np.exp(2 * log_sw))


def log_prior(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Array:
    """Return the log prior density of the three log-SDs, (B, K)."""

    def normal(value: Array, pair: Array) -> Array:
        z = (value - pair[0][:, None]) / pair[1][:, None]
        return -0.5 * z * z - np.log(pair[1])[:, None] - 0.5 * np.log(2 * np.pi)

    density = normal(log_sv, prior.sv[0]) + normal(log_sr, prior.sr[0]) + normal(log_sw, prior.sw)
    return np.asarray(density)


def separate(lt: Array, rho: Array) -> tuple[Array, Array]:
    """Return (log sv, log sw) from lt = ½ log(sv² + sw²) and rho = log(sw/sv)."""
    half = 0.5 * np.logaddexp(0.0, 2 * rho)
    return lt - half, lt + rho - half


def log_joint(batch: Batch, prior: NoisePrior, lt: Array, rho: Array, lr: Array) -> Array:
    """Return the log density of readings and log-SDs together at nodes (B, K)."""
    log_sv, log_sw = separate(lt, rho)
    noise = noise_at(prior, log_sv, lr, log_sw)
    likelihood = coefficients(batch, noise, whiten(batch, noise)).log_likelihood
    return likelihood + log_prior(prior, log_sv, lr, log_sw)


def integrate(batch: Batch, prior: NoisePrior) -> Nodes:
    """Integrate the three noise SDs out by the nested rule.

    Parameters
    ----------
    batch : Batch
        Series of B animals.
    prior : NoisePrior
        Their noise priors.

    Returns
    -------
    Nodes
        17 × 25 nodes an animal (more where the rho grid had to be widened).

    Raises
    ------
    FitError
        Where a mode search failed at a rho that carries weight, or the grid could not be
        made wide enough.
    """
    half_width = np.full(prior.sw.shape[1], RHO_HALF_WIDTH)
    nodes = _nested(batch, prior, half_width, RHO_NODES)
    for widening in range(1, _WIDENINGS + 1):
        thin = _end_weight(nodes, widening)
        wide = np.flatnonzero(thin >= END_WEIGHT)
        if wide.size == 0:
            return nodes
        # Widened for all where one needs it: rare, and the node spacing stays the same.
        half_width = half_width + RHO_HALF_WIDTH / 2
        nodes = _nested(batch, prior, half_width, RHO_NODES + 8 * widening)
    raise FitError(
        "The split between visit noise and slow wander could not be integrated: the posterior "
        "reaches beyond every grid that was tried."
    )


def _end_weight(nodes: Nodes, widening: int) -> Array:
    """Return the larger weight at an end of the rho grid, (B,)."""
    each = GAUSS_NODES**2
    ends = nodes.weight[:, :each].sum(axis=1), nodes.weight[:, -each:].sum(axis=1)
    return np.maximum(*ends)


def _nested(batch: Batch, prior: NoisePrior, half_width: Array, count: int) -> Nodes:
    centre = prior.sw[0] - prior.sv[0, 0]
    spread = np.hypot(prior.sw[1], prior.sv[0, 1])
    rho = centre[:, None] + (half_width * spread)[:, None] * np.linspace(-1, 1, count)
    lt, lr, root, settled = conditional_modes(batch, prior, rho)
    u, w = roots_hermite(GAUSS_NODES)
    ua, ub = (part.ravel() for part in np.meshgrid(u, u, indexing="ij"))
    log_w = (np.log(w)[:, None] + np.log(w)[None, :]).ravel() + ua**2 + ub**2
    scale = np.sqrt(2.0)
    shape = (rho.shape[0], count * ua.size)
    nodes_lt = (lt[..., None] + scale * root[0, 0][..., None] * ua).reshape(shape)
    step = root[1, 0][..., None] * ua + root[1, 1][..., None] * ub
    nodes_lr = (lr[..., None] + scale * step).reshape(shape)
    nodes_rho = np.repeat(rho, ua.size, axis=1)
    log_area = np.log(2 * root[0, 0] * root[1, 1])[..., None] + log_w
    spacing = (2 * half_width * spread / (count - 1))[:, None]
    log_mass = log_joint(batch, prior, nodes_lt, nodes_rho, nodes_lr)
    log_mass += log_area.reshape(shape) + np.log(spacing)
    log_marginal = np.asarray(logsumexp(log_mass, axis=1))
    weight = np.exp(log_mass - log_marginal[:, None])
    by_rho = weight.reshape(rho.shape[0], count, -1).sum(axis=2)
    if not np.all(np.isfinite(log_marginal)) or np.any(~settled & (by_rho > _MATTERS)):
        raise FitError(
            "The search for the most likely noise SDs did not settle where it matters; "
            "no numbers are given."
        )
    log_sv, log_sw = separate(nodes_lt, nodes_rho)
    return Nodes(log_sv, nodes_lr, log_sw, weight, log_marginal)


def conditional_modes(
    batch: Batch, prior: NoisePrior, rho: Array
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Find the mode over (lt, lr) at each rho by damped Newton steps.

    Parameters
    ----------
    batch, prior
        As in `integrate`.
    rho : (B, R)
        Where the outer integral is evaluated.

    Returns
    -------
    lt, lr : (B, R)
        The modes.
    root : (2, 2, B, R)
        Lower Cholesky factor of the inverse negative Hessian there.
    settled : (B, R) bool
        Whether the last step was within a hundredth of a posterior SD.
    """
    lt = np.broadcast_to(
        0.5 * np.logaddexp(2 * prior.sv[0, 0], 2 * prior.sw[0])[:, None], rho.shape
    ).copy()
    lr = np.broadcast_to(_start_lr(batch, prior)[:, None], rho.shape).copy()
    settled = np.zeros(rho.shape, dtype=bool)
    damping = np.zeros(rho.shape)
    best, gradient, hessian = _local_shape(batch, prior, lt, rho, lr)
    for _ in range(_NEWTON_STEPS):
        step, size = _damped_step(gradient, hessian, damping)
        trial = _local_shape(batch, prior, lt + step[0], rho, lr + step[1])
        better = (trial[0] >= best - 1e-9) & ~settled
        lt, lr = np.where(better, lt + step[0], lt), np.where(better, lr + step[1], lr)
        best = np.where(better, trial[0], best)
        gradient = np.where(better, trial[1], gradient)
        hessian = np.where(better, trial[2], hessian)
        damping = np.where(better, damping / 4, np.maximum(4 * damping, 0.5))
        settled |= better & (size < _NEAR)
        if settled.all():
            break
    return lt, lr, _inverse_root(hessian), settled


def _start_lr(batch: Batch, prior: NoisePrior) -> Array:
    """Return the mode of log sr from the scatter within sessions alone, nearly, (B,)."""
    median, log_sd = prior.sr[0]
    df, ss = batch.scatter_df.sum(axis=0), batch.scatter_ss.sum(axis=0)
    # One weighted average of two log-normal guesses: the prior's and the sample SD's, whose
    # log has a variance of about 1/(2 df).
    sample = 0.5 * np.log(np.maximum(ss, 1e-6) / np.maximum(df, 1.0))
    own = 2 * df * log_sd**2
    return np.asarray((median + own * sample) / (1 + own))


def _local_shape(
    batch: Batch, prior: NoisePrior, lt: Array, rho: Array, lr: Array
) -> tuple[Array, Array, Array]:
    """Return value (B, R), gradient (2, B, R) and Hessian (3, B, R: tt, tr, rr) at a place.

    Differences of seven values: the place only centres and scales a rule, so their error
    (a few parts in ten thousand of the scale) does not reach any answer.
    """
    h = _STEP
    moves = np.array([(0, 0), (h, 0), (-h, 0), (0, h), (0, -h), (h, h), (-h, -h)])
    count = rho.shape[1]

    def spread(place: Array, move: Array) -> Array:
        return (place[:, None, :] + move[:, None]).reshape(place.shape[0], -1)

    zero = np.zeros(len(moves))
    values = log_joint(
        batch, prior, spread(lt, moves[:, 0]), spread(rho, zero), spread(lr, moves[:, 1])
    ).reshape(rho.shape[0], len(moves), count)
    f0, tp, tm, rp, rm, pp, mm = (values[:, i] for i in range(len(moves)))
    gradient = np.stack([tp - tm, rp - rm]) / (2 * h)
    tt, rr = (tp - 2 * f0 + tm) / h**2, (rp - 2 * f0 + rm) / h**2
    tr = (pp - tp - rp + 2 * f0 - tm - rm + mm) / (2 * h**2)
    return f0, gradient, np.stack([tt, tr, rr])


def _damped_step(gradient: Array, hessian: Array, damping: Array) -> tuple[Array, Array]:
    """Return the Newton step (2, B, R), made uphill and damped, and its size in local SDs."""
    a, b, c = _concave(hessian)
    a, c = a * (1 + damping), c * (1 + damping)
    det = a * c - b * b
    step = np.stack([c * gradient[0] - b * gradient[1], a * gradient[1] - b * gradient[0]]) / det
    # No further than e-fold in an SD at once: the surface is only locally a parabola.
    step /= np.maximum(1.0, np.abs(step).max(axis=0))
    size = np.sqrt(np.maximum(a * step[0] ** 2 + 2 * b * step[0] * step[1] + c * step[1] ** 2, 0))
    return step, size


def _concave(hessian: Array) -> tuple[Array, Array, Array]:
    """Return minus the Hessian (tt, tr, rr), made positive definite where it is not."""
    a, b, c = -hessian
    centre, radius = (a + c) / 2, np.hypot((a - c) / 2, b)
    lift = np.where(centre - radius <= 1e-3, radius - centre + 0.5, 0.0)
    return a + lift, b, c + lift


def _inverse_root(hessian: Array) -> Array:
    """Return the lower Cholesky factor of the inverse of minus the Hessian, (2, 2, B, R)."""
    a, b, c = _concave(hessian)
    det = a * c - b * b
    first = np.sqrt(c / det)
    root = np.zeros((2, 2, *a.shape))
    root[0, 0], root[1, 0] = first, -b / det / first
    root[1, 1] = np.sqrt(1 / c)
    return root
