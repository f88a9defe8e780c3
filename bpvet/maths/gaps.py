"""The usual pressure on many dates: gap by gap between sessions.

Within a gap the dates differ by their row of the design and by how much of the wander at the two
ends is left there, f and g. The product of f and g is the same all over the gap, so that centre
and variance are polynomials of first and second degree in the row, f and g: a matrix product a
gap, where `Part.usual` takes arrays of coefficients by nodes for every date.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from bpvet.maths.gaussian import Array, Path, forward_solve

#: Of an end of a gap: mean of its wander (K,), and, as a function of the coefficients, in the
#: directions in which they are independent (p, K); how much of sw² it knows (K,).
_End = tuple[Array, Array, Array]


def usual_by_gaps(
    path: Path, mean: Array, root: Array, design: Array, day: Array
) -> tuple[Array, Array]:
    """Return means and variances (T, K) of the usual pressure on many dates.

    Parameters
    ----------
    path : Path
        The wander of the animal.
    mean : (p, K)
        Posterior means of the coefficients less their prior means; the centres are less them too.
    root : (p, p, K)
        Lower Cholesky factor of the posterior precision of the coefficients.
    design : (T, p)
        Rows of the design at the dates.
    day : (T,)
        Days, ascending.
    """
    sessions = path.batch.day[:, 0]
    last = np.searchsorted(sessions, day, side="right") - 1
    used = np.flatnonzero(design.any(axis=0))
    count = used.size
    # What each date is told by: its row, f, g, their products two by two, and 1.
    asked = np.concatenate([design[:, used], _nearness(path, last, day)], axis=1)
    at, beside = np.triu_indices(count + 2)
    products = np.concatenate([asked[:, at] * asked[:, beside], np.ones((day.size, 1))], axis=1)
    lines, squares = np.empty((count + 2, root.shape[2])), np.empty((at.size + 1, root.shape[2]))
    half = np.empty((len(root), *lines.shape))
    lines[:count] = mean[used]
    unit = np.eye(len(root))[:, used, None] * np.ones(root.shape[2])
    half[:, :count] = forward_solve(root[:, :, None], unit)
    centre, variance = (np.empty((day.size, root.shape[2])) for _ in range(2))
    starts = [0, *np.flatnonzero(np.diff(last)) + 1, day.size]
    for start, stop in pairwise(starts):
        wander = _gap(path, int(last[start]), mean, root, lines[count:], half[:, count:])
        np.einsum("pak,pak->ak", half[:, at], half[:, beside], out=squares[:-1])
        squares[:-1] *= np.where(at == beside, 1.0, 2.0)[:, None]
        # The variance of the wander itself: of 1, f² and g².
        squares[-1] = wander[0]
        squares[[-4, -2]] += wander[1:]
        np.matmul(asked[start:stop], lines, out=centre[start:stop])
        np.matmul(products[start:stop], squares, out=variance[start:stop])
    return centre, np.maximum(variance, 0.0, out=variance)


def _gap(path: Path, last: int, mean: Array, root: Array, lines: Array, half: Array) -> Array:
    """Fill in what f and g are multiplied with in a gap; `last` is the session before it, or −1.

    Parameters
    ----------
    lines, half : (2, K) and (p, 2, K)
        Overwritten.

    Returns
    -------
    (3, K)
        Of the variance of the wander: the constant, and what f² and g² are multiplied with.
    """
    nothing = np.zeros_like(mean[0]), np.zeros_like(mean), np.zeros_like(mean[0])
    left, right, both = nothing, nothing, 0.0
    if last >= 0:
        left = _end(path.before_mean[last], path.before_share[last], mean, root)
    if last + 1 < path.batch.sessions:
        after_mean, after_share = path.after
        right = _end(after_mean[last + 1], after_share[last + 1], mean, root)
    if last >= 0 and last + 1 < path.batch.sessions:
        long = path.batch.day[last + 1, 0] - path.batch.day[last, 0]
        both = float(np.exp(-long / path.batch.wander_days[0]))
    # The variance on a date is a b/(a + b − a b) of sw² with a = 1 − u f² and b = 1 − v g²; below
    # stands 1 − u v (f g)², and each end weighs what the other leaves.
    (wander, tilt, u), (wander_, tilt_, v) = left, right
    total = 1 - u * v * both**2
    lines[0], lines[1] = (
        (wander - both * u * wander_) / total,
        (wander_ - both * v * wander) / total,
    )
    half[:, 0], half[:, 1] = (both * u * tilt_ - tilt) / total, (both * v * tilt - tilt_) / total
    return path.noise.wander[0] * np.array([1 + u * v * both**2, -u, -v]) / total


def _end(columns: Array, share: Array, mean: Array, root: Array) -> _End:
    """Return an end of a gap from its wander for each column of [X, y], (p + 1, K)."""
    wander = columns[-1] - np.sum(columns[:-1] * mean, axis=0)
    return wander, forward_solve(root, columns[:-1]), 1 - share


def _nearness(path: Path, last: np.ndarray, day: Array) -> Array:
    """Return f and g (T, 2): how much is left of the wander at the sessions before and after."""
    sessions, tau = path.batch.day[:, 0], float(path.batch.wander_days[0])
    ends = np.concatenate([[-np.inf], sessions, [np.inf]])
    return np.exp(-np.abs(np.stack([day - ends[last + 1], ends[last + 2] - day], axis=1)) / tau)
