"""Integrating the noise SDs out by the nested rule: no sampling, the same digits every time.

With rho = log(sw/sv), lt = ½ log(sv² + sw²) and lr = log sr, the map from (log sv, log sw) to
(lt, rho) has Jacobian 1. Seventeen equally spaced rho carry the outer integral; at each, the
mode over (lt, lr) is found and a 5 × 5 Gauss–Hermite rule is centred and scaled there. Rules
centred on the prior, or on one joint mode, are out by up to 34 mmHg on odd records.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array, Batch
from bpvet.maths.spectrum import Basis, basis, fits
from bpvet.maths.surface import STEP, NoisePrior, Surface, separate

RHO_NODES = 17
RHO_HALF_WIDTH = 6.0
#: Nodes and weights of the Gauss–Hermite rule, as `scipy.special.roots_hermite` has them; written
#: out, for that one loads all of its linear algebra.
HERMITE_NODES = np.array(
    [-2.020182870456085, -0.9585724646138185, 0.0, 0.9585724646138185, 2.020182870456085]
)
HERMITE_WEIGHTS = np.array(
    [
        0.019953242059045882,
        0.3936193231522411,
        0.9453087204829417,
        0.3936193231522411,
        0.019953242059045882,
    ]
)
GAUSS_NODES = HERMITE_NODES.size
#: Weight allowed at either end of the rho grid before it is widened.
END_WEIGHT = 1e-6
_WIDENINGS = 6
_NEWTON_STEPS = 60
#: A Newton step this small, in posterior SDs, leaves an error of its square: near enough for
#: the centre of a rule.
_NEAR = 0.05
#: A fall of the log density this small is rounding, not a step gone wrong.
_SLACK = 1e-6
#: A failed search matters only where its rho carries weight.
_MATTERS = 1e-9


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

    def widened(self, animals: NDArray[np.int64], wider: Nodes) -> Nodes:
        """Return these with the nodes of some animals replaced by more; the rest get idle ones."""
        more = wider.weight.shape[1] - self.weight.shape[1]

        def padded(few: Array, many: Array, fill: float) -> Array:
            idle = fill * np.repeat(few[:, -1:], more, axis=1)
            both = np.concatenate([few, idle], axis=1)
            both[animals] = many
            return both

        log_marginal = self.log_marginal.copy()
        log_marginal[animals] = wider.log_marginal
        return Nodes(
            padded(self.log_sv, wider.log_sv, 1.0),
            padded(self.log_sr, wider.log_sr, 1.0),
            padded(self.log_sw, wider.log_sw, 1.0),
            padded(self.weight, wider.weight, 0.0),
            log_marginal,
            self.found,
        )


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
        basis = None if self.basis is None else self.basis.take(animals)
        return Found(self.lt[animals], self.lr[animals], basis)


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
    nodes = latest = _nested(batch, prior, 0, near, surface_of)
    wide = np.arange(nodes.log_marginal.size)
    for widening in range(1, _WIDENINGS + 1):
        # Only for those who need it: no animal's answer depends on the animals beside it.
        each = GAUSS_NODES**2
        ends = latest.weight[:, :each].sum(axis=1), latest.weight[:, -each:].sum(axis=1)
        wide = wide[np.maximum(*ends) >= END_WEIGHT]
        if wide.size == 0:
            return nodes
        latest = _nested(batch.take(wide), prior.take(wide), widening, None, surface_of)
        nodes = nodes.widened(wide, latest)
    raise FitError(
        "The split between visit noise and slow wander could not be integrated: the posterior "
        "reaches beyond every grid that was tried."
    )


def _nested(
    batch: Batch,
    prior: NoisePrior,
    widening: int,
    near: Found | None,
    surface_of: SurfaceOf | None,
) -> Nodes:
    """Return the nodes on a grid of rho that was widened so many times; the spacing stays."""
    half_width, count = RHO_HALF_WIDTH * (1 + widening / 2), RHO_NODES + 8 * widening
    centre = prior.sw[0] - prior.sv[0, 0]
    spread = np.hypot(prior.sw[1], prior.sv[0, 1])
    rho = centre[:, None] + (half_width * spread)[:, None] * np.linspace(-1, 1, count)
    shared = None
    if surface_of is None:
        shared = near.basis if near is not None else None
        if shared is None and fits(batch):
            shared = basis(batch, rho)
        surface = Surface.of(batch, prior, rho, shared)
    else:
        surface = surface_of(batch, prior, rho)
    mode = conditional_modes(surface, near)
    lt, lr, log_area = _places(mode)
    spacing = 2 * half_width * spread / (count - 1)
    log_mass = surface.precise(lt, lr)
    log_mass += log_area
    log_mass += np.log(spacing)[:, None, None]
    shape = (rho.shape[0], -1)
    log_mass = log_mass.reshape(shape)
    top = log_mass.max(axis=1, keepdims=True)
    weight = np.exp(log_mass - top)
    mass = weight.sum(axis=1, keepdims=True)
    weight /= mass
    log_marginal = (top + np.log(mass))[:, 0]
    failed = ~np.isfinite(log_marginal)
    if not mode.settled.all():
        by_rho = weight.reshape(lt.shape).sum(axis=2)
        failed |= np.any(~mode.settled & (by_rho > _MATTERS), axis=1)
    if failed.any():
        raise FitError(
            "The search for the most likely noise SDs did not settle where it matters; "
            "no numbers are given."
        )
    log_sv, log_sw = separate(lt, rho[..., None])
    return Nodes(
        log_sv.reshape(shape),
        lr.reshape(shape),
        log_sw.reshape(shape),
        weight,
        log_marginal,
        Found(mode.lt, mode.lr, shared),
    )


def _places(mode: Modes) -> tuple[Array, Array, Array]:
    """Return lt, lr and the log of what the density there is multiplied by, (B, R, 25) each."""
    root = np.sqrt(2.0) * mode.root[..., None]
    lt = mode.lt[..., None] + root[0, 0] * _ALONG
    lr = mode.lr[..., None] + root[1, 0] * _ALONG + root[1, 1] * _ACROSS
    return lt, lr, np.log(root[0, 0] * root[1, 1]) + _LOG_AREA


def _hermite() -> tuple[Array, Array, Array]:
    nodes = HERMITE_NODES
    along, across = (grid.ravel() for grid in np.meshgrid(nodes, nodes, indexing="ij"))
    log_weights = np.log(HERMITE_WEIGHTS)
    log_w = (log_weights[:, None] + log_weights[None, :]).ravel()
    return along, across, log_w + along**2 + across**2


_ALONG, _ACROSS, _LOG_AREA = _hermite()


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

    A rho is looked at until it has settled; what it gets does not depend on the others or on the
    animals beside it.
    """
    shape = surface.rho.shape
    if near is not None:
        lt, lr = near.lt.ravel(), near.lr.ravel()
    else:
        start = _start_lr(surface.batch, surface.prior)[:, None] + np.zeros(shape)
        lt, lr = _start_lt(surface, start).ravel(), start.ravel()
    # Where each row stands: lt, lr, damping, value, gradient (2) and Hessian (3).
    rows, all_ = np.arange(lt.size), np.empty((9, lt.size))
    state = np.concatenate([[lt, lr, np.zeros(lt.size)], _local_shape(surface.seven(rows, lt, lr))])
    settled = np.zeros(lt.size, dtype=bool)
    for _ in range(_NEWTON_STEPS):
        step, size = _damped_step(state[4:6], state[6:], state[2])
        # A step this small is taken unseen: what it would change is far below the rule's error.
        last = size < _NEAR
        if last.any():
            state[:2, last] += step[:, last]
            done, on = rows[last], ~last
            all_[:, done], settled[done] = state[:, last], True
            rows, state, step = rows[on], state.compress(on, axis=1), step.compress(on, axis=1)
            if rows.size == 0:
                break
        new = np.empty_like(state)
        np.add(state[:2], step, out=new[:2])
        new[2] = state[2] / 4
        new[3:] = _local_shape(surface.seven(rows, new[0], new[1]))
        worse = ~(new[3] >= state[3] - _SLACK)
        state[2] = np.maximum(4 * state[2], 0.5)
        state = np.where(worse, state, new)
    all_[:, rows] = state
    root = _inverse_root(all_[6:]).reshape(2, 2, *shape)
    return Modes(all_[0].reshape(shape), all_[1].reshape(shape), root, settled.reshape(shape))


