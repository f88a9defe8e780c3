"""Centring and scaling a cohort's columns, so that digits are not lost and steps have one size.

The criterion and all answers are carried back to the user's scale.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from bpvet.errors import FitError
from bpvet.mixed.moments import Array, Codes, SessionArrays, kinds_of, summed_products

_RANK = 1e-10
_EXACT = 1e-22
_ROWS_AT_ONCE = 16_384


@dataclass(frozen=True, eq=False)
class SufficientStatistics:
    """Sums over readings that scaling, first guesses and R² need; those of disjoint sets add.

    Parameters
    ----------
    weight : float
        Readings.
    first, second : (m,) and (m, m) float
        Σ (u − shift) and Σ (u − shift)(u − shift)ᵀ.
    within_ss, free : (r,) float
        Sum of squares within sessions and its degrees of freedom, by residual class.
    visit, residual : (v,) and (r,) float
        Readings by class.
    sessions, observations : int
    """

    weight: float
    first: Array
    second: Array
    within_ss: Array
    free: Array
    visit: Array
    residual: Array
    sessions: int
    observations: int

    def __add__(self, other: SufficientStatistics) -> SufficientStatistics:
        """Return those of both sets of sessions; digits depend on the order of the two."""
        both = (getattr(self, each.name) + getattr(other, each.name) for each in fields(self))
        return SufficientStatistics(*both)


def sufficient_statistics(
    arrays: SessionArrays, shift: Array, visits: int, residuals: int
) -> SufficientStatistics:
    """Return those of some sessions; `shift` (m,) is taken off the columns first."""
    m = len(shift)
    first, second = np.zeros(m), np.zeros((m, m))
    for begin in range(0, len(arrays.count), _ROWS_AT_ONCE):
        chunk = slice(begin, begin + _ROWS_AT_ONCE)
        w = arrays.u[chunk].T - shift[:, None]
        weighed = w * arrays.count[chunk].astype(float)
        first += weighed.sum(axis=1)
        second += summed_products(weighed.T, w.T)
    known = arrays.known
    if arrays.deviations is None or arrays.session_of_row is None:
        squares = np.where(known, arrays.within_ss, 0.0)
        second[-1, -1] += squares.sum()
    else:
        second = second + summed_products(arrays.deviations, arrays.deviations)
        row = arrays.deviations[:, -1] ** 2
        squares = np.bincount(arrays.session_of_row, row, len(arrays.count))
    # Whole numbers add up to the same kind by kind, and kinds are few.
    kinds, _ = kinds_of(arrays)
    readings = kinds.sessions * kinds.count
    if known.all():
        free = kinds.free(residuals).astype(float)
    else:
        free = _by_class(arrays.residual, np.where(known, arrays.count - 1.0, 0.0), residuals)
    has_visit = kinds.visit >= 0
    return SufficientStatistics(
        weight=float(readings.sum()),
        first=first,
        second=second,
        within_ss=_by_class(arrays.residual, squares, residuals),
        free=free,
        visit=_by_class(kinds.visit[has_visit], readings[has_visit], visits),
        residual=_by_class(kinds.residual, readings, residuals),
        sessions=len(arrays.count),
        observations=int(free.sum()) + len(arrays.count),
    )


def _by_class(classes: Codes, values: Array | Codes, size: int) -> Array:
    return np.bincount(classes, values, size).astype(float)


@dataclass(frozen=True, eq=False)
class Scaling:
    """How the user's columns and those of the moments hang together.

    Parameters
    ----------
    names : tuple of str
        Columns of X.
    centre, scale : (p + e,) float
        Of X's columns and the further slopes.
    start : (p,) float
        Coefficients whose fitted values are taken off the outcome.
    size : float
        What the outcome is divided by.
    intercept : int
        Column of the scaled u that is one.
    slopes : tuple of int
        Columns of the scaled u that are slopes.
    own_one : bool
        Whether a column of ones stands behind the further slopes (X has none).
    """

    names: tuple[str, ...]
    centre: Array
    scale: Array
    start: Array
    size: float
    intercept: int
    slopes: tuple[int, ...]
    own_one: bool

    @property
    def z(self) -> Codes:
        """Return the random columns of the scaled u."""
        return np.array([self.intercept, *self.slopes], np.int64)

    @property
    def columns(self) -> int:
        """Return m of the scaled u."""
        return len(self.centre) + int(self.own_one) + 1

    @property
    def coefficients(self) -> Array:
        """Return M (p, p) with β = start + size · M β*."""
        p = len(self.names)
        matrix = np.diag(1.0 / self.scale[:p])
        if not self.own_one:
            matrix[self.intercept] -= self.centre[:p] / self.scale[:p]
            matrix[self.intercept, self.intercept] = 1.0
        return matrix

    @property
    def effects(self) -> Array:
        """Return M (q, q) with an animal's effects b = M b*."""
        q = 1 + len(self.slopes)
        matrix = np.eye(q)
        for place, column in enumerate(self.slopes, start=1):
            matrix[place, place] = 1.0 / self.scale[column]
            matrix[0, place] = -self.centre[column] / self.scale[column]
        return self.size * matrix

    def added_to_criterion(self, observations: int, reml: bool) -> float:
        """Return what the user's criterion has above that of the moments."""
        p = len(self.names)
        if not reml:
            return 2.0 * observations * float(np.log(self.size))
        logs = 2.0 * float(np.log(self.scale[:p]).sum())
        return 2.0 * (observations - p) * float(np.log(self.size)) + logs

    def columns_of(self, x: Array, slopes: Array) -> Array:
        """Return scaled X, slopes and, where X lacks them, ones."""
        outcome = np.zeros((len(x), 1))
        return self.means(np.column_stack([x, slopes, outcome]))[:, :-1]

    def means(self, u: Array) -> Array:
        """Return means of sessions (n, p + e + 1) on the scale of the moments, (n, m)."""
        p, e = len(self.names), len(self.centre)
        scaled = np.ones((self.columns, len(u))).T
        for column in range(e):
            np.subtract(u[:, column], self.centre[column], out=scaled[:, column])
            scaled[:, column] /= self.scale[column]
        for begin in range(0, len(u), _ROWS_AT_ONCE):
            chunk = slice(begin, begin + _ROWS_AT_ONCE)
            scaled[chunk, -1] = (u[chunk, -1] - u[chunk, :p] @ self.start) / self.size
        return scaled

    def deviations(self, rows: Array) -> Array:
        """Return readings about their session's means on the scale of the moments, (n, m)."""
        p, e = len(self.names), len(self.centre)
        scaled = np.zeros((len(rows), self.columns))
        scaled[:, :e] = rows[:, :-1] / self.scale
        scaled[:, -1] = (rows[:, -1] - rows[:, :p] @ self.start) / self.size
        return scaled

    def scaled(self, arrays: SessionArrays) -> SessionArrays:
        """Return sessions on the scale of the moments."""
        inside = arrays.deviations
        return replace(
            arrays,
            u=self.means(arrays.u),
            within_ss=arrays.within_ss / self.size**2,
            deviations=None if inside is None else self.deviations(inside),
        )


