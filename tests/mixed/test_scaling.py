"""The scale of the moments: sessions and readings are carried to it alike."""

from __future__ import annotations

import numpy as np

from bpvet.mixed.moments import SessionArrays
from bpvet.mixed.scaling import Scaling


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
