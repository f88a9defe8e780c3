"""What one set of animals adds to a cohort's criterion, its gradient and its curvature.

Each pass takes moments and variances and returns a few small arrays, by group of animals, that
add over partitions. Notation: for an animal, A = Uᵀ R⁻¹ U with R the sessions' covariance and
U = (X, Z, y); V = R + Z G Zᵀ with G = L Lᵀ; K = L (I + Lᵀ A_zz L)⁻¹ Lᵀ, so that
Uᵀ V⁻¹ U = A − A_uz K A_zu =: T and V⁻¹ U c = R⁻¹ U (c − E_z K A_zu c).
"""

from __future__ import annotations

from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from bpvet.frozen import dataclass
from bpvet.mixed.moments import Moments
from bpvet.mixed.stacks import Array, between, small_inverse, summed_products, times


@dataclass(frozen=True, eq=False)
class Variances:
    """The variance parameters, on the scale of the moments.

    Parameters
    ----------
    factor : (q, q) float
        L, with G = L Lᵀ the covariance of an animal's intercept and slopes.
    group : float
        Variance between groups.
    visit : (v,) float
        sv² by class.
    residual : (r,) float
        sr² by class.
    """

    factor: Array
    group: float
    visit: Array
    residual: Array


class Weights(NamedTuple):
    """A slot's weight 1/v, and ∂v by the visit and residual variances (parameters, S)."""

    weight: Array
    by_variance: Array
    log_determinant: float


class Reduced(NamedTuple):
    """Σ T by group (groups, m, m) and the sum of log-determinants."""

    products: Array
    log_determinant: float


class Slopes(NamedTuple):
    """A gradient by each entry of G (q, q), and by the visit and residual variances (a,)."""

    random: Array
    sessions: Array


class Curvature(NamedTuple):
    """For vectors c: Uᵀ V⁻¹ Va V⁻¹ U c by group, and cᵀ Uᵀ V⁻¹ Va V⁻¹ Vb V⁻¹ U c.

    `products` is (groups, a, m, K) and `quadratic` (groups, a, b, K) over the q² raw entries of
    G, then the visit and residual variances.
    """

    products: Array
    quadratic: Array


def weights(moments: Moments, variances: Variances) -> Weights:
    """Return the weights of the slots and the log-determinant of the sessions' covariance."""
    visits, residuals = len(variances.visit), len(variances.residual)
    of_visit = np.arange(visits)[:, None] == moments.visit
    of_residual = (np.arange(residuals)[:, None] == moments.residual) / moments.count
    by_variance = np.concatenate([of_visit, of_residual])
    variance = np.concatenate([variances.visit, variances.residual]) @ by_variance
    log_determinant = float(moments.sessions @ np.log(variance)) + moments.log_counts
    return Weights(1.0 / variance, by_variance, log_determinant)


class Pass:
    """What every pass begins with: weights and animals' blocks; and what derivatives share.

    Parameters
    ----------
    w : Weights
    animals : AnimalBlocks
    """

    def __init__(self, w: Weights, animals: AnimalBlocks) -> None:
        self.w, self.animals = w, animals
        self._left: Left | None = None

    def left(self, moments: Moments) -> Left:
        """Return `left_over` of these moments, worked out once."""
        if self._left is None:
            self._left = left_over(moments, self.animals)
        return self._left


class Left(NamedTuple):
    """Cross-products that are left when animals' effects are taken off.

    Parameters
    ----------
    slots : (groups, S, m, m) float
        Σ (u − A_uz K z)(u − A_uz K z)ᵀ over a slot's sessions: Uᵀ V⁻¹ Va V⁻¹ U is their sum, each
        times ∂v w².
    inner : (S,) float
        Σ zᵀ K z over a slot's sessions.
    shrink : (N, q, q) float
        I − A_zz K.
    t : (N, q, m) float
        T_z = Zᵀ V⁻¹ U.
    pairs : (groups, q, q, m, m) float
        Σ T_z[k]ᵀ T_z[l] over a group's animals.
    """

    slots: Array
    inner: Array
    shrink: Array
    t: Array
    pairs: Array


class AnimalBlocks(NamedTuple):
    """A_z (N, q, m), K (N, q, q) and K A_z (N, q, m)."""

    a: Array
    k: Array
    ka: Array
    log_determinant: float


_LATEST: WeakKeyDictionary[Moments, tuple[Variances, Pass]] = WeakKeyDictionary()


def left_over(moments: Moments, animals: AnimalBlocks) -> Left:
    """Return the cross-products that are left when animals' effects are taken off."""
    z, q = moments.z, len(moments.z)
    half = moments.times_animals(0.5 * moments.random_entries, animals.ka)
    half -= moments.entries
    cross = sum(moments.products_by_slot(animals.ka[:, i], half[:, i]) for i in range(q))
    inner = sum(
        moments.products_by_slot(animals.k[:, i], moments.random_entries[:, i]) for i in range(q)
    )
    shrink = np.eye(q) - times(animals.a[:, :, z], animals.k)
    t = times(shrink, animals.a)
    rows = [t[:, i : i + 1] for i in range(q)]
    pairs = [[_products_by_group(moments, row, column) for column in rows] for row in rows]
    return Left(
        moments.totals + cross + np.swapaxes(cross, -1, -2),
        np.einsum("gsii->s", inner),
        shrink,
        t,
        np.array(pairs).transpose(2, 0, 1, 3, 4),
    )


