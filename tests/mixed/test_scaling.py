"""The scale of the moments: sessions and readings are carried to it alike."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.mixed.moments import SessionArrays, moments
from bpvet.mixed.scaling import Scaling, first_scaling, sufficient_statistics


def test_sessions_carry_the_scatter_of_their_readings_to_the_scale_of_the_moments():
    rng = np.random.default_rng(8)
    owner = np.repeat(np.arange(5), 3)
    rows = np.column_stack([np.ones(15), rng.normal(4, 3, 15), rng.normal(150, 10, 15)])
    means = np.stack([rows[owner == i].mean(axis=0) for i in range(5)])
    inside = rows - means[owner]
    scaling = Scaling(
        names=("Intercept", "months"),
        centre=np.array([0.0, 4.0]),
        scale=np.array([1.0, 3.0]),
        start=np.array([140.0, 0.0]),
        size=12.5,
        intercept=0,
        slopes=(1,),
        own_one=False,
    )
    plain = SessionArrays(
        u=means,
        count=np.full(5, 3),
        animal=np.arange(5),
        visit=np.zeros(5, int),
        residual=np.zeros(5, int),
        within_ss=np.bincount(owner, inside[:, -1] ** 2),
        known=np.ones(5, bool),
        deviations=inside,
        session_of_row=owner,
    )
    found = scaling.scaled(plain)
    assert found.deviations is not None
    of_rows = scaling.means(rows)
    np.testing.assert_allclose(found.u, [of_rows[owner == i].mean(axis=0) for i in range(5)])
    np.testing.assert_allclose(found.deviations, of_rows - found.u[owner], atol=1e-12)
    np.testing.assert_allclose(
        found.within_ss, np.bincount(owner, found.deviations[:, -1] ** 2), rtol=1e-12
    )


NAMES = ("Intercept", "year", "dose")


def sessions_far_from_zero(intercept: bool) -> SessionArrays:
    rng = np.random.default_rng(5)
    n = 400
    x = np.column_stack([np.ones(n), rng.normal(2020, 3, n), rng.gamma(2, 1, n)])
    y = x @ np.array([150.0, 0.5, -4.0]) + rng.normal(0, 9, n)
    return SessionArrays(
        u=np.column_stack([x if intercept else x[:, 1:], y]),
        count=rng.integers(1, 5, n),
        animal=rng.integers(0, 60, n),
        visit=rng.integers(0, 2, n),
        residual=rng.integers(0, 2, n),
        within_ss=rng.gamma(3, 20, n),
        known=rng.random(n) < 0.9,
    )


@pytest.mark.parametrize("intercept", [True, False])
def test_moments_are_carried_from_the_first_scale_to_another(intercept):
    arrays, place = sessions_far_from_zero(intercept), 1 if intercept else 0
    names = NAMES if intercept else NAMES[1:]
    first = first_scaling(arrays.u, names, 0 if intercept else None, (place,))
    centre = [0.0, 2021.5, 1.0] if intercept else [0.0, 0.0]
    scale = [1.0, 2.5, 3.0] if intercept else [2000.0, 3.0]
    other = Scaling(
        names=names,
        centre=np.array(centre),
        scale=np.array(scale),
        start=first.start + 0.3,
        size=11.0,
        intercept=first.intercept,
        slopes=(place,),
        own_one=not intercept,
    )
    given = moments(arrays, other.z, 60, scale=other)
    carried = moments(arrays, first.z, 60, scale=first).carried(first.to(other))
    for name in ("entries", "totals"):
        one, two = getattr(given, name), getattr(carried, name)
        np.testing.assert_allclose(two, one, rtol=1e-9, atol=1e-10 * np.abs(one).max())
    np.testing.assert_allclose(first.means(arrays.u) @ first.to(other).T, other.means(arrays.u))


@pytest.mark.parametrize("intercept", [True, False])
def test_statistics_of_moments_are_those_of_the_readings(intercept):
    arrays = sessions_far_from_zero(intercept)
    names = NAMES if intercept else NAMES[1:]
    first = first_scaling(arrays.u, names, 0 if intercept else None, ())
    total = sufficient_statistics(moments(arrays, first.z, 60, scale=first), first, 2, 2)
    off, k, known = arrays.u - first.shift, arrays.count, arrays.known
    second = (off.T * k) @ off
    second[-1, -1] += arrays.within_ss[known].sum()
    assert total.weight == k.sum()
    np.testing.assert_allclose(total.first, k @ off, atol=1e-8)
    np.testing.assert_allclose(total.second, second, rtol=1e-9, atol=1e-7)
    for label in range(2):
        mine = arrays.residual == label
        assert np.isclose(total.within_ss[label], arrays.within_ss[mine & known].sum())
        assert total.free[label] == (k[mine & known] - 1).sum()
        assert total.residual[label] == k[mine].sum()
        assert total.visit[label] == k[arrays.visit == label].sum()
    assert total.observations == total.free.sum() + len(k)