def _start_lr(batch: Batch, prior: NoisePrior) -> Array:
    """Return the mode of log sr from the scatter within sessions alone, nearly, (B,)."""
    median, log_sd = prior.sr[0]
    df, ss = batch.scatter_df.sum(axis=0), batch.scatter_ss.sum(axis=0)
    # One weighted average of two log-normal guesses: the prior's and the sample SD's, whose
    # log has a variance of about 1/(2 df).
    sample = 0.5 * np.log(np.maximum(ss, 1e-6) / np.maximum(df, 1.0))
    weight = 2 * df * log_sd**2
    # The mode lies above this one, that of readings without any scatter: with those the sample's
    # log says nothing.
    lowest = median - df * log_sd**2
    return np.asarray(np.maximum((median + weight * sample) / (1 + weight), lowest))


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
    weight = 2.0 * np.maximum(count - 2, 0)[:, None]
    return np.asarray(((visit + wander) * prior_lt + weight * sample) / (visit + wander + weight))


def _local_shape(values: Array) -> Array:
    """Return value, gradient (2) and Hessian (3: tt, tr, rr) of seven values (7, Q): (6, Q).

    Differences: the place only centres and scales a rule, so that their error (a few parts in ten
    thousand of the scale) does not reach any answer.
    """
    h = STEP
    f0, tp, tm, rp, rm, pp, mm = values
    found = np.empty((6, f0.size))
    found[0] = f0
    found[1], found[2] = (tp - tm) / (2 * h), (rp - rm) / (2 * h)
    found[3], found[5] = (tp - 2 * f0 + tm) / h**2, (rp - 2 * f0 + rm) / h**2
    found[4] = (pp - tp - rp + 2 * f0 - tm - rm + mm) / (2 * h**2)
    return found


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
