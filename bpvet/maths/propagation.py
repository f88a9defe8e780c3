"""Expectation propagation over the visit pressures of sessions with readings beyond the gauge.

Given the noise SDs and the sessions without a bound, those visit pressures are jointly normal;
each session with a bound multiplies by a log-concave factor of its own pressure. Every factor is
replaced by a normal one, a pseudo-session, that gives the pressure the mean and variance that the
true factor gives it. Where two or more sessions hold no number, one normal a session is too
narrow: their common pressure is then integrated outside, by 32 Gauss–Legendre points.

Source: Minka TP, Expectation propagation for approximate Bayesian inference (2001); with one site
a session as for probit regression in Rasmussen CE and Williams CKI (2006), 3.6.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, replace
from bpvet.maths.bounds import REACH, Bounds, Site, Tilted, log_mass, moments, tilted
from bpvet.maths.gaussian import LOG_2PI, Array
from bpvet.maths.special import log_sum_exp

SWEEPS = 5
OUTER_POINTS = 32
#: A node's sweeps end where no mean moved by more than this many of its SDs.
_SETTLED = 1e-4
_STEPS = 40
_SLACK = 4.0
#: Sweeps that frame the outer integral.
_ROUGH_SWEEPS = 2
_UNIT, _WEIGHT = np.polynomial.legendre.leggauss(OUTER_POINTS)


@dataclass(frozen=True, eq=False)
class Pressures:
    """Visit pressures of the m sessions with a bound, as the other sessions leave them.

    Parameters
    ----------
    mean : (K, m)
        Means at the noise nodes.
    covariance : (K, m, m)
        Covariances there.
    reading, visit : (K, m)
        Reading and visit variance of each of those sessions.
    """

    mean: Array
    covariance: Array
    reading: Array
    visit: Array

    def take(self, nodes: NDArray[np.int64]) -> Pressures:
        """Return those of some nodes."""
        return Pressures(
            self.mean[nodes], self.covariance[nodes], self.reading[nodes], self.visit[nodes]
        )


@dataclass(frozen=True, eq=False)
class Propagated:
    """What the bounds say of the visit pressures.

    Parameters
    ----------
    log_mass : (K,)
        Log probability of the sessions with a bound, given the other ones.
    mean : (K, m)
        Posterior means of their visit pressures.
    covariance : (K, m, m)
        Posterior covariances.
    last : Tilted or None
        Tilted distribution of the last of the m sessions, where it was asked for.
    """

    log_mass: Array
    mean: Array
    covariance: Array
    last: Tilted | None


def propagate(
    bounds: Bounds,
    pressures: Pressures,
    *,
    last: bool = False,
    fine: bool = True,
    sweeps: int = SWEEPS,
) -> Propagated:
    """Run expectation propagation over the m sessions with a bound, at K nodes at once.

    Parameters
    ----------
    bounds : Bounds
        Their readings.
    pressures : Pressures
        Their visit pressures before those readings.
    last : bool
        Whether the tilted distribution of the last one is wanted.
    fine : bool
        As in `bpvet.maths.bounds.tilted`.
    sweeps : int
        Sweeps at most.
    """
    state = _State.before(bounds, pressures, fine=fine)
    # With one session the site is exact at once.
    left = sweeps if bounds.at.size > 1 else 1
    nodes = np.arange(pressures.mean.shape[0])
    while left and nodes.size:
        moving = state.take(nodes)
        moved = moving.sweep()
        state.put(nodes, moving)
        nodes, left = nodes[moved > _SETTLED], left - 1
    return state.propagated(last=last)


@dataclass(frozen=True, eq=False)
class _State:
    """Where expectation propagation stands: pseudo-sessions, and the visit pressures under them.

    Arrays (K, m), (K, m, m) for the covariance, are written to. Means are less the prior's.
    """

    sites: tuple[Site, ...]
    prior: Pressures
    fine: bool
    precision: Array
    shift: Array
    mean: Array
    covariance: Array
    centre: Array
    cavity: Array

    @classmethod
    def before(cls, bounds: Bounds, prior: Pressures, *, fine: bool) -> _State:
        """Return it before the first sweep."""
        sites = tuple(bounds.site(j) for j in range(bounds.at.size))
        zeros = [np.zeros_like(prior.mean) for _ in range(5)]
        precision, shift, mean, centre, cavity = zeros
        covariance = prior.covariance.copy()
        return cls(sites, prior, fine, precision, shift, mean, covariance, centre, cavity)

    def take(self, nodes: NDArray[np.int64]) -> _State:
        """Return a copy of some nodes."""
        values = {name: getattr(self, name)[nodes] for name in _HELD}
        return replace(self, prior=self.prior.take(nodes), **values)

    def put(self, nodes: NDArray[np.int64], state: _State) -> None:
        """Write what `take` gave back."""
        for name in _HELD:
            getattr(self, name)[nodes] = getattr(state, name)

    def sweep(self) -> Array:
        """Renew every pseudo-session once; return the largest move of a mean in its SDs, (K,)."""
        before = self.mean.copy()
        for j, site in enumerate(self.sites):
            variance_here = self.covariance[:, j, j]
            cavity = 1 / (1 / variance_here - self.precision[:, j])
            centre = cavity * (self.mean[:, j] / variance_here - self.shift[:, j])
            found = moments(
                site, centre + self.prior.mean[:, j], cavity, self.prior.reading[:, j], self.fine
            )
            # A log-concave factor only ever narrows.
            new = np.maximum(1 / found[1] - 1 / cavity, 0.0)
            moved = (found[0] - self.prior.mean[:, j]) * (new + 1 / cavity) - centre / cavity
            change, push = new - self.precision[:, j], moved - self.shift[:, j]
            column = self.covariance[:, :, j].copy()
            share = change / (1 + change * variance_here)
            self.mean[:] += (
                column * (push - share * (self.mean[:, j] + variance_here * push))[:, None]
            )
            self.covariance[:] -= (share[:, None] * column)[:, :, None] * column[:, None]
            self.precision[:, j], self.shift[:, j] = new, moved
            self.cavity[:, j], self.centre[:, j] = cavity, centre
        variance = np.einsum("kii->ki", self.covariance)
        return np.asarray(np.max(np.abs(self.mean - before) / np.sqrt(variance), axis=1))

    def propagated(self, *, last: bool) -> Propagated:
        """Return what the bounds say; `last` as in `propagate`."""
        terms = -_log_normal_mass(self.centre, self.cavity, self.precision, self.shift)
        centre_at = self.centre + self.prior.mean
        for j, site in enumerate(self.sites):
            arguments = site, centre_at[:, j], self.cavity[:, j], self.prior.reading[:, j]
            terms[:, j] += log_mass(*arguments, self.fine)
        joint = _log_joint_mass(self.prior.covariance, self.precision, self.shift, self.mean)
        return Propagated(
            terms.sum(axis=1) + joint,
            self.mean + self.prior.mean,
            self.covariance,
            tilted(*arguments, fine=self.fine) if last else None,
        )


_HELD = ("precision", "shift", "mean", "covariance", "centre", "cavity")


def _log_normal_mass(mean: Array, variance: Array, precision: Array, shift: Array) -> Array:
    """Return log ∫ N(c; mean, variance) exp(−½ precision c² + shift c) dc."""
    grown = 1 + variance * precision
    # Completed squares, written so that nothing large cancels where the variance is small.
    inside = mean * (2 * shift - precision * mean) + variance * shift * shift
    return np.asarray(0.5 * (inside / grown - np.log(grown)))


def _log_joint_mass(covariance: Array, precision: Array, shift: Array, mean: Array) -> Array:
    """Return log ∫ N(c; 0, covariance) exp(Σ −½ precision c² + shift c) dc, c of that mean."""
    root = np.sqrt(precision)
    inner = np.eye(mean.shape[1]) + root[:, :, None] * covariance * root[:, None]
    return np.asarray(0.5 * (np.sum(shift * mean, axis=1) - np.linalg.slogdet(inner)[1]))


@dataclass(frozen=True, eq=False)
class Layer:
    """Visit pressures with a bound as a mixture of normals at each node.

    Parameters
    ----------
    log_mass : (K,)
        Log probability of the sessions with a bound, given the other ones.
    share : (K, L)
        Weights of the L parts, summing to 1; L = 1 without an outer integral.
    mean : (K, L, m)
        Means of the visit pressures.
    covariance : (K, L, m, m)
        Covariances.
    point, weight : (K, 1, 61) or None
        Tilted distribution of the last session, where it was asked for and L = 1.
    """

    log_mass: Array
    share: Array
    mean: Array
    covariance: Array
    point: Array | None
    weight: Array | None

    def take(self, nodes: NDArray[np.int64]) -> Layer:
        """Return those of some nodes, without tilted points."""
        return Layer(
            self.log_mass[nodes],
            self.share[nodes],
            self.mean[nodes],
            self.covariance[nodes],
            None,
            None,
        )


def joined(layers: Sequence[Layer]) -> Layer:
    """Return the nodes of several one after another, without tilted points."""
    return Layer(
        np.concatenate([layer.log_mass for layer in layers]),
        np.concatenate([layer.share for layer in layers]),
        np.concatenate([layer.mean for layer in layers]),
        np.concatenate([layer.covariance for layer in layers]),
        None,
        None,
    )


def layered(bounds: Bounds, pressures: Pressures, *, last: bool = False) -> Layer:
    """Return the visit pressures of the sessions with a bound.

    Parameters
    ----------
    bounds, pressures, last
        As in `propagate`. Where two or more sessions hold no number, the mean of their usual
        pressures (visit noise apart) is integrated outside; its points then do what those of the
        tilted distribution do, and `last` changes nothing.
    """
    if bounds.bare.size < 2:
        propagated = propagate(bounds, pressures, last=last)
        point, weight = (
            (None, None)
            if propagated.last is None
            else (propagated.last.point, propagated.last.weight)
        )
        return Layer(
            propagated.log_mass,
            np.ones((propagated.log_mass.size, 1)),
            propagated.mean[:, None],
            propagated.covariance[:, None],
            None if point is None else point[:, None],
            None if weight is None else weight[:, None],
        )
    return _outside(bounds, pressures)


@dataclass(frozen=True, eq=False)
class _Common:
    """The common pressure that is integrated outside: z ~ N(0, variance), and c given z."""

    bounds: Bounds
    pressures: Pressures
    loading: Array
    variance: Array
    left: Array

    @classmethod
    def of(cls, bounds: Bounds, pressures: Pressures) -> _Common:
        pick = np.zeros(bounds.at.size)
        pick[bounds.bare] = 1 / bounds.bare.size
        # Usual pressures are the visit pressures less the visit's own noise.
        loading = pressures.covariance @ pick - pressures.visit * pick
        variance = loading @ pick
        shared = loading[:, :, None] * loading[:, None] / variance[:, None, None]
        return cls(bounds, pressures, loading, variance, pressures.covariance - shared)

    def run(self, z: Array, sweeps: int = SWEEPS) -> tuple[Array, Propagated]:
        """Return the log density of z (K, L) and the readings together, and what they say of c.

        All K·L in one pass, node by node.
        """
        pressures, many = self.pressures, z.shape[1]

        def tiled(array: Array) -> Array:
            return np.repeat(array, many, axis=0)

        moved = self.loading[:, None] * (z / self.variance[:, None])[..., None]
        mean = (pressures.mean[:, None] + moved).reshape(-1, pressures.mean.shape[1])
        given = Pressures(mean, tiled(self.left), tiled(pressures.reading), tiled(pressures.visit))
        found = propagate(self.bounds, given, fine=False, sweeps=sweeps)
        variance = self.variance[:, None]
        normal = -0.5 * (z * z / variance + np.log(variance) + LOG_2PI)
        return normal + found.log_mass.reshape(z.shape), found

    def slope(self, z: Array, found: Propagated) -> Array:
        """Return the derivative of the log density with respect to z, (K, L)."""
        mean = (
            self.pressures.mean[:, None]
            + self.loading[:, None] * (z / self.variance[:, None])[..., None]
        )
        off = found.mean.reshape(mean.shape) - mean
        by = np.linalg.solve(self.left, self.loading[..., None])[..., 0]
        return np.asarray((np.sum(by[:, None] * off, axis=2) - z) / self.variance[:, None])


def _outside(bounds: Bounds, pressures: Pressures) -> Layer:
    common = _Common.of(bounds, pressures)
    low, high = _ends(common).T[..., None]
    half = (high - low) / 2
    density, found = common.run((high + low) / 2 + half * _UNIT)
    log_share = density + np.log(_WEIGHT * half)
    log_mass = np.asarray(log_sum_exp(log_share, axis=1))
    shape, m = log_share.shape, bounds.at.size
    return Layer(
        log_mass,
        np.exp(log_share - log_mass[:, None]),
        found.mean.reshape(*shape, m),
        found.covariance.reshape(*shape, m, m),
        None,
        None,
    )


def _ends(common: _Common) -> Array:
    """Return the ends of where the log density of z lies within `REACH` of its top, (K, 2).

    One run without the outer integral tells where the top is, nearly; a log-concave density can
    be followed from there.
    """
    start = propagate(common.bounds, common.pressures, fine=False, sweeps=_ROUGH_SWEEPS)
    by = np.linalg.solve(common.pressures.covariance, common.loading[..., None])[..., 0]
    z = np.sum(by * (start.mean - common.pressures.mean), axis=1)[:, None]
    density, found = common.run(z, _ROUGH_SWEEPS)
    floor = density - REACH
    off = common.variance[:, None] * common.slope(z, found)
    side = np.array([-1.0, 1.0])
    # The density falls at least as its normal part does: beyond this it lies below the floor.
    wide = np.sqrt(off * off + 2 * (REACH + _SLACK) * common.variance[:, None])
    end = z + off + side * wide
    inner = z + off
    for _ in range(_STEPS):
        density, found = common.run(end, _ROUGH_SWEEPS)
        gap = density - floor
        done = (gap > -_SLACK) & (gap < 1.0)
        if np.all(done):
            break
        first = common.slope(end, found)
        # The near root of a parabola that is flat at the top; it bends down.
        bend = np.minimum(first / (end - inner), -1e-12)
        root = np.sqrt(np.maximum(first * first - 2 * bend * gap, 0.0))
        step = end - 2 * gap / (first - side * root)
        end = np.where(done | ((step - z) * side <= 0), end, step)
    return end