def shift_of(first_row: Array, has_intercept: int | None) -> Array:
    """Return what to take off the columns before summing: the first row, where that is allowed."""
    shift = np.zeros(len(first_row))
    if has_intercept is not None:
        shift = first_row.copy()
        shift[has_intercept] = 0.0
    return shift


def scaling_of(
    total: SufficientStatistics,
    shift: Array,
    names: tuple[str, ...],
    intercept: int | None,
    slopes: tuple[int, ...],
    correlated: bool,
) -> Scaling:
    """Return the scaling of a cohort.

    Parameters
    ----------
    total : Sums
    shift : (m,) float
    names : tuple of str
        Columns of X.
    intercept : int or None
        Column of X that is one.
    slopes : tuple of int
        Places of the slopes in u.
    correlated : bool
        Uncorrelated slopes are not centred: that would be another model.

    Raises
    ------
    FitError
        If columns of X are combinations of others, or the outcome does not vary about them.
    """
    p, m = len(names), len(shift)
    mean = total.first / total.weight
    spread = total.second / total.weight - np.outer(mean, mean)
    square = spread + np.outer(mean + shift, mean + shift)
    centred = np.zeros(m - 1, bool)
    if intercept is not None:
        centred[:] = True
        centred[intercept] = False
        if not correlated:
            centred[list(slopes)] = False
    scale = np.sqrt(np.where(centred, np.diag(spread)[:-1], np.diag(square)[:-1]))
    if intercept is not None:
        scale[intercept] = 1.0
    _refuse_rank(spread, square, names, intercept)
    scale = np.where(scale > 0, scale, 1.0)
    centre = np.where(centred, (mean + shift)[:-1], 0.0)
    start, left = _least_squares(total, shift, p, intercept)
    if total.observations <= p:
        raise FitError(
            f"There are {total.observations} readings for {p} coefficients: too few to fit."
        )
    if left <= _EXACT * max(float(square[-1, -1]), 1e-300) or left <= 0:
        raise FitError(
            "The outcome does not vary about the fixed effects: every reading is the same, "
            "or the formula explains each exactly."
        )
    one = m - 1 if intercept is None else intercept
    return Scaling(
        names, centre, scale, start, float(np.sqrt(left)), one, slopes, intercept is None
    )


def _refuse_rank(
    spread: Array, square: Array, names: tuple[str, ...], intercept: int | None
) -> None:
    p = len(names)
    others = [j for j in range(p) if j != intercept]
    gram = (square if intercept is None else spread)[np.ix_(others, others)]
    ruler = np.diag(square)[others]
    flat = [
        names[j]
        for j, v, r in zip(others, np.diag(gram), ruler, strict=True)
        if v <= _RANK * r * 1e-4
    ]
    if flat:
        raise FitError(f"Column {flat[0]} of the design does not vary; take its term out.")
    if not others:
        return
    size = np.sqrt(np.diag(gram))
    sizes, vectors = np.linalg.eigh(gram / np.outer(size, size))
    if sizes[0] < _RANK:
        part = np.abs(vectors[:, 0])
        named = [names[others[j]] for j in np.flatnonzero(part > 0.05 * part.max())]
        rank = p - int((sizes < _RANK).sum())
        raise FitError(
            f"The design has rank {rank} of {p}: {', '.join(named)} are combinations of one "
            "another; take one out."
        )


def _least_squares(
    total: SufficientStatistics, shift: Array, p: int, intercept: int | None
) -> tuple[Array, float]:
    """Return coefficients and the mean square left, from the shifted sums."""
    xx, xy = total.second[:p, :p], total.second[:p, -1]
    size = np.sqrt(np.diag(xx))
    size = np.where(size > 0, size, 1.0)
    solved = np.linalg.lstsq(xx / np.outer(size, size), xy / size, rcond=1e-13)[0] / size
    left = float(total.second[-1, -1] - 2.0 * solved @ xy + solved @ xx @ solved)
    if intercept is not None:
        solved[intercept] += shift[-1] - float(
            np.delete(solved, intercept) @ np.delete(shift[:p], intercept)
        )
    return solved, left / total.weight
