"""What a cohort's likelihood needs to know of its sessions: sums by animal and kind of session.

A session with k readings, visit SD `sv` and reading SD `sr` enters the likelihood through two
weights only: 1/(sv² + sr²/k) for its mean and 1/sr² for the scatter within it. Sessions with the
same classes and count share their weights, so that cross-products summed by animal and kind are
all that is kept. Moments of disjoint sets of animals add.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, replace
from bpvet.mixed.stacks import FLOPS_IN_ONE_THREAD, Array, Codes, summed_products, times

# Tables of up to so many places for each key spare a sort.
_SPARSE = 4
# As many entries for each that is not empty are worth being kept.
_EMPTY = 1.9
# Runs of fewer entries than this are not worth a matrix product each.
_SHORT_RUN = 256
# So many rows of a few columns stay in a processor's cache between steps; where there are many
# runs, blocks hold as many rows of each on average.
_ROWS_IN_A_BLOCK, _ROWS_OF_A_RUN = 32_768, 1_024


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
    within_ss: Array
    known: NDArray[np.bool_]
    deviations: Array | None = None
    session_of_row: Codes | None = None


@dataclass(frozen=True, eq=False)
class Kinds:
    """The kinds of session that occur: sessions of one kind share classes and count.

    Parameters
    ----------
    visit, residual, count : (S,) int
        Classes (visit −1: none), and readings behind each mean.
    sessions : (S,) int
        How many sessions are of the kind.
    """

    visit: Codes
    residual: Codes
    count: Codes
    sessions: Codes

    def free(self, classes: int) -> Codes:
        """Return Σ (k − 1) by residual class (classes,), every session's scatter being known."""
        free = np.zeros(classes, np.int64)
        np.add.at(free, self.residual, self.sessions * (self.count - 1))
        return free


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
    entry_animal, entry_slot : (E,) int
        Animal and slot of each entry: sorted by slot, in it by group, in it by animal.
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
    entry_animal: Codes
    entry_slot: Codes
    entries: Array
    group: Codes
    totals: Array
    log_counts: float
    observations: int

    @property
    def animals(self) -> int:
        """Return the number of animals."""
        return len(self.group)

    @property
    def session_slots(self) -> int:
        """Return how many slots are of sessions; those of the scatter within them come after."""
        return len(self.count) - int(self.residual.max()) - 1

    def carried(self, matrix: Array) -> Moments:
        """Return the moments of matrix @ u, its random columns being sums of the present ones."""
        pair = np.kron(matrix[np.ix_(self.z, self.z)], matrix)
        flat = self.entries.transpose(1, 2, 0).reshape(len(pair), -1)
        carried = np.empty_like(flat)
        at_once = max(1, FLOPS_IN_ONE_THREAD // pair.size)
        for begin in range(0, flat.shape[1], at_once):
            block = slice(begin, begin + at_once)
            carried[:, block] = pair @ flat[:, block]
        entries = carried.reshape(len(self.z), len(matrix), -1).transpose(2, 0, 1)
        return replace(self, entries=entries, totals=matrix @ self.totals @ matrix.T)

    @cached_property
    def _first_of_slot(self) -> Codes:
        """Return where each slot's entries begin, and their number after the last, (S + 1,)."""
        return np.searchsorted(self.entry_slot, np.arange(len(self.count) + 1))

    @cached_property
    def _full_slots(self) -> int:
        """Return how many slots have an entry of every animal, in order, where all entries do."""
        slots = len(self.entry_slot) // max(self.animals, 1)
        full = len(self.totals) == 1 and slots * self.animals == len(self.entry_slot)
        at = np.arange(slots + 1) * self.animals
        return slots if full and np.array_equal(self._first_of_slot[: slots + 1], at) else 0

    def _by_slot(self, values: Array) -> Array:
        """Return a stack of entries (E, r, c), all slots being full, as (r, c, slots, N)."""
        by_entry = values.transpose(1, 2, 0)
        return by_entry.reshape(*by_entry.shape[:2], self._full_slots, self.animals)

    def at_entries(self, values: Array) -> Array:
        """Return a stack of animals (N, r, c) at the entries, (E, r, c), laid out as `entries`."""
        return np.take(values.transpose(1, 2, 0), self.entry_animal, axis=2).transpose(2, 0, 1)

    def times_animals(self, a: Array, b: Array) -> Array:
        """Return a @ b of entries (E, r, s) with their animals' (N, s, c), (E, r, c)."""
        if not self._full_slots:
            return times(a, self.at_entries(b))
        left, right = self._by_slot(a)[:, :, None], b.transpose(1, 2, 0)[:, :, None]
        result = left[:, 0] * right[0]
        for inner in range(1, len(right)):
            result += left[:, inner] * right[inner]
        return result.reshape(*result.shape[:2], -1).transpose(2, 0, 1)

    def weighed(self, weights: Array, values: Array) -> Array:
        """Return Σ weight · values by animal: (w, S) and (E, r, c) to (N, r, c, w)."""
        if self._full_slots:
            summed = weights[:, : self._full_slots] @ self._by_slot(values)
            return summed.transpose(3, 0, 1, 2)
        result = np.empty((len(weights), *values.shape[1:], self.animals))
        for weight, of_weight in zip(weights, result, strict=True):
            sum_by_animal = self.summing(weight)
            for row, column in np.ndindex(*values.shape[1:]):
                of_weight[row, column] = sum_by_animal(values[:, row, column])
        return result.transpose(3, 1, 2, 0)

    @cached_property
    def random_entries(self) -> Array:
        """Return Σ z zᵀ over an animal's sessions of a slot, (E, q, q), laid out as `entries`."""
        chosen = np.ascontiguousarray(self.entries.transpose(1, 2, 0)[:, self.z])
        return chosen.transpose(2, 0, 1)

    def summing(self, weight: Array) -> Callable[[Array], Array]:
        """Return what adds up values of entries, weighed by their slot's (S,): (E,) to (N,).

        Slots before the first and after the last with a weight, such as those of other classes,
        are not passed over.
        """
        full = self._full_slots
        if full:
            return lambda values: np.asarray(weight[:full] @ values.reshape(full, -1))
        weighed = np.flatnonzero(weight)
        slots = slice(weighed[0], weighed[-1] + 1) if len(weighed) else slice(0, 0)
        first = self._first_of_slot[slots.start : slots.stop + 1]
        of_entry = np.repeat(weight[slots], np.diff(first))
        entries = slice(first[0], first[-1])
        animal = self.entry_animal[entries]

        def summed(values: Array) -> Array:
            return np.bincount(animal, of_entry * values[entries], self.animals).astype(
                float, copy=False
            )

        return summed

    @cached_property
    def _runs(self) -> tuple[Codes, Codes]:
        """Return where runs of entries of one slot and group begin, and slot · groups + group."""
        code = self.entry_slot * len(self.totals) + self.group[self.entry_animal]
        start = np.flatnonzero(np.diff(code, prepend=-1))
        return start, code[start]

    def products_by_slot(self, a: Array, b: Array) -> Array:
        """Return Σ aᵀ b of animals (N, r) and entries (E, c) by slot, (groups, S, r, c)."""
        slots, r, c = self._full_slots, a.shape[1], b.shape[1]
        if not slots:
            return self.products_by_run(self.at_entries(a[:, None])[:, 0], b)
        result = np.zeros((1, len(self.count), r, c))
        by_column = summed_products(a, b.T.reshape(c * slots, -1).T).reshape(r, c, slots)
        result[0, :slots] = by_column.transpose(2, 0, 1)
        return result

    def products_by_run(self, a: Array, b: Array) -> Array:
        """Return Σ aᵀ b by group and slot: (E, r), (E, c) to (groups, S, r, c)."""
        start, code = self._runs
        groups, slots = self.totals.shape[:2]
        r, c = a.shape[1], b.shape[1]
        result = np.zeros((slots * groups, r, c))
        if len(start) * _SHORT_RUN > len(a) and len(start) > slots:
            # Many short runs: pass by pass over all of them.
            for i in range(r):
                for j in range(c):
                    result[code, i, j] = np.add.reduceat(a[:, i] * b[:, j], start)
        else:
            for run, begin, end in zip(code, start, np.append(start[1:], len(a)), strict=True):
                result[run] = summed_products(a[begin:end], b[begin:end])
        return result.reshape(slots, groups, r, c).swapaxes(0, 1)


class Rescaled(Protocol):
    """How sessions are carried to the scale of their moments, some rows at a time."""

    @property
    def size(self) -> float:
        """Return what the outcome is divided by."""

    @property
    def columns(self) -> int:
        """Return the number of columns on the scale of the moments."""

    def means(self, u: Array) -> Array:
        """Return means of sessions (n, columns of u) on that scale, column beside column."""

    def deviations(self, rows: Array) -> Array:
        """Return readings about their session's means (n, columns of u) on that scale."""


@dataclass(frozen=True)
class AsTheyAre:
    """Sessions that stand on the scale of their moments already."""

    columns: int
    size: float = 1.0

    def means(self, u: Array) -> Array:
        """Return the rows."""
        return u

    def deviations(self, rows: Array) -> Array:
        """Return the rows."""
        return rows


def moments(
    sessions: SessionArrays,
    z: Codes,
    animals: int,
    group: Codes | None = None,
    groups: int = 1,
    scale: Rescaled | None = None,
) -> Moments:
    """Return the moments of some animals' sessions.

    Parameters
    ----------
    sessions : SessionArrays
        Of J sessions.
    z : (q,) int
        Random columns of u on the scale of the moments, the intercept first.
    animals : int
        N; codes in `sessions.animal` are below it.
    group : (N,) int, optional
        Group code of each animal.
    groups : int
        Number of groups in the whole cohort.
    scale : Rescaled, optional
        What the moments are of: rows are carried there a block at a time, so that no second copy
        of all sessions is made.
    """
    scale = scale or AsTheyAre(sessions.u.shape[1])
    of_animal = np.zeros(animals, np.int64) if group is None else np.asarray(group, np.int64)
    kinds, slot = kinds_of(sessions)
    slots = len(kinds.count)
    by_slot = _Owners(sessions.animal, slot, slots, of_animal, groups)
    between = _summed(sessions.u, z, by_slot, scale.columns, scale.means)
    within, classes = _within(sessions, z, of_animal, groups, scale)
    if sessions.known.all():
        free = kinds.free(len(classes))
    else:
        each = np.where(sessions.known, sessions.count - 1, 0)
        free = np.bincount(sessions.residual, each, len(classes)).astype(np.int64)
    entries = between.entries
    if len(within.entries):
        entries = np.concatenate(
            [entries.transpose(1, 2, 0), within.entries.transpose(1, 2, 0)], axis=2
        ).transpose(2, 0, 1)
    return Moments(
        z=np.asarray(z, np.int64),
        visit=np.concatenate([kinds.visit, np.full(len(classes), -1)]),
        residual=np.concatenate([kinds.residual, classes]),
        count=np.concatenate([kinds.count, np.ones(len(classes))]).astype(float),
        sessions=np.concatenate([kinds.sessions, free]).astype(float),
        entry_animal=np.concatenate([between.animal, within.animal]),
        entry_slot=np.concatenate([between.slot, within.slot + slots]),
        entries=entries,
        group=of_animal,
        totals=np.concatenate([between.totals, within.totals], axis=1),
        log_counts=_log_counts(sessions, kinds),
        observations=int(free.sum()) + len(sessions.count),
    )


def kinds_of(sessions: SessionArrays) -> tuple[Kinds, Codes]:
    """Return the kinds of session, and the kind of each (J,)."""
    classes = int(sessions.residual.max(initial=0)) + 1
    counts = int(sessions.count.max(initial=1)) + 1
    pair = np.add(sessions.visit, 1, dtype=np.int32)
    pair *= classes
    pair += sessions.residual
    key = pair.astype(np.int64)
    key *= counts
    key += sessions.count
    present, number, slot = _numbered(key)
    pair, count = np.divmod(present, counts)
    return Kinds(pair // classes - 1, pair % classes, count, number), slot


def _numbered(key: Codes) -> tuple[Codes, Codes, Codes]:
    """Return the distinct keys in order, how often each occurs, and each key's place among them."""
    if int(key.max(initial=0)) <= _SPARSE * len(key) + 1_000:
        number = np.bincount(key)
        present = np.flatnonzero(number)
        rank = np.empty(len(number), np.int64)
        rank[present] = np.arange(len(present))
        return present, number[present], rank[key]
    present, inverse, number = np.unique(key, return_inverse=True, return_counts=True)
    return present, number, inverse


def _log_counts(sessions: SessionArrays, kinds: Kinds) -> float:
    """Return Σ log k over sessions whose scatter is known."""
    if sessions.known.all():
        return float(kinds.sessions @ np.log(kinds.count))
    return float(np.log(sessions.count[sessions.known]).sum())


@dataclass(frozen=True, eq=False)
class _Summed:
    """Rows summed by group and slot, (groups, S, m, m), and by animal and slot, as in `Moments`."""

    totals: Array
    entries: Array
    animal: Codes
    slot: Codes


class _Owners(NamedTuple):
    """Whose rows (n,) are: their animals and slots, how many slots, the animals' groups (N,)."""

    animal: Codes
    slot: Codes
    slots: int
    group: Codes
    groups: int


def _summed(
    u: Array, z: Codes, owners: _Owners, columns: int, scaled: Callable[[Array], Array]
) -> _Summed:
    """Return sums of the rows u, `scaled`; entries stand by slot, group and animal."""
    animal, slot, slots, of_animal, groups = owners
    code, rank, by_rank = slot, animal, None
    if groups > 1:
        code = slot * groups + of_animal[animal]
        by_rank = np.argsort(of_animal, kind="stable")
        rank = np.empty(len(of_animal), np.int64)
        rank[by_rank] = np.arange(len(of_animal))
        rank = rank[animal]
    narrow = code.astype(np.int16) if groups * slots < 2**15 else code
    present, entry = _entries_of(slot * len(of_animal) + rank, slots * len(of_animal), groups)
    entry_slot, entry_animal = np.divmod(present, len(of_animal))
    totals = np.zeros((slots * groups, columns, columns))
    entries = np.zeros((len(z), columns, len(present)))
    at_once = max(_ROWS_IN_A_BLOCK, _ROWS_OF_A_RUN * len(totals))
    for begin in range(0, len(code), at_once):
        block = slice(begin, begin + at_once)
        rows = scaled(u[block])
        _add_products(rows, narrow[block], totals)
        _add_entry_products(rows, z, entry[block], entries)
    return _Summed(
        totals.reshape(slots, groups, columns, columns).swapaxes(0, 1),
        entries.transpose(2, 0, 1),
        entry_animal if by_rank is None else by_rank[entry_animal],
        entry_slot,
    )


def _entries_of(key: Codes, pairs: int, groups: int) -> tuple[Codes, Codes]:
    """Return which of the pairs of slot and animal have an entry, and each row's entry."""
    # Sums over slots are quicker where every animal has an entry in each, even of zeros.
    may_be_full = groups == 1 and pairs <= _EMPTY * len(key)
    if may_be_full and pairs <= _EMPTY * np.count_nonzero(np.bincount(key, minlength=pairs)):
        return np.arange(pairs), key
    present, _, entry = _numbered(key)
    return present, entry


def _add_products(rows: Array, code: NDArray[Any], totals: Array) -> None:
    """Add Σ u uᵀ of the rows u (n, m) to `totals` (codes, m, m), by code (n,)."""
    order = np.argsort(code, kind="stable")
    ends = np.searchsorted(code[order], np.arange(len(totals)), side="right")
    for total, begin, end in zip(totals, np.append(0, ends[:-1]), ends, strict=True):
        if begin < end:
            some = np.take(rows.T, order[begin:end], axis=1).T
            total += summed_products(some, some)


def _add_entry_products(rows: Array, z: Codes, entry: Codes, entries: Array) -> None:
    """Add Σ z uᵀ to `entries` (q, m, E), one entry beside the next, by each row's entry (n,)."""
    for i, row in enumerate(z):
        # The intercept is one in every session.
        weight = rows[:, row]
        plain = bool(np.all(weight == 1.0))
        for column in range(rows.shape[1]):
            if column not in z[:i]:
                product = rows[:, column] if plain else weight * rows[:, column]
                np.add.at(entries[i, column], entry, product)
    for i, row in enumerate(z):
        for twin in range(i):
            entries[i, z[twin]] = entries[twin, row]


def _within(
    sessions: SessionArrays, z: Codes, of_animal: Codes, groups: int, scale: Rescaled
) -> tuple[_Summed, Codes]:
    """Return sums of the readings about their sessions' means, one slot a reading class."""
    m = scale.columns
    classes = np.arange(int(sessions.residual.max(initial=0)) + 1)
    none = np.empty(0, np.int64)
    if sessions.deviations is None or sessions.session_of_row is None:
        code = sessions.residual
        if groups > 1:
            code = of_animal[sessions.animal] * len(classes) + code
        within_ss = sessions.within_ss
        if not sessions.known.all():
            within_ss = np.where(sessions.known, within_ss, 0.0)
        totals = np.zeros((groups * len(classes), m, m))
        summed = within_ss.sum() if len(totals) == 1 else np.bincount(code, within_ss, len(totals))
        totals[:, -1, -1] = summed / scale.size**2
        shape = (groups, len(classes), m, m)
        return _Summed(totals.reshape(shape), np.empty((0, len(z), m)), none, none), classes
    rows, owner = sessions.deviations, sessions.session_of_row
    animal, residual = sessions.animal[owner], sessions.residual[owner].astype(np.int64)
    by_class = _Owners(animal, residual, len(classes), of_animal, groups)
    summed = _summed(rows, z, by_class, m, scale.deviations)
    if not np.any(summed.totals[:, :, z, z]):
        return _Summed(summed.totals, np.empty((0, len(z), m)), none, none), classes
    return summed, classes
