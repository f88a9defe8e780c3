"""Sessions of readings: means and scatter, in whatever order and number the rows come."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.mixed import rows
from bpvet.mixed.cohort import model_spec
from bpvet.mixed.columns import Roles


@pytest.mark.parametrize("longest", [2, 9, 32, 33, 60])
@pytest.mark.parametrize("shuffled", [False, True])
def test_sessions_are_those_of_a_grouped_frame(longest: int, shuffled: bool) -> None:
    rng = np.random.default_rng(longest)
    count = np.append(rng.integers(1, longest, 40), longest)
    session = np.repeat(np.arange(len(count)), count)
    frame = pd.DataFrame(
        {
            "animal": [f"A{i // 4:02d}" for i in session],
            "session": session % 7,
            "months": (session % 11).astype(float),
            "y": rng.normal(150, 12, len(session)),
        }
    )
    # A session of equal readings does not scatter at all.
    frame.loc[session == 3, "y"] = 151.3
    if shuffled:
        frame = frame.sample(frac=1.0, random_state=longest)
    spec = model_spec(list(frame.columns), "y ~ months", Roles("animal", "session"))
    found, _ = rows.coded(frame, spec)
    groups = frame.groupby(["animal", "session"])["y"]
    index = pd.MultiIndex.from_arrays([found.animals[found.animal], found.label])
    np.testing.assert_array_equal(found.count, groups.size()[index])
    np.testing.assert_allclose(found.y, groups.mean()[index], rtol=1e-14)
    expected = groups.apply(lambda y: float(((y - y.mean()) ** 2).sum()))[index]
    np.testing.assert_allclose(found.within_ss, expected, rtol=1e-11, atol=1e-20)
    months = frame.groupby(["animal", "session"])["months"].first()[index]
    np.testing.assert_array_equal(found.x[:, 1], months)
