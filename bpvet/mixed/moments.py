"""What a cohort's likelihood needs to know of its sessions: sums by animal and kind of session.

A session with k readings, visit SD `sv` and reading SD `sr` enters the likelihood through two
weights only: 1/(sv² + sr²/k) for its mean and 1/sr² for the scatter within it. Sessions with the
same classes and count share their weights, so that cross-products summed by animal and kind are
all that is kept. Moments of disjoint sets of animals add.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

# Products of blocks this small stay in one thread of any BLAS, so that the digits do not depend
# on the number of threads.
_FLOPS_IN_ONE_THREAD = 200_000
_LARGEST_TABLE = 50_000_000


@dataclass(frozen=True, eq=False)
class SessionArrays:
    """Sessions as arrays, in any order; columns u = (X, further Z columns, y).

    Parameters
    ----------
    u : (J, m) float
        Session means of the columns; the last is the outcome.
    count : (J,) int
        Readings behind each mean, at least 1.
    animal : (J,) int
        Animal codes 0 … animals − 1.
    visit : (J,) int
        Class of the visit SD, −1 where there is none.
    residual : (J,) int
        Class of the reading SD.
    scatter : (J,) float
        Sum of squares of the outcome about the session's mean.
    known : (J,) bool
        Whether the scatter is known; else the session adds its mean alone.
    deviations : (n, m) float or None
        Readings about their session's means, where columns of X vary within sessions; these
        replace `scatter`.
    session_of_row : (n,) int or None
        The session of each row of `deviations`.
    """

    u: Array
    count: Codes
    animal: Codes
    visit: Codes
    residual: Codes
    scatter: Array
    known: NDArray[np.bool_]
    deviations: Array | None = None
    session_of_row: Codes | None = None


@dataclass(frozen=True, eq=False)
class Moments:
    """Sums of cross-products by animal and slot; a slot is a kind of session or a reading class.

    Parameters
    ----------
    z : (q,) int
        Columns of u that are random within animals; the first is the intercept.
    visit, residual : (S,) int
        Class of each slot's visit SD (−1: none) and reading SD.
    count : (S,) float
        Readings behind each mean of the slot; 1 in a slot of scatter.
    sessions : (S,) float
        How many log-variances the slot adds: its sessions, or Σ (k − 1) for scatter.
    entry_start : (N + 1,) int
        Where each animal's entries begin.
    entry_slot : (E,) int
        Slot of each entry.
    entries : (E, q, m) float
        Σ z uᵀ over an animal's sessions of a slot.
    group : (N,) int
        Group in which each animal nests; 0 where there are no groups.
    totals : (groups, S, m, m) float
        Σ u uᵀ by group and slot.
    log_counts : float
        Σ log k over sessions whose scatter is known.
    observations : int
        Numbers the likelihood counts: readings, or sessions of unknown scatter.
    """

    z: Codes
    visit: Codes
    residual: Codes
    count: Array
    sessions: Array
    entry_start: Codes
    entry_slot: Codes
    entries: Array
    group: Codes
    totals: Array
    log_counts: float
    observations: int

    @property
    def animals(self) -> int:
        """Return the number of animals."""
        return len(self.entry_start) - 1

    @cached_property
    def owner(self) -> Codes:
        """Return each entry's animal (E,)."""
        return np.repeat(np.arange(self.animals), np.diff(self.entry_start))

    @cached_property
    def by_animal(self) -> csr_array:
        """Return the matrix that adds entries up by animal, (N, E)."""
        n = len(self.entry_slot)
        return csr_array((np.ones(n), np.arange(n), self.entry_start), (self.animals, n))

    @cached_property
    def gather(self) -> csr_array:
        """Return the matrix that adds entries up by group and slot, (groups · S, E)."""
        groups, slots = self.totals.shape[:2]
        code = self.group[self.owner] * slots + self.entry_slot
        n = len(code)
        return csr_array((np.ones(n), (code, np.arange(n))), (groups * slots, n))


