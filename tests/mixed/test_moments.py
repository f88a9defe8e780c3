"""Moments: sums by animal and kind of session, whatever the order of the sessions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bpvet.mixed import moments as module
from bpvet.mixed.moments import SessionArrays, kinds_of, moments
from bpvet.mixed.stacks import summed_products


def arrays(u, count, animal, **other):
    n = len(count)
    given = {
        "visit": np.zeros(n, int),
        "residual": np.zeros(n, int),
        "within_ss": np.zeros(n),
        "known": np.ones(n, bool),
    }
    return SessionArrays(
        u=np.asarray(u, float),
        count=np.asarray(count),
        animal=np.asarray(animal),
        **(given | other),
    )


def test_worked_example():
    # Two animals; u = (1, y). Animal 0: means 10 (k = 2, S = 8) and 20 (k = 2, S = 2).
    # Animal 1: one session of mean 30 and k = 3, S = 6.
    one = arrays(
        [[1, 10], [1, 20], [1, 30]], [2, 2, 3], [0, 0, 1], within_ss=np.array([8.0, 2.0, 6.0])
    )
    m = moments(one, np.array([0]), 2)
    # Slots: k = 2, k = 3, then the scatter.
    np.testing.assert_array_equal(m.count, [2, 3, 1])
    np.testing.assert_array_equal(m.sessions, [2, 1, 1 + 1 + 2])
    np.testing.assert_array_equal(m.entries[:, 0], [[2, 30], [1, 30]])
    np.testing.assert_array_equal(m.totals[0, 0], [[2, 30], [30, 100 + 400]])
    np.testing.assert_array_equal(m.totals[0, 2], [[0, 0], [0, 16]])
    assert m.observations == 7
    assert np.isclose(m.log_counts, np.log(2 * 2 * 3))


def test_unknown_scatter_counts_the_mean_alone():
    one = arrays(
        [[1, 10], [1, 20]],
        [4, 2],
        [0, 0],
        known=np.array([False, True]),
        within_ss=np.array([np.nan, 2.0]),
    )
    m = moments(one, np.array([0]), 1)
    assert m.observations == 1 + 2
    assert m.totals[0, -1, -1, -1] == 2.0
    assert np.isclose(m.log_counts, np.log(2))
    np.testing.assert_array_equal(m.sessions, [1, 1, 1])


def test_order_of_sessions_does_not_matter():
    rng = np.random.default_rng(1)
    n = 200
    one = arrays(
        np.column_stack([np.ones(n), rng.integers(0, 9, n), rng.integers(0, 99, n)]),
        rng.integers(1, 6, n),
        rng.integers(0, 30, n),
        visit=rng.integers(0, 2, n),
        residual=rng.integers(0, 2, n),
        within_ss=rng.integers(0, 50, n).astype(float),
    )
    order = rng.permutation(n)
    other = replace(
        one,
        **{
            name: getattr(one, name)[order]
            for name in ("u", "count", "animal", "visit", "residual", "within_ss", "known")
        },
    )
    a, b = moments(one, np.array([0, 1]), 30), moments(other, np.array([0, 1]), 30)
    for name in ("entries", "totals", "entry_animal", "entry_slot", "sessions", "count"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))


def of_many(n, animals):
    rng = np.random.default_rng(3)
    return arrays(
        np.column_stack([np.ones(n), rng.integers(0, 9, n), rng.integers(0, 99, n)]),
        rng.integers(1, 6, n),
        rng.integers(0, animals, n),
        visit=rng.integers(0, 2, n),
        residual=rng.integers(0, 2, n),
        within_ss=rng.integers(0, 50, n).astype(float),
    )


def test_blocks_add_up_to_the_whole(monkeypatch):
    one, group = of_many(300, 40), np.arange(40) % 3
    for groups in (1, 3):
        given = np.array([0, 1]), 40, group if groups > 1 else None, groups
        whole = moments(one, *given)
        with monkeypatch.context() as patched:
            patched.setattr(module, "_ROWS_IN_A_BLOCK", 7)
            patched.setattr(module, "_ROWS_OF_A_RUN", 1)
            blocks = moments(one, *given)
        for name in ("entries", "totals", "entry_animal", "entry_slot", "sessions", "count"):
            np.testing.assert_array_equal(getattr(whole, name), getattr(blocks, name))


def test_kinds_count_what_sessions_do():
    one = of_many(300, 40)
    kinds, kind = kinds_of(one)
    np.testing.assert_array_equal(kinds.visit[kind], one.visit)
    np.testing.assert_array_equal(kinds.residual[kind], one.residual)
    np.testing.assert_array_equal(kinds.count[kind], one.count)
    np.testing.assert_array_equal(kinds.sessions, np.bincount(kind))
    np.testing.assert_array_equal(kinds.free(2), np.bincount(one.residual, one.count - 1))


def test_entries_are_summed_by_animal_in_slots_with_a_weight():
    one = of_many(300, 40)
    m = moments(one, np.array([0, 1]), 40)
    values = np.random.default_rng(4).normal(size=len(m.entry_slot))
    for weight in (np.arange(1.0, 1 + len(m.count)), np.arange(len(m.count)) == 3, np.zeros(1)):
        weight = np.resize(weight, len(m.count)).astype(float)
        expected = np.zeros(40)
        np.add.at(expected, m.entry_animal, weight[m.entry_slot] * values)
        np.testing.assert_array_equal(m.summing(weight)(values), expected)


def test_counts_too_large_for_a_table_are_sorted():
    few = arrays([[1, 10], [1, 20], [1, 30]], [2, 2, 3], [0, 0, 1])
    many = replace(few, count=np.array([2_000_000, 2_000_000, 3_000_000]))
    plain, huge = moments(few, np.array([0]), 2), moments(many, np.array([0]), 2)
    np.testing.assert_array_equal(plain.entries, huge.entries)
    np.testing.assert_array_equal(plain.totals, huge.totals)
    np.testing.assert_array_equal(huge.count, [2_000_000, 3_000_000, 1])


def test_summed_products_in_blocks():
    rng = np.random.default_rng(2)
    a, b = rng.normal(size=(20_001, 3)), rng.normal(size=(20_001, 4))
    np.testing.assert_allclose(summed_products(a, b), a.T @ b, rtol=1e-10, atol=1e-9)


def test_entries_of_every_animal_in_every_slot_change_no_sum(monkeypatch):
    one, weight = of_many(300, 12), np.random.default_rng(4).random(40)
    found = []
    for empty in (0.0, 100.0):
        with monkeypatch.context() as patched:
            patched.setattr(module, "_EMPTY", empty)
            m = moments(one, np.array([0, 1]), 12)
        of_animals = np.arange(24.0).reshape(12, 2, 1)
        sums = [m.summing(weight[: len(m.count)])(m.entries[:, 1, i]) for i in range(3)]
        by_animal = np.zeros((12, 2))
        np.add.at(by_animal, m.entry_animal, m.entries[:, :, 2] * m.at_entries(of_animals)[:, :, 0])
        found.append((len(m.entry_slot), np.array(sums), by_animal, m.totals))
    sparse, full = found
    assert sparse[0] < full[0]
    for a, b in zip(sparse[1:], full[1:], strict=True):
        np.testing.assert_allclose(a, b, rtol=1e-13)
