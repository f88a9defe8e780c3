"""The trend of an animal with readings beyond the gauge: its evidence and its posterior.

Given the noise SDs and the visit pressures c of the sessions with a bound, everything is normal,
and the filter carries one more column for each of those sessions: coefficients, wander and log
density follow for any c, as functions of it. What is known of c is then
`bpvet.maths.propagation`'s. Animals without such sessions never come here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field, field_names, replace
from bpvet.maths.bounds import POINTS, Bounds
from bpvet.maths.gaussian import (
    LOG_2PI,
    Array,
    Batch,
    Noise,
    Path,
    backward_solve,
    cholesky,
    forward_solve,
    scatter,
    whiten,
)
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Part
from bpvet.maths.propagation import Layer, Pressures, joined, layered, propagate
from bpvet.maths.quadrature import Nodes, integrate
from bpvet.maths.surface import MOVES, NoisePrior, Surface, log_prior, noise_at, separate

#: Numbers held at once while nodes are gone through.
_VALUES = 4_000_000
#: Parts of an answer that together weigh less than this are left out.
_LIGHT = 1e-6
#: Nodes whose log density lies further below the highest are not integrated over the common
#: pressure: the outer integral moves a log density by less than 1.
_FAR = 11.0


@dataclass(frozen=True, eq=False)
class Given:
    """What the sessions without a bound say at each of K nodes, for any visit pressures c.

    Everything is normal with c (less a guess) entering linearly.

    Parameters
    ----------
    log_density : (K,)
        Log density of the sessions without a bound.
    pressures : Pressures
        The visit pressures c, given those sessions.
    root : (p, p, K)
        Lower Cholesky factor of the precision of the coefficients where c is known.
    mean : (p, m + 1, K)
        Their means: what each pressure adds, and last the rest.
    path : Path or None
        The wander, with columns [X, c, y]; None where it was not kept.
    """

    log_density: Array
    pressures: Pressures
    root: Array
    mean: Array
    path: Path | None


def given(batch: Batch, bounds: Bounds, noise: Noise, *, keep: bool = False) -> Given:
    """Run the filter with the visit pressures of the sessions with a bound as further columns.

    Parameters
    ----------
    batch : Batch
        The series of one animal, without padding; sessions with a bound stand at `bounds.guess`.
    bounds : Bounds
        Its sessions with a bound.
    noise : Noise
        Variances at K nodes, B = 1.
    keep : bool
        Keep the path, for answers.
    """
    p, m, n = batch.terms, bounds.at.size, batch.sessions
    unit = np.zeros((m, n, 1))
    unit[np.arange(m), bounds.at, 0] = 1.0
    k = batch.k.copy()
    k[bounds.at] = np.inf
    full = replace(batch, x=np.concatenate([batch.x, unit]), k=k)
    before = whiten(full, noise, keep=keep)
    gram = before.gram[:, :, 0]
    precision = gram[:p, :p].copy()
    precision[np.arange(p), np.arange(p)] += 1 / batch.prior_sd**2
    root = cholesky(precision)
    half = forward_solve(root[:, :, None], gram[p:, :p].transpose(1, 0, 2))
    # Of [c, y], what the coefficients leave: the lower triangle of their cross-products.
    rest = gram[p:, p:] - np.einsum("pik,pjk->ijk", half, half)
    inverse = np.moveaxis(rest[:m, :m], -1, 0)
    inverse = np.tril(inverse) + np.tril(inverse, -1).transpose(0, 2, 1)
    covariance = np.linalg.inv(inverse)
    linear = rest[m, :m].T
    centre = -np.einsum("kij,kj->ki", covariance, linear)
    log_det = before.log_det[0] + 2 * np.sum(np.log(batch.prior_sd))
    log_det = log_det + 2 * np.sum(np.log(root[np.arange(p), np.arange(p)]), axis=0)
    log_det = log_det + np.linalg.slogdet(inverse)[1]
    left = rest[m, m] + np.sum(linear * centre, axis=1)
    groups = batch.group[bounds.at, 0]
    return Given(
        -0.5 * ((n - m) * LOG_2PI + log_det + left) + scatter(batch, noise.reading)[0],
        Pressures(
            centre + bounds.guess,
            (covariance + covariance.transpose(0, 2, 1)) / 2,
            noise.reading[groups, 0].T,
            noise.visit[groups, 0].T,
        ),
        root,
        backward_solve(root[:, :, None], half),
        Path(full, noise, before.mean[:, :, 0], before.share[:, 0]) if keep else None,
    )


def evidence(batch: Batch, bounds: Bounds, noise: Noise, *, rough: bool = False) -> Array:
    """Return the log marginal likelihood of one animal's readings at K nodes, (1, K).

    Parameters
    ----------
    batch, bounds, noise
        As in `given`.
    rough : bool
        Without the outer integral: near enough to find where a rule is centred.
    """
    return _with_layers(batch, bounds, noise, rough=rough)[0]


def _with_layers(
    batch: Batch, bounds: Bounds, noise: Noise, *, rough: bool
) -> tuple[Array, list[Layer]]:
    """Return `evidence`, and without `rough` what it found on the way, chunk by chunk."""
    found, layers = [], []
    for chunk in _chunks(bounds, noise):
        known = given(batch, bounds, chunk)
        if rough:
            log_mass = propagate(bounds, known.pressures).log_mass
        else:
            layers.append(layered(bounds, known.pressures))
            log_mass = layers[-1].log_mass
        found.append(known.log_density + log_mass)
    return np.concatenate(found)[None], layers


def _chunks(bounds: Bounds, noise: Noise) -> Iterator[Noise]:
    each = max(POINTS, bounds.at.size**2) * (bounds.at.size + 4)
    many = max(1, _VALUES // each)
    for start in range(0, noise.wander.shape[1], many):
        use = slice(start, start + many)
        yield Noise(noise.visit[..., use], noise.reading[..., use], noise.wander[..., use])


@dataclass(frozen=True, eq=False)
class _BoundedSurface(Surface):
    """The surface of one animal with readings beyond the gauge; it keeps what `precise` found."""

    bounds: Bounds
    rough: bool
    kept: Kept

    def at(self, lt: Array, lr: Array) -> Array:
        """Return the log density at lt, lr (1, R, M), without the outer integral."""
        return self._rough(self.rho[..., None], lt, lr)

    def seven(self, rows: NDArray[np.int64], lt: Array, lr: Array) -> Array:
        """Return the log density at seven places of each row, likewise; as `Surface.seven`."""
        return self._rough(self.rho[0, rows], lt + MOVES[:, :1], lr + MOVES[:, 1:])

    def precise(self, lt: Array, lr: Array) -> Array:
        """Return the log density with it, where that can matter."""
        value = self.at(lt, lr)
        if self.rough or self.bounds.bare.size < 2:
            return value
        noise, prior = self._noise(self.rho[..., None], lt, lr)
        near = np.flatnonzero(value > value.max() - _FAR)
        noise_near = Noise(
            noise.visit[..., near], noise.reading[..., near], noise.wander[..., near]
        )
        likelihood, layers = _with_layers(self.batch, self.bounds, noise_near, rough=False)
        value.reshape(-1)[near] = (likelihood + prior[:, near])[0]
        self.kept.hold(near, layers)
        return value

    def _rough(self, rho: Array, lt: Array, lr: Array) -> Array:
        """Return the log density at places of any shape, without the outer integral."""
        noise, prior = self._noise(rho, lt, lr)
        likelihood = evidence(self.batch, self.bounds, noise, rough=True)
        return (likelihood + prior).reshape(lt.shape)

    def _noise(self, rho: Array, lt: Array, lr: Array) -> tuple[Noise, Array]:
        """Return the variances at all places, side by side, and the log prior there, (1, K)."""
        parts = np.broadcast_arrays(*separate(lt, rho), lr)
        log_sv, log_sw, log_sr = (grid_log.reshape(1, -1) for grid_log in parts)
        noise = noise_at(self.prior, log_sv, log_sr, log_sw)
        return noise, log_prior(self.prior, log_sv, log_sr, log_sw)


class Kept:
    """What the outer integral found at the nodes of the last rule; nothing without one.

    It is kept where it is small, so that a posterior need not find it a second time.
    """

    def __init__(self) -> None:
        self._places: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._layer: Layer | None = None

    def hold(self, places: NDArray[np.int64], layers: Sequence[Layer]) -> None:
        """Keep the layers of nodes at `places` among all of the rule."""
        small = sum(layer.covariance.size for layer in layers) <= _VALUES
        self._places, self._layer = places, joined(layers) if small else None

    def layer(self, places: NDArray[np.int64]) -> tuple[NDArray[np.bool_], Layer] | None:
        """Return which of some nodes it is known of, and those; None where nothing is known."""
        if self._layer is None:
            return None
        known = np.isin(places, self._places)
        return known, self._layer.take(np.searchsorted(self._places, places[known]))


@dataclass(frozen=True, eq=False)
class Integrated:
    """The integral over the noise SDs of one animal, and what its nodes know of the bounds."""

    nodes: Nodes
    kept: Kept

    def layer(self, places: NDArray[np.int64]) -> tuple[NDArray[np.bool_], Layer] | None:
        """Return what is known of the nodes at these places; as `Kept.layer`."""
        return self.kept.layer(places)


def integrate_bounded(
    batch: Batch, prior: NoisePrior, bounds: Bounds, *, rough: bool = False
) -> Integrated:
    """Integrate the noise SDs of one animal with readings beyond the gauge out.

    Parameters
    ----------
    batch, bounds
        As in `given`.
    prior : NoisePrior
        Its noise priors, B = 1.
    rough : bool
        Without the outer integral, where two or more sessions hold no number.

    Raises
    ------
    FitError
        As `bpvet.maths.quadrature.integrate`.
    """
    kept = Kept()

    def surface(node_batch: Batch, noise_prior: NoisePrior, rho: Array) -> Surface:
        return _BoundedSurface(node_batch, noise_prior, rho, bounds, rough, kept)

    return Integrated(integrate(batch, prior, surface_of=surface), kept)


@dataclass(frozen=True, eq=False)
class CensoredPart(Part):
    """What the readings of one animal, some beyond the gauge, say under one normal prior.

    Parameters
    ----------
    bounds : Bounds
        The sessions with a bound; the other fields are those of `bpvet.maths.posterior.Part`, where
        such sessions stand at `bounds.guess`.
    layer : (K,) bool and Layer, or None
        Nodes at which the outer integral was found already, and what it found there.
    """

    bounds: Bounds = field(kw_only=True)
    layer: tuple[NDArray[np.bool_], Layer] | None = field(default=None, kw_only=True)

    @cached_property
    def plain(self) -> Part:
        """The part with a normal pseudo-session in place of each session with a bound.

        Their means and noise are averages over the nodes: near enough for what is planned.
        """
        known = self._given.pressures
        found = propagate(self.bounds, known)
        wide = np.diagonal(known.covariance, axis1=1, axis2=2)
        variance = np.diagonal(found.covariance, axis1=1, axis2=2)
        # What the bound added to what was known of its session; nothing is a reading of no weight.
        added = self.weight @ np.maximum(1 / variance - 1 / wide, 0.0)
        centre = self.weight @ (found.mean / variance - known.mean / wide)
        y, k = self.batch.y.copy(), self.batch.k.copy()
        at = self.bounds.at
        k[at, 0] = np.maximum(added * (self.weight @ known.reading), 1e-9)
        y[at, 0] += centre / np.maximum(added, 1e-12) - self.bounds.guess
        values = {name: getattr(self, name) for name in field_names(Part)}
        return Part(**(values | {"batch": replace(self.batch, y=y, k=k)}))

    def log_likelihood(self, noise: Noise) -> float:
        """Return the log-likelihood of all readings at one node of the noise SDs, B = K = 1."""
        return float(evidence(self.batch, self.bounds, noise)[0, 0])

    @cached_property
    def _given(self) -> Given:
        return given(self.batch, self.bounds, self.noise, keep=True)

    @cached_property
    def _parts(self) -> tuple[Array, NDArray[np.int64], Array, Array]:
        """Parts of the visit pressures: weight (Q,), node (Q,), mean (Q, m), covariance."""
        newest = int(self.bounds.at[-1]) == self.batch.sessions - 1
        layer = self._layer(newest)
        weight, mean, covariance = _spread_out(layer, self.weight)
        node = np.broadcast_to(
            np.arange(self.weight.size).reshape(-1, *[1] * (weight.ndim - 1)), weight.shape
        ).ravel()
        keep = _heavy(weight.ravel())
        chosen = weight.ravel()[keep]
        m = self.bounds.at.size
        of = np.broadcast_to(covariance, (*weight.shape, m, m)).reshape(-1, m, m)
        return chosen / chosen.sum(), node[keep], mean.reshape(-1, m)[keep], of[keep]

    def _layer(self, newest: bool) -> Layer:
        pressures = self._given.pressures
        if self.layer is None:
            return layered(self.bounds, pressures, last=newest)
        known, done = self.layer
        rest = np.flatnonzero(~known)
        if rest.size == 0:
            return done
        both = joined([done, layered(self.bounds, pressures.take(rest))])
        return both.take(np.argsort(np.concatenate([np.flatnonzero(known), rest])))

    def combination(self, vector: Array) -> Mixture:
        """Return the posterior of a linear combination of coefficients.

        Parameters
        ----------
        vector : (p,) or (T, p)
            Its weights.
        """
        vector = np.asarray(vector, dtype=float)
        rows = np.atleast_2d(vector) @ self.transform
        loading = np.einsum("tp,pck->tck", rows, self._given.mean)
        half = forward_solve(
            self._given.root[:, :, None], rows.T[:, :, None] * np.ones_like(self.weight)
        )
        mixture = self._mixture(
            loading, (rows @ self.prior_mean)[:, None], np.sum(half * half, axis=0)
        )
        return mixture.first() if vector.ndim == 1 else mixture

    def usual(self, design: Array, day: Array) -> Mixture:
        """Return the usual pressure at dates, without visit noise; as `Part.usual`."""
        return self._mixture(*self._at(design, day))

    def session(self, design: Array, day: Array, readings: Array, group: int = 0) -> Mixture:
        """Return the mean of a session not seen yet; as `Part.session`."""
        loading, centre, variance = self._at(design, day)
        extra = self.noise.visit[group, 0] + self.noise.reading[group, 0] / readings[:, None]
        return self._mixture(loading, centre, variance + extra)

    def _at(self, design: Array, day: Array) -> tuple[Array, Array, Array]:
        """Return what each visit pressure adds (T, m + 1, K), the prior part, the variance."""
        design = design @ self.transform
        path = self._given.path
        assert path is not None
        wander, variance = path.at(day)
        p = self.batch.terms
        left = design.T[:, :, None] - wander[:, :p].transpose(1, 0, 2)
        loading = wander[:, p:] + np.einsum("ptk,pck->tck", left, self._given.mean)
        half = forward_solve(self._given.root[:, :, None], left)
        return loading, (design @ self.prior_mean)[:, None], variance + np.sum(half * half, axis=0)

    def _mixture(self, loading: Array, centre: Array, variance: Array) -> Mixture:
        """Return answers (T) from their loadings (T, m + 1, K) on the visit pressures."""
        weight, node, mean, covariance = self._parts
        of = loading[:, :-1, node]
        rest = (loading[:, -1] + centre)[:, node]
        off = (mean - self.bounds.guess).T
        means = rest + np.sum(of * off, axis=1)
        spread = np.einsum("tiq,qij,tjq->tq", of, covariance, of, optimize=True)
        return Mixture(weight, means, np.sqrt(np.maximum(variance[:, node] + spread, 0.0)))


def _spread_out(layer: Layer, weight: Array) -> tuple[Array, Array, Array]:
    """Return weights, means and covariances of the parts, (K, L) or (K, L, 61) each."""
    share = weight[:, None] * layer.share
    if layer.point is None or layer.weight is None:
        return share, layer.mean, layer.covariance
    # Where the newest session has a bound, each normal is replaced by the points of its tilted
    # distribution, the other pressures following them.
    column = layer.covariance[..., -1]
    gain = column / column[..., -1:]
    off = layer.point - layer.mean[..., -1:]
    mean = layer.mean[:, :, None] + off[..., None] * gain[:, :, None]
    left = layer.covariance - gain[..., None] * column[..., None, :]
    return share[..., None] * layer.weight, mean, left[:, :, None]


def _heavy(weight: Array) -> NDArray[np.int64]:
    """Return the parts that weigh something, in their order."""
    order = np.argsort(weight, kind="stable")
    light = int(np.searchsorted(np.cumsum(weight[order]), _LIGHT * weight.sum()))
    return np.sort(order[light:])