def _products_by_group(moments: Moments, left: Array, right: Array) -> Array:
    """Return Σ leftᵀ right over a group's animals: (N, q, a), (N, q, b) to (groups, a, b)."""
    groups, n = len(moments.totals), moments.animals
    if groups == 1:
        rows = [summed_products(left[:, i], right[:, i]) for i in range(left.shape[1])]
        return np.asarray(sum(rows[1:], rows[0])[None], dtype=float)
    from scipy.sparse import csr_array

    values = left.transpose(0, 2, 1) @ right
    members = csr_array((np.ones(n), (moments.group, np.arange(n))), (groups, n))
    summed = np.asarray(members @ values.reshape(n, -1), dtype=float)
    return summed.reshape(groups, *values.shape[1:])


def animal_blocks(moments: Moments, weight: Array, factor: Array) -> AnimalBlocks:
    """Return each animal's A_z, K and K A_z at these weights and this factor of G."""
    a = moments.weighed(weight[None], moments.entries)[..., 0]
    lower = between(factor.T, a[:, :, moments.z], factor) + np.eye(len(factor))
    inverse, log_determinants = small_inverse(lower)
    k = between(factor, inverse, factor.T)
    return AnimalBlocks(a, k, times(k, a), float(log_determinants.sum()))


def reduced(moments: Moments, variances: Variances) -> Reduced:
    """Return Σ Uᵀ V⁻¹ U by group and log|V|, the group effect left aside."""
    start = begin(moments, variances)
    w, animals = start.w, start.animals
    products: Array = np.einsum("gsij,s->gij", moments.totals, w.weight)
    products = products - _products_by_group(moments, animals.a, animals.ka)
    return Reduced(products, w.log_determinant + animals.log_determinant)


def begin(moments: Moments, variances: Variances) -> Pass:
    """Return the weights and the animals' blocks at these variances.

    The latest are kept as long as the moments are: derivatives follow a value at the same place.
    """
    known = _LATEST.get(moments)
    if known is not None and _same(known[0], variances):
        return known[1]
    w = weights(moments, variances)
    found = Pass(w, animal_blocks(moments, w.weight, variances.factor))
    _LATEST[moments] = (variances, found)
    return found


def _same(first: Variances, second: Variances) -> bool:
    return first is second or (
        first.group == second.group
        and np.array_equal(first.factor, second.factor)
        and np.array_equal(first.visit, second.visit)
        and np.array_equal(first.residual, second.residual)
    )


def derivatives(
    moments: Moments, variances: Variances, adjoint: Array, vectors: Array
) -> tuple[Slopes, Curvature]:
    """Return `slopes` and `curvature` from one beginning."""
    start = begin(moments, variances)
    return slopes(moments, start, adjoint), curvature(moments, start, vectors)


def slopes(moments: Moments, start: Pass, adjoint: Array) -> Slopes:
    """Return the gradient of log|V| + Σ ⟨adjoint, T⟩ in the variances.

    Parameters
    ----------
    moments : Moments
    start : Pass
    adjoint : (groups, m, m) float
        Derivative of the criterion by each group's T.
    """
    w, left = start.w, start.left(moments)
    random = left.t[:, :, moments.z].sum(axis=0)
    random = random - np.einsum("gklij,gij->kl", left.pairs, adjoint)
    by_slot = left.inner + np.einsum("gsij,gij->s", left.slots, adjoint)
    change = moments.sessions * w.weight - w.weight**2 * by_slot
    return Slopes(random, np.einsum("as,s->a", w.by_variance, change))


def _of_animals(moments: Moments, by_group: Array) -> Array:
    """Return a group's array for each of its animals (or one that broadcasts)."""
    return by_group if len(by_group) == 1 else by_group[moments.group]


def curvature(moments: Moments, start: Pass, vectors: Array) -> Curvature:
    """Return first and second products of the derivatives of V with vectors.

    Parameters
    ----------
    moments : Moments
    start : Pass
    vectors : (groups, m, K) float
    """
    w, animals, left = start.w, start.animals, start.left(moments)
    q = len(moments.z)
    first = w.weight**2 * w.by_variance
    moved = left.slots @ vectors[:, None]
    sessions = np.einsum("as,gsmk->gamk", first, moved)
    random = left.pairs @ vectors[:, None, None]
    random = random.reshape(len(random), q * q, *random.shape[3:])
    c = _of_animals(moments, vectors)
    u = times(moments.entries, c if len(c) == 1 else moments.at_entries(c))
    u -= moments.times_animals(moments.random_entries, times(animals.ka, c))
    d = moments.weighed(first, u).swapaxes(2, 3)
    slot_quadratic = np.einsum("gmk,gsmk->gsk", vectors, moved)
    quadratic = _quadratic(moments, start, d, times(left.t, c), slot_quadratic)
    return Curvature(np.concatenate([random, sessions], axis=1), quadratic)


