"""The one-animal model given its noise SDs: a scalar Kalman filter that carries y and X together.

Given (sv, sr, sw) a trend is Gaussian: sessions scatter about ``X beta + w`` where ``w`` is a
stationary Ornstein–Uhlenbeck process. One filter of that scalar process, run on ``y`` and on
every column of ``X`` at once, whitens them all; the coefficients then follow by generalised
least squares with their prior, and ``w`` between sessions from one pass in each direction.
Cost is linear in sessions. Arrays carry animals (B) and noise nodes (K) as their last axes.

Source: Harvey AC, *Forecasting, Structural Time Series Models and the Kalman Filter* (1989),
3.4 (regression in the filter); the two-filter smoother of Fraser and Potter (1969).
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field_names

Array = NDArray[np.float64]

LOG_2PI = math.log(2 * math.pi)


@dataclass(frozen=True, eq=False)
class Batch:
    """Series of B animals, padded to N sessions, p columns and G noise groups.

    Parameters
    ----------
    y : (N, B)
        Session means less the prior mean of the coefficients' part; 0 where padded.
    x : (p, N, B)
        Columns of the design; 0 where padded.
    day : (N, B)
        Days, ascending; padded entries repeat the last.
    k : (N, B)
        Used readings of each session; 1 where padded.
    group : (N, B) int
        Noise group of each session (0 except in a bridged series).
    live : (N, B) bool
        False where padded.
    prior_sd : (p, B)
        Prior SD of each coefficient; 1 for padded columns.
    wander_days : (B,)
        Time constant of the wander.
    scatter_df, scatter_ss : (G, B)
        Degrees of freedom and sum of squares within sessions, by noise group.
    constant : (B,)
        Log-likelihood terms that no parameter changes: −½ Σ log k over sessions whose
        readings are known singly.
    used : (B,) int
        How many of the p columns are the animal's own; padded ones come after them.
    """

    y: Array
    x: Array
    day: Array
    k: Array
    group: NDArray[np.int64]
    live: NDArray[np.bool_]
    prior_sd: Array
    wander_days: Array
    scatter_df: Array
    scatter_ss: Array
    constant: Array
    used: NDArray[np.int64]

    @property
    def sessions(self) -> int:
        """Padded number of sessions, N."""
        return self.y.shape[0]

    @property
    def terms(self) -> int:
        """Padded number of coefficients, p."""
        return self.x.shape[0]

    def take(self, animals: NDArray[np.int64]) -> Batch:
        """Return the batch of the animals at these positions."""
        parts = {name: getattr(self, name)[..., animals] for name in field_names(self)}
        return Batch(**parts)


@dataclass(frozen=True, eq=False)
class Noise:
    """Noise variances at K nodes for B animals.

    Parameters
    ----------
    visit, reading : (G, B, K)
        sv² and sr² of each noise group.
    wander : (B, K)
        sw².
    """

    visit: Array
    reading: Array
    wander: Array


@dataclass(frozen=True, eq=False)
class Whitened:
    """What the filter leaves: cross-products of whitened columns, and its path where kept.

    Parameters
    ----------
    gram : (p + 1, p + 1, B, K)
        ZᵀV⁻¹Z for Z = [X, y]; only the lower triangle is filled.
    log_det : (B, K)
        log |V|.
    mean, share : (N, p + 1, B, K) and (N, B, K)
        Filtered mean of the wander for every column, and its remaining share of sw²; of
        length 0 where the path was not kept.
    """

    gram: Array
    log_det: Array
    mean: Array
    share: Array


@dataclass(frozen=True, eq=False)
class Coefficients:
    """Posterior of the coefficients at each node, and the likelihood of the sessions.

    Parameters
    ----------
    mean : (p, B, K)
        Posterior means (of the coefficients less their prior means).
    root : (p, p, B, K)
        Lower Cholesky factor of the posterior precision.
    log_likelihood : (B, K)
        Log marginal likelihood of the readings at each node.
    """

    mean: Array
    root: Array
    log_likelihood: Array


def carried(day: Array, wander_days: Array) -> Array:
    """Return how much of the wander each session carries over from the one before.

    Parameters
    ----------
    day : (N, B)
        Days, ascending.
    wander_days : (B,)
        Time constants.

    Returns
    -------
    (N, B)
        exp(−gap / time constant); 0 at the first session.
    """
    phi = np.zeros_like(day)
    phi[1:] = np.exp(-np.diff(day, axis=0) / wander_days)
    return phi


def session_noise(batch: Batch, noise: Noise) -> Array:
    """Return the noise variance of each session mean, (N, B, K): sv² + sr²/k by group."""
    if noise.visit.shape[0] == 1:
        return noise.visit[0] + noise.reading[0] / batch.k[:, :, None]
    # Take each session's group along the first axis, animal by animal.
    index = np.broadcast_to(batch.group[:, :, None], (*batch.group.shape, noise.wander.shape[1]))
    visit = np.take_along_axis(noise.visit, index, axis=0)
    reading = np.take_along_axis(noise.reading, index, axis=0)
    return visit + reading / batch.k[:, :, None]


def whiten(batch: Batch, noise: Noise, *, keep: bool = False, backwards: bool = False) -> Whitened:
    """Run the filter over all columns, animals and nodes at once.

    Parameters
    ----------
    batch : Batch
        The series.
    noise : Noise
        Variances at K nodes for each animal.
    keep : bool
        Keep the filter's path (needed for dates between sessions).
    backwards : bool
        Run from the last session to the first; the path is then indexed as the sessions are.
        Only without padding: a padded session is no boundary in time.
    """
    order = slice(None, None, -1) if backwards else slice(None)
    columns = np.concatenate([batch.x, batch.y[None]])[:, order]
    day = batch.day[order] if not backwards else -batch.day[order]
    phi = carried(day, batch.wander_days)
    variance = session_noise(batch, noise)[order]
    live = batch.live[order]
    whole = np.asarray(live.all(axis=1))
    sw2 = noise.wander
    count, nodes = columns.shape[0], sw2.shape
    mean = np.zeros((count, *nodes))
    share = np.ones(nodes)
    log_det = np.zeros(nodes)
    scaled = np.empty((batch.sessions, count, *nodes))
    kept = batch.sessions if keep else 0
    means, shares = np.empty((kept, count, *nodes)), np.empty((kept, *nodes))
    for j in range(batch.sessions):
        f = phi[j][:, None]
        f2 = f * f
        share = share * f2 + (1 - f2)
        mean *= f
        prior = sw2 * share
        total = prior + variance[j]
        error = columns[:, j, :, None] - mean
        if whole[j]:
            share *= variance[j] / total
            gain = prior / total
            log_det += np.log(total)
        else:
            on = live[j][:, None]
            share = np.where(on, share * variance[j] / total, share)
            gain = np.where(on, prior / total, 0.0)
            log_det += np.where(on, np.log(total), 0.0)
            error = np.where(on, error, 0.0)
        mean += gain * error
        np.divide(error, np.sqrt(total), out=scaled[j])
        if keep:
            means[j], shares[j] = mean, share
    return Whitened(cross_products(scaled), log_det, means[order], shares[order])


def cross_products(scaled: Array) -> Array:
    """Return the lower triangle of the columns' cross-products, (C, C, B, K)."""
    count = scaled.shape[1]
    gram = np.zeros((count, count, *scaled.shape[2:]))
    for row in range(count):
        np.einsum("nbk,ncbk->cbk", scaled[:, row], scaled[:, : row + 1], out=gram[row, : row + 1])
    return gram


