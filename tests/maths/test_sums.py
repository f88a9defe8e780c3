"""The logarithm of a sum of exponentials is SciPy's."""

import numpy as np
import pytest
from scipy.special import logsumexp

from bpvet.maths.sums import log_sum_exp


@pytest.mark.parametrize("axis", [None, 0, 1, 2])
@pytest.mark.parametrize("spread", [1e-9, 1.0, 40.0, 900.0])
def test_digits_are_those_of_scipy(axis: int | None, spread: float) -> None:
    rng = np.random.default_rng(20)
    logs = rng.normal(-3.0, spread, (7, 20, 33))
    logs[:, 3] = logs[:, 4]  # equal ones, the largest among them here and there
    # Older releases take other steps, whose last digit may be another.
    wanted = logsumexp(logs, axis=axis)
    np.testing.assert_allclose(log_sum_exp(logs, axis), wanted, rtol=1e-14, atol=1e-14)


@pytest.mark.parametrize(
    "logs",
    [
        [-np.inf, 0.0, -np.inf],
        [-np.inf, -np.inf],
        [np.inf, 1.0],
        [np.nan, 1.0],
        [800.0, 800.0, -800.0],
        [0.0],
    ],
)
def test_what_is_infinite_or_missing(logs: list[float]) -> None:
    assert np.array_equal(log_sum_exp(np.array(logs)), logsumexp(logs), equal_nan=True)