def summed_products(a: Array, b: Array) -> Array:
    """Return aᵀ b for tall arrays, in small blocks of rows added in order.

    Parameters
    ----------
    a : (n, r) float
    b : (n, c) float

    Returns
    -------
    (r, c) float
        The same digits at every number of threads.

    Examples
    --------
    >>> summed_products(np.ones((3, 1)), np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]))
    array([[ 9., 12.]])
    """
    n, r = a.shape
    c = b.shape[1]
    rows = int(max(1, min(4096, _FLOPS_IN_ONE_THREAD // (r * c))))
    whole = n // rows * rows
    if a.flags.f_contiguous and b.flags.f_contiguous:
        left = a.T[:, :whole].reshape(r, -1, rows).transpose(1, 0, 2)
        right = b.T[:, :whole].reshape(c, -1, rows).transpose(1, 2, 0)
    else:
        left = a[:whole].reshape(-1, rows, r).transpose(0, 2, 1)
        right = b[:whole].reshape(-1, rows, c)
    result: Array = (left @ right).sum(axis=0)
    if whole < n:
        result = result + a[whole:].T @ b[whole:]
    return result


def moments(
    sessions: SessionArrays,
    z: Codes,
    animals: int,
    group: Codes | None = None,
    groups: int = 1,
) -> Moments:
    """Return the moments of some animals' sessions.

    Parameters
    ----------
    sessions : SessionArrays
        Of J sessions.
    z : (q,) int
        Random columns of u, the intercept first.
    animals : int
        N; codes in `sessions.animal` are below it.
    group : (N,) int, optional
        Group code of each animal.
    groups : int
        Number of groups in the whole cohort.
    """
    of_animal = np.zeros(animals, np.int64) if group is None else np.asarray(group, np.int64)
    kinds, slot = _kinds(sessions)
    totals = _totals(sessions.u, of_animal, sessions.animal, slot, groups, len(kinds[0]))
    start, entry_slot, entry = _entries(sessions.animal, slot, animals, len(kinds[0]))
    zu = _entry_products(sessions.u, z, entry, len(entry_slot))
    within = _within(sessions, z, of_animal, groups)
    free = np.where(sessions.known, sessions.count - 1, 0)
    readings = np.bincount(sessions.residual, free, minlength=len(within.classes))
    owner = np.concatenate([np.repeat(np.arange(animals), np.diff(start)), within.animal])
    slots = np.concatenate([entry_slot, within.slot + len(kinds[0])])
    order = np.argsort(owner, kind="stable") if len(within.animal) else np.arange(len(owner))
    bounds = np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=animals))])
    return Moments(
        z=np.asarray(z, np.int64),
        visit=np.concatenate([kinds[0], np.full(len(within.classes), -1)]),
        residual=np.concatenate([kinds[1], within.classes]),
        count=np.concatenate([kinds[2], np.ones(len(within.classes))]).astype(float),
        sessions=np.concatenate([kinds[3], readings]).astype(float),
        entry_start=bounds.astype(np.int64),
        entry_slot=slots[order],
        entries=_in_order(zu, within.entries, order),
        group=of_animal,
        totals=np.concatenate([totals, within.totals], axis=1),
        log_counts=_log_counts(sessions, kinds),
        observations=int(free.sum()) + len(sessions.count),
    )


def _in_order(between: Array, within: Array, order: Codes) -> Array:
    """Return both kinds of entries, sorted by animal, one entry beside the next in memory."""
    if not len(within):
        return between
    both = np.concatenate([between.transpose(1, 2, 0), within.transpose(1, 2, 0)], axis=2)
    return np.ascontiguousarray(both[:, :, order]).transpose(2, 0, 1)