def _quadratic(moments: Moments, start: Pass, d: Array, t: Array, slot_quadratic: Array) -> Array:
    """Return cᵀ Uᵀ V⁻¹ Va V⁻¹ Vb V⁻¹ U c; d (N, q, a, K) are Zᵀ R⁻¹ Va V⁻¹ U c, t is T_z c."""
    w, animals, left = start.w, start.animals, start.left(moments)
    tzz = left.t[:, :, moments.z]
    q, sessions = len(moments.z), len(w.by_variance)
    groups, _, vectors = slot_quadratic.shape
    result = np.zeros((groups, q * q + sessions, q * q + sessions, vectors))
    tt = (t[:, :, None] * t[:, None]).reshape(-1, 1, q * q * vectors)
    both = _products_by_group(moments, tt, tzz.reshape(-1, 1, q * q))
    # Entry (k, l) of G moves t_l into row k, so that pairs (k, l), (k', l') take t_l t_l' T_kk'.
    both = both.reshape(groups, q, q, vectors, q, q).transpose(0, 4, 1, 5, 2, 3)
    result[:, : q * q, : q * q] = both.reshape(groups, q * q, q * q, vectors)
    second = w.weight**3 * w.by_variance[:, None] * w.by_variance[None]
    by_slots = np.einsum("abs,gsk->gabk", second, slot_quadratic)
    for k in range(vectors):
        da = d[..., k]
        moved = times(left.shrink, da)
        by_row = [_products_by_group(moments, moved[:, [i]], t[:, None, :, k]) for i in range(q)]
        cross = np.stack(by_row, axis=2).reshape(groups, sessions, q * q)
        result[:, q * q :, : q * q, k] = cross
        result[:, : q * q, q * q :, k] = cross.transpose(0, 2, 1)
        inside = _products_by_group(moments, times(animals.k, da), da)
        result[:, q * q :, q * q :, k] = by_slots[..., k] - inside
    return result


class StartingSums(NamedTuple):
    """Plain sums over sessions, by which a search may begin.

    Parameters
    ----------
    squares, reading, sessions : (v,) float
        Σ y², Σ sr²/k over sessions of k readings, and their number, by class of the visit SD.
    between : float
        Σ (Σ y)²/n over animals of n sessions.
    animals : int
    """

    squares: Array
    reading: Array
    sessions: Array
    between: float
    animals: int


def starting_sums(moments: Moments, residual: Array, visits: int) -> StartingSums:
    """Return sums over sessions, at a guess of the residual variances (r,)."""
    slots = moments.session_slots
    each = moments.summing((np.arange(len(moments.count)) < slots).astype(float))
    number, total = (each(moments.entries[:, 0, column]) for column in (moments.z[0], -1))
    sessions = moments.sessions[:slots]
    by_slot = (
        moments.totals[:, :slots, -1, -1].sum(axis=0),
        sessions * residual[moments.residual[:slots]] / moments.count[:slots],
        sessions,
    )
    squares, reading, number_of = (
        np.bincount(moments.visit[:slots], values, visits).astype(float) for values in by_slot
    )
    between = float((total**2 / number).sum())
    return StartingSums(squares, reading, number_of, between, moments.animals)


def traces(moments: Moments, variances: Variances) -> Array:
    """Return tr(V⁻¹ Va V⁻¹ Vb) over the raw entries of G and the session variances."""
    start = begin(moments, variances)
    w, animals = start.w, start.animals
    z, q, sessions = moments.z, len(moments.z), len(w.by_variance)
    left = start.left(moments)
    shrink, t = left.shrink, left.t[:, :, z]
    result = np.zeros((q * q + sessions, q * q + sessions))
    flat = t.reshape(-1, q * q)
    pairs = summed_products(flat, flat).reshape(q, q, q, q)
    # tr(E_kl T E_k'l' T) = T_lk' T_l'k
    result[: q * q, : q * q] = pairs.transpose(3, 0, 1, 2).reshape(q * q, q * q)
    first = w.weight**2 * w.by_variance
    entries = moments.random_entries
    d = moments.weighed(first, entries).transpose(3, 0, 1, 2)
    by_kind = moments.sessions * w.weight**2 - 2.0 * w.weight**3 * left.inner
    for a in range(sessions):
        row = q * q + a
        moved = times(times(shrink, d[a]), shrink.transpose(0, 2, 1)).sum(axis=0).ravel()
        result[row, : q * q] = result[: q * q, row] = moved
        kd = times(animals.k, d[a])
        for b in range(a + 1):
            value = w.by_variance[a] * w.by_variance[b] @ by_kind
            value += float((kd * times(animals.k, d[b]).transpose(0, 2, 1)).sum())
            result[row, q * q + b] = result[q * q + b, row] = value
    return result
