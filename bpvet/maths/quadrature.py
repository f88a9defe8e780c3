"""Integrating the noise SDs out by the nested rule: no sampling, the same digits every time.

With rho = log(sw/sv), lt = ½ log(sv² + sw²) and lr = log sr, the map from (log sv, log sw) to
(lt, rho) has Jacobian 1. Seventeen equally spaced rho carry the outer integral; at each, the
mode over (lt, lr) is found and a 5 × 5 Gauss–Hermite rule is centred and scaled there. Rules
centred on the prior, or on one joint mode, are out by up to 34 mmHg on odd records.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, roots_hermite

from bpvet.errors import FitError
from bpvet.maths.gaussian import Array, Batch, Noise, coefficients, whiten
from bpvet.maths.spectrum import Basis, Spectrum, basis, fits, spectrum

RHO_NODES = 17
RHO_HALF_WIDTH = 6.0
GAUSS_NODES = 5
#: Weight allowed at either end of the rho grid before it is widened.
END_WEIGHT = 1e-6
_WIDENINGS = 6
_NEWTON_STEPS = 60
_STEP = 0.02
#: A Newton step this small, in posterior SDs, leaves an error of its square: near enough for
#: the centre of a rule.
_NEAR = 0.05
#: A fall of the log density this small is rounding, not a step gone wrong.
_SLACK = 1e-6
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
    found : Found
        What another prior of the coefficients can begin with.
    """

    log_sv: Array
    log_sr: Array
    log_sw: Array
    weight: Array
    log_marginal: Array
    found: Found


@dataclass(frozen=True, eq=False)
class Found:
    """What the integral under one prior of the coefficients leaves for that under another.

    Parameters
    ----------
    lt, lr : (B, R)
        The modes at each rho.
    basis : Basis or None
        What the designs of the same sessions share; None where the filter was run.
    """

    lt: Array
    lr: Array
    basis: Basis | None

    def take(self, animals: NDArray[np.int64]) -> Found:
        """Return what was found of the animals at these positions."""
        held = None if self.basis is None else self.basis.take(animals)
        return Found(self.lt[animals], self.lr[animals], held)