def _kinds(sessions: SessionArrays) -> tuple[tuple[Codes, Codes, Codes, Codes], Codes]:
    """Return the kinds of session (visit, residual, count, how many) and each session's kind."""
    classes = int(sessions.residual.max(initial=0)) + 1
    counts = int(sessions.count.max(initial=1)) + 1
    key = sessions.visit.astype(np.int64) + 1
    key *= classes
    key += sessions.residual
    key *= counts
    key += sessions.count
    present, number, slot = _numbered(key)
    pair, count = np.divmod(present, counts)
    return (pair // classes - 1, pair % classes, count, number), slot


def _numbered(key: Codes) -> tuple[Codes, Codes, Codes]:
    """Return the distinct keys in order, how often each occurs, and each key's place among them."""
    if int(key.max(initial=0)) < _LARGEST_TABLE:
        number = np.bincount(key)
        present = np.flatnonzero(number)
        place = np.empty(len(number), np.int64)
        place[present] = np.arange(len(present))
        return present, number[present], place[key]
    present, inverse, number = np.unique(key, return_inverse=True, return_counts=True)
    return present, number, inverse


def _entries(animal: Codes, slot: Codes, animals: int, slots: int) -> tuple[Codes, Codes, Codes]:
    """Return where animals' entries start, each entry's slot, and each session's entry."""
    key = animal * slots
    key += slot
    present, _, entry = _numbered(key)
    start = np.searchsorted(present, np.arange(animals + 1) * slots)
    return start.astype(np.int64), present % slots, entry


def _entry_products(u: Array, z: Codes, entry: Codes, entries: int) -> Array:
    """Return Σ z uᵀ by entry, (entries, q, m), one entry beside the next in memory."""
    q, m = len(z), u.shape[1]
    result = np.empty((q, m, entries)).transpose(2, 0, 1)
    for i, row in enumerate(z):
        for column in range(m):
            twin = np.flatnonzero(z[:i] == column)
            if len(twin):
                result[:, i, column] = result[:, twin[0], row]
            else:
                result[:, i, column] = np.bincount(entry, u[:, row] * u[:, column], entries)
    return result


def _log_counts(sessions: SessionArrays, kinds: tuple[Codes, Codes, Codes, Codes]) -> float:
    """Return Σ log k over sessions whose scatter is known."""
    if sessions.known.all():
        return float(kinds[3] @ np.log(kinds[2]))
    return float(np.log(sessions.count[sessions.known]).sum())


def _totals(
    u: Array, of_animal: Codes, animal: Codes, slot: Codes, groups: int, slots: int
) -> Array:
    """Return Σ u uᵀ by group and slot, (groups, slots, m, m)."""
    m = u.shape[1]
    code = slot if groups == 1 else of_animal[animal] * slots + slot
    narrow = code.astype(np.int16) if groups * slots < 2**15 else code
    order = np.argsort(narrow, kind="stable")
    bounds = np.concatenate([[0], np.cumsum(np.bincount(code, minlength=groups * slots))])
    result = np.zeros((groups * slots, m, m))
    for i in np.flatnonzero(np.diff(bounds)):
        rows = np.take(u.T, order[bounds[i] : bounds[i + 1]], axis=1).T
        result[i] = summed_products(rows, rows)
    return result.reshape(groups, slots, m, m)


@dataclass(frozen=True, eq=False)
class _Within:
    """Moments of the readings about their sessions' means, one slot a reading class."""

    classes: Codes
    totals: Array
    entries: Array
    animal: Codes
    slot: Codes


def _within(sessions: SessionArrays, z: Codes, of_animal: Codes, groups: int) -> _Within:
    m = sessions.u.shape[1]
    classes = np.arange(int(sessions.residual.max(initial=0)) + 1)
    if sessions.deviations is None or sessions.session_of_row is None:
        code = of_animal[sessions.animal] * len(classes) + sessions.residual
        scatter = np.where(sessions.known, sessions.scatter, 0.0)
        totals = np.zeros((groups * len(classes), m, m))
        totals[:, -1, -1] = np.bincount(code, scatter, groups * len(classes))
        none = np.empty(0, np.int64)
        shape = (groups, len(classes), m, m)
        return _Within(classes, totals.reshape(shape), np.empty((0, len(z), m)), none, none)
    rows, owner = sessions.deviations, sessions.session_of_row
    animal, residual = sessions.animal[owner], sessions.residual[owner]
    totals = _totals(rows, of_animal, animal, residual, groups, len(classes))
    if not np.any(rows[:, z]):
        none = np.empty(0, np.int64)
        return _Within(classes, totals, np.empty((0, len(z), m)), none, none)
    present, _, entry = _numbered(animal * len(classes) + residual.astype(np.int64))
    products = _entry_products(rows, z, entry, len(present))
    return _Within(classes, totals, products, present // len(classes), present % len(classes))