def coefficients(batch: Batch, reading: Array, whitened: Whitened) -> Coefficients:
    """Combine the whitened columns with the prior of the coefficients.

    Parameters
    ----------
    batch : Batch
        The series.
    reading : (G, B, K)
        sr² of each noise group at the nodes.
    whitened : Whitened
        Cross-products of the columns at the nodes.

    Returns the posterior at each node and the log marginal likelihood at reading level:
    that of the session means plus, for sessions whose readings are known singly,
    Σ −(k−1)/2·log(2π sr²) − log(k)/2 − S/(2 sr²).
    """
    p = batch.terms
    precision = whitened.gram[:p, :p].copy()
    inverse = 1 / batch.prior_sd**2
    for i in range(p):
        precision[i, i] += inverse[i][:, None]
    root = cholesky(precision)
    half = forward_solve(root, whitened.gram[p, :p])
    quadratic = whitened.gram[p, p] - np.sum(half * half, axis=0)
    log_det = whitened.log_det + 2 * np.sum(np.log(batch.prior_sd), axis=0)[:, None]
    for i in range(p):
        log_det = log_det + 2 * np.log(root[i, i])
    means = -0.5 * (batch.live.sum(axis=0)[:, None] * LOG_2PI + log_det + quadratic)
    likelihood = means + scatter(batch, reading)
    return Coefficients(backward_solve(root, half), root, likelihood)


def scatter(batch: Batch, reading: Array) -> Array:
    """Return the log-likelihood of the scatter within sessions, (B, K)."""
    df, ss = batch.scatter_df[:, :, None], batch.scatter_ss[:, :, None]
    terms = -0.5 * (df * (LOG_2PI + np.log(reading)) + ss / reading)
    return np.asarray(terms.sum(axis=0) + batch.constant[:, None])


def cholesky(matrix: Array) -> Array:
    """Return lower Cholesky factors of many small matrices at once.

    Parameters
    ----------
    matrix : (p, p, ...)
        Symmetric positive definite; only the lower triangle is read.

    Returns
    -------
    (p, p, ...)
        Lower factors; the upper triangle is zero.
    """
    # Written out over the first axes: a call a matrix would cost more than the whole filter.
    p = matrix.shape[0]
    root = np.zeros_like(matrix)
    for j in range(p):
        rest = matrix[j, j] - np.sum(root[j, :j] ** 2, axis=0) if j else matrix[j, j]
        root[j, j] = np.sqrt(rest)
        if j + 1 < p:
            below = matrix[j + 1 :, j]
            if j:
                below = below - np.einsum("ic...,c...->i...", root[j + 1 :, :j], root[j, :j])
            root[j + 1 :, j] = below / root[j, j]
    return root