def noise_at(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Noise:
    """Return the noise variances of every group where group 0 has these log-SDs, (B, K) each.

    The groups of a bridged series share one z: an animal noisy by one method is taken to be
    as noisy, in prior SDs, by the other.
    """

    def by_group(own: Array, pairs: Array) -> Array:
        if pairs.shape[0] == 1:
            return np.exp(2 * own)[None]
        z = (own - pairs[0, 0][:, None]) / pairs[0, 1][:, None]
        others = pairs[1:, 0][:, :, None] + pairs[1:, 1][:, :, None] * z
        return np.exp(2 * np.concatenate([own[None], others]))

    return Noise(by_group(log_sv, prior.sv), by_group(log_sr, prior.sr), np.exp(2 * log_sw))


def log_prior(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Array:
    """Return the log prior density of the three log-SDs, (B, K)."""

    squares, constant = 0.0, 0.0
    for value, pair in ((log_sv, prior.sv[0]), (log_sr, prior.sr[0]), (log_sw, prior.sw)):
        z = (value - pair[0][:, None]) / pair[1][:, None]
        squares = squares + z * z
        constant = constant + np.log(pair[1])[:, None] + 0.5 * np.log(2 * np.pi)
    return np.asarray(-0.5 * squares - constant)


def separate(lt: Array, rho: Array) -> tuple[Array, Array]:
    """Return (log sv, log sw) from lt = ½ log(sv² + sw²) and rho = log(sw/sv)."""
    half = 0.5 * np.logaddexp(0.0, 2 * rho)
    return lt - half, lt + rho - half


@dataclass(frozen=True, eq=False)
class Surface:
    """The log density of readings and log-SDs together, over (lt, lr) at fixed rho.

    Parameters
    ----------
    batch, prior
        As in `integrate`.
    rho : (B, R)
        Where the outer integral is evaluated.
    shared : Spectrum or None
        What the nodes of one rho share; None where the filter is run at each node.
    """

    batch: Batch
    prior: NoisePrior
    rho: Array
    shared: Spectrum | None

    @classmethod
    def of(cls, batch: Batch, prior: NoisePrior, rho: Array, held: Basis | None = None) -> Surface:
        """Return the surface, by the faster of the two ways; on a basis that is held already."""
        if not fits(batch):
            return cls(batch, prior, rho, None)
        return cls(batch, prior, rho, spectrum(batch, held or basis(batch, rho)))

    def take(self, animals: NDArray[np.int64]) -> Surface:
        """Return the surface of the animals at these positions."""
        shared = None if self.shared is None else self.shared.take(animals)
        return Surface(
            self.batch.take(animals), self.prior.take(animals), self.rho[animals], shared
        )

    def at(self, lt: Array, lr: Array) -> Array:
        """Return the log density at lt, lr (B, R, M)."""
        shape = (lt.shape[0], -1)
        parts = np.broadcast_arrays(*separate(lt, self.rho[..., None]), lr)
        log_sv, log_sw, log_sr = (part.reshape(shape) for part in parts)
        if self.shared is None:
            noise = noise_at(self.prior, log_sv, log_sr, log_sw)
            reading, whitened = noise.reading, whiten(self.batch, noise)
        else:
            reading, whitened = np.exp(2 * log_sr)[None], self.shared.whitened(lt, lr)
        likelihood = coefficients(self.batch, reading, whitened).log_likelihood
        return (likelihood + log_prior(self.prior, log_sv, log_sr, log_sw)).reshape(lt.shape)

    def precise(self, lt: Array, lr: Array) -> Array:
        """Return the log density as the integral takes it; `at` finds the modes alone."""
        return self.at(lt, lr)


#: How a surface is made of a batch, its noise priors and rho, where it is another one.
SurfaceOf = Callable[[Batch, NoisePrior, Array], Surface]


# Readings of a size no animal has overflow on the way; what is not finite or did not settle is
# refused at the end, and needs no warning besides.
@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def integrate(
    batch: Batch,
    prior: NoisePrior,
    near: Found | None = None,
    surface_of: SurfaceOf | None = None,
) -> Nodes:
    """Integrate the three noise SDs out by the nested rule.

    Parameters
    ----------
    batch : Batch
        Series of B animals.
    prior : NoisePrior
        Their noise priors.
    near : Found or None
        What was found of the same animals, padded alike, under another prior of the coefficients.
    surface_of : callable or None
        How the surface is made, where it is another one; nothing is then shared.

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
    nodes = _nested(batch, prior, half_width, RHO_NODES, near, surface_of)
    found = nodes.found
    for widening in range(1, _WIDENINGS + 1):
        thin = _end_weight(nodes, widening)
        wide = np.flatnonzero(thin >= END_WEIGHT)
        if wide.size == 0:
            # Of the first grid, so that no animal begins elsewhere for another's sake.
            return replace(nodes, found=found)
        # Widened for all where one needs it: rare, and the node spacing stays the same.
        half_width = half_width + RHO_HALF_WIDTH / 2
        nodes = _nested(batch, prior, half_width, RHO_NODES + 8 * widening, None, surface_of)
    raise FitError(
        "The split between visit noise and slow wander could not be integrated: the posterior "
        "reaches beyond every grid that was tried."
    )


def _end_weight(nodes: Nodes, widening: int) -> Array:
    """Return the larger weight at an end of the rho grid, (B,)."""
    each = GAUSS_NODES**2
    ends = nodes.weight[:, :each].sum(axis=1), nodes.weight[:, -each:].sum(axis=1)
    return np.maximum(*ends)


def _nested(
    batch: Batch,
    prior: NoisePrior,
    half_width: Array,
    count: int,
    near: Found | None,
    surface_of: SurfaceOf | None,
) -> Nodes:
    centre = prior.sw[0] - prior.sv[0, 0]
    spread = np.hypot(prior.sw[1], prior.sv[0, 1])
    rho = centre[:, None] + (half_width * spread)[:, None] * np.linspace(-1, 1, count)
    if near is not None and near.lt.shape != rho.shape:
        near = None  # its grid was widened
    held = None
    if surface_of is None:
        held = near.basis if near is not None else None
        if held is not None and held.value.shape[-1] != batch.sessions:
            held = None  # padded to other animals' sessions
        if held is None and fits(batch):
            held = basis(batch, rho)
        surface = Surface.of(batch, prior, rho, held)
    else:
        surface = surface_of(batch, prior, rho)
    mode = conditional_modes(surface, near)
    u, w = roots_hermite(GAUSS_NODES)
    ua, ub = (part.ravel() for part in np.meshgrid(u, u, indexing="ij"))
    log_w = (np.log(w)[:, None] + np.log(w)[None, :]).ravel() + ua**2 + ub**2
    root = np.sqrt(2.0) * mode.root[..., None]
    lt = mode.lt[..., None] + root[0, 0] * ua
    lr = mode.lr[..., None] + root[1, 0] * ua + root[1, 1] * ub
    log_area = np.log(root[0, 0] * root[1, 1]) + log_w
    spacing = (2 * half_width * spread / (count - 1))[:, None, None]
    shape = (rho.shape[0], count * ua.size)
    log_mass = (surface.precise(lt, lr) + log_area + np.log(spacing)).reshape(shape)
    log_marginal = np.asarray(logsumexp(log_mass, axis=1))
    weight = np.exp(log_mass - log_marginal[:, None])
    by_rho = weight.reshape(rho.shape[0], count, -1).sum(axis=2)
    if not np.all(np.isfinite(log_marginal)) or np.any(~mode.settled & (by_rho > _MATTERS)):
        raise FitError(
            "The search for the most likely noise SDs did not settle where it matters; "
            "no numbers are given."
        )
    log_sv, log_sw = separate(lt, np.broadcast_to(rho[..., None], lt.shape))
    return Nodes(
        log_sv.reshape(shape),
        lr.reshape(shape),
        log_sw.reshape(shape),
        weight,
        log_marginal,
        Found(mode.lt, mode.lr, held),
    )


@dataclass(frozen=True, eq=False)
class Modes:
    """The mode over (lt, lr) at each rho.

    Parameters
    ----------
    lt, lr : (B, R)
        The modes.
    root : (2, 2, B, R)
        Lower Cholesky factor of the inverse negative Hessian there.
    settled : (B, R) bool
        Whether the last step was small: a twentieth of a posterior SD.
    """

    lt: Array
    lr: Array
    root: Array
    settled: NDArray[np.bool_]


def conditional_modes(surface: Surface, near: Found | None = None) -> Modes:
    """Find the mode over (lt, lr) at each rho by damped Newton steps, from `near` if given.

    An animal is looked at until all its rho have settled; what it gets does not depend on
    the animals beside it.
    """
    shape = surface.rho.shape
    if near is not None:
        lt, lr = near.lt.copy(), near.lr.copy()
    else:
        lr = _start_lr(surface.batch, surface.prior)[:, None] + np.zeros(shape)
        lt = _start_lt(surface, lr)
    best, gradient, hessian = _local_shape(surface, lt, lr)
    damping, settled = np.zeros(shape), np.zeros(shape, dtype=bool)
    for _ in range(_NEWTON_STEPS):
        step, size = _damped_step(gradient, hessian, damping)
        # A step this small is taken unseen: what it would change is far below the rule's error.
        last = (size < _NEAR) & ~settled
        lt, lr = np.where(last, lt + step[0], lt), np.where(last, lr + step[1], lr)
        settled |= last
        rows = np.flatnonzero(~settled.all(axis=1))
        if rows.size == 0:
            break
        open_ = surface if rows.size == shape[0] else surface.take(rows)
        to_lt, to_lr = lt[rows] + step[0][rows], lr[rows] + step[1][rows]
        value, slope, bend = _local_shape(open_, to_lt, to_lr)
        better = (value >= best[rows] - _SLACK) & ~settled[rows]
        lt[rows], lr[rows] = np.where(better, to_lt, lt[rows]), np.where(better, to_lr, lr[rows])
        best[rows] = np.where(better, value, best[rows])
        gradient[:, rows] = np.where(better, slope, gradient[:, rows])
        hessian[:, rows] = np.where(better, bend, hessian[:, rows])
        less, more = damping[rows] / 4, np.maximum(4 * damping[rows], 0.5)
        damping[rows] = np.where(better, less, more)
    return Modes(lt, lr, _inverse_root(hessian), settled)


def _start_lr(batch: Batch, prior: NoisePrior) -> Array:
    """Return the mode of log sr from the scatter within sessions alone, nearly, (B,)."""
    median, log_sd = prior.sr[0]
    df, ss = batch.scatter_df.sum(axis=0), batch.scatter_ss.sum(axis=0)
    # One weighted average of two log-normal guesses: the prior's and the sample SD's, whose
    # log has a variance of about 1/(2 df).
    sample = 0.5 * np.log(np.maximum(ss, 1e-6) / np.maximum(df, 1.0))
    own = 2 * df * log_sd**2
    # The mode lies above this one, that of readings without any scatter: with those the sample's
    # log says nothing.
    lowest = median - df * log_sd**2
    return np.asarray(np.maximum((median + own * sample) / (1 + own), lowest))


def _start_lt(surface: Surface, lr: Array) -> Array:
    """Return where to begin along lt at each rho, (B, R): the prior there, and the sessions' SD."""
    batch, prior = surface.batch, surface.prior
    half = 0.5 * np.logaddexp(0.0, 2 * surface.rho)
    visit, wander = (1 / pair[1][:, None] ** 2 for pair in (prior.sv[0], prior.sw))
    guesses = prior.sv[0, 0][:, None] + half, prior.sw[0][:, None] - surface.rho + half
    prior_lt = (visit * guesses[0] + wander * guesses[1]) / (visit + wander)
    count = batch.live.sum(axis=0)
    left = np.where(batch.live, batch.y - batch.y.sum(axis=0) / count, 0.0)
    reading = np.exp(2 * lr) * (np.where(batch.live, 1 / batch.k, 0.0).sum(axis=0) / count)[:, None]
    between = (np.sum(left**2, axis=0) / np.maximum(count - 1, 1))[:, None]
    sample = 0.5 * np.log(np.maximum(between - reading, 0.1 * between + 1e-9))
    # Information on a log-SD is about two for each degree of freedom.
    own = 2.0 * np.maximum(count - 2, 0)[:, None]
    return np.asarray(((visit + wander) * prior_lt + own * sample) / (visit + wander + own))


def _local_shape(surface: Surface, lt: Array, lr: Array) -> tuple[Array, Array, Array]:
    """Return value (B, R), gradient (2, B, R) and Hessian (3, B, R: tt, tr, rr) at a place.

    Differences of seven values: the place only centres and scales a rule, so their error
    (a few parts in ten thousand of the scale) does not reach any answer.
    """
    h = _STEP
    moves = np.array([(0, 0), (h, 0), (-h, 0), (0, h), (0, -h), (h, h), (-h, -h)])
    values = surface.at(lt[..., None] + moves[:, 0], lr[..., None] + moves[:, 1])
    f0, tp, tm, rp, rm, pp, mm = np.moveaxis(values, -1, 0)
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
