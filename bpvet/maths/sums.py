"""Sums of exponentials by their logarithms, in NumPy alone.

The steps are those of ``scipy.special.logsumexp``, whose digits these are
(`tests/maths/test_sums.py`): that one serves every array library, and costs a start and each call
accordingly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def log_sum_exp(logs: Array, axis: int | None = None) -> Array:
    """Return the logarithm of the sum of the exponentials of `logs` along an axis, or of all.

    Parameters
    ----------
    logs : (...) float
        At least one along the axis; −∞ stands for 0.
    axis : int or None
        The axis that is summed over and falls away; all of them by default.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        top = np.max(logs, axis=axis, keepdims=True)
        highest = logs == top
        count = np.sum(highest.astype(float), axis=axis, keepdims=True)
        # The largest stand apart, so that what they leave of the others' digits is kept.
        rest = np.sum(np.exp(np.where(highest, -np.inf, logs) - top), axis=axis, keepdims=True)
        found = np.log1p(np.where(rest == 0, rest, rest / count)) + np.log(count) + top
        if not np.isfinite(found).all():
            plain = np.log(np.sum(np.exp(logs), axis=axis, keepdims=True))
            found = np.where(np.isfinite(found), found, plain)
    return np.asarray(np.squeeze(found, axis=axis))