def eliminate(packed: Array, count: int) -> tuple[Array, Array]:
    """Eliminate the first `count` rows of many small symmetric matrices of one row more.

    Parameters
    ----------
    packed : (P, ...)
        Lower triangles, column by column; overwritten. Without the last row and column they are
        positive definite.
    count : int
        Rows to be eliminated.

    Returns
    -------
    (...), (...)
        Log determinant of those rows and columns, and what is left of the last diagonal element.
    """
    log_det, start = np.zeros(packed.shape[1:]), 0
    for size in range(count + 1, 1, -1):
        column = packed[start : start + size]
        start += size
        log_det += np.log(column[0])
        factor = column[1:] / column[0]
        at = start
        for below in range(1, size):
            packed[at : at + size - below] -= factor[below - 1 :] * column[below]
            at += size - below
    return log_det, packed[-1]


def forward_solve(root: Array, right: Array) -> Array:
    """Solve L x = right; `root` (p, p, ...), `right` (p, ...) broadcasting after p."""
    p = root.shape[0]
    out = np.empty((p, *np.broadcast_shapes(root.shape[2:], right.shape[1:])))
    for i in range(p):
        rest = right[i]
        if i:
            rest = rest - np.einsum("c...,c...->...", root[i, :i], out[:i])
        np.divide(rest, root[i, i], out=out[i])
    return out


def backward_solve(root: Array, right: Array) -> Array:
    """Solve Lᵀ x = right; `root` (p, p, ...), `right` (p, ...)."""
    p = root.shape[0]
    out = np.empty_like(right)
    for i in reversed(range(p)):
        rest = right[i]
        if i + 1 < p:
            rest = rest - np.einsum("c...,c...->...", root[i + 1 :, i], out[i + 1 :])
        np.divide(rest, root[i, i], out=out[i])
    return out


@dataclass(frozen=True, eq=False)
class Path:
    """The wander between sessions of one animal, ready to be asked for any date.

    Parameters
    ----------
    batch : Batch
        The series, B = 1 and without padding.
    noise : Noise
        Variances at K nodes.
    before_mean : (N, p + 1, K)
        Mean of the wander for each column of [X, y], filtered up to and including a session
        from the past.
    before_share : (N, K)
        Remaining shares of sw².
    """

    batch: Batch
    noise: Noise
    before_mean: Array
    before_share: Array

    @cached_property
    def after(self) -> tuple[Array, Array]:
        """Mean and share as `before_mean` and `before_share`, filtered from the future."""
        after = whiten(self.batch, self.noise, keep=True, backwards=True)
        return after.mean[:, :, 0], after.share[:, 0]

    def at(self, day: Array) -> tuple[Array, Array]:
        """Return the wander at dates: its mean for each column, and its variance.

        Parameters
        ----------
        day : (T,)
            Days asked for.

        Returns
        -------
        mean : (T, p + 1, K)
            Coefficients of the smoothed wander in each column of [X, y].
        variance : (T, K)
            Variance given the coefficients, in squared units.
        """
        sides, variance = self.sides(day)
        (session, weight), *following = sides
        # In place, for these are an answer's largest.
        mean = self.before_mean[session]
        mean *= weight[:, None]
        for session, weight in following:
            right = self.after[0][session]
            right *= weight[:, None]
            mean += right
        return mean, variance

    def sides(self, day: Array) -> tuple[list[tuple[NDArray[np.intp], Array]], Array]:
        """Return what the wander at dates takes of the sessions beside them, and its variance.

        Parameters
        ----------
        day : (T,)
            Days asked for.

        Returns
        -------
        sides : list of (T,) int and (T, K) or (T, 1) float
            Session before and what its filtered mean weighs; then, where any date has one, the
            session after and what its own, filtered from the future, weighs.
        variance : (T, K)
            Variance given the coefficients, in squared units.
        """
        sessions, tau = self.batch.day[:, 0], float(self.batch.wander_days[0])
        n = sessions.size
        last = np.searchsorted(sessions, day, side="right") - 1
        past = last >= 0
        following = last + 1
        future = following < n
        i, j = np.clip(last, 0, n - 1), np.clip(following, 0, n - 1)
        f = np.where(past, np.exp(-np.abs(day - sessions[i]) / tau), 0.0)[:, None]
        # Shares of the stationary variance left by each side; 1 means nothing is known.
        a = self.before_share[i] * f**2 + (1 - f**2)
        # Most questions are of the latest session or later: they need no pass from the future.
        if not future.any():
            return [(i, f)], self.noise.wander[0] * a
        g = np.where(future, np.exp(-np.abs(sessions[j] - day) / tau), 0.0)[:, None]
        b = self.after[1][j] * g**2 + (1 - g**2)
        both = a * b
        total = a + b - both
        # Each side weighs what the other leaves.
        weights = [(i, f * b / total), (j, g * a / total)]
        return weights, self.noise.wander[0] * (both / total)
