"""Centring and scaling a cohort's columns, so that digits are not lost and steps have one size.

The criterion and all answers are carried back to the user's scale.
"""

from __future__ import annotations

import numpy as np

from bpvet.errors import FitError
from bpvet.frozen import dataclass, field_names, replace
from bpvet.mixed.moments import Moments, SessionArrays
from bpvet.mixed.stacks import Array, Codes

_RANK = 1e-10
_EXACT = 1e-22
_ROWS_AT_ONCE = 16_384
# So many sessions tell where the columns lie; directions weaker than this in them are left aside.
_SHOWN, _WEAK = 300, 1e-6


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
        both = (getattr(self, name) + getattr(other, name) for name in field_names(self))
        return SufficientStatistics(*both)


def sufficient_statistics(
    moments: Moments, scaling: Scaling, visits: int, residuals: int
) -> SufficientStatistics:
    """Return those of some animals, from their moments on a scale whose units are the user's."""
    slots, back = moments.session_slots, scaling.raw
    totals = back @ moments.totals.sum(axis=0) @ back.T
    count, number = moments.count[:slots], moments.sessions[:slots]
    second = np.tensordot(moments.count, totals, 1)
    ones = moments.totals[:, :slots, scaling.intercept].sum(axis=0)
    has_visit, readings = moments.visit[:slots] >= 0, number * count
    within = moments.residual[slots:]
    return SufficientStatistics(
        weight=float(readings.sum()),
        first=back @ (count @ ones),
        second=second,
        within_ss=_by_class(within, totals[slots:, -1, -1], residuals),
        free=_by_class(within, moments.sessions[slots:], residuals),
        visit=_by_class(moments.visit[:slots][has_visit], readings[has_visit], visits),
        residual=_by_class(moments.residual[:slots], readings, residuals),
        sessions=int(number.sum()),
        observations=moments.observations,
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
        for row, column in enumerate(self.slopes, start=1):
            matrix[row, row] = 1.0 / self.scale[column]
            matrix[0, row] = -self.centre[column] / self.scale[column]
        return self.size * matrix

    @property
    def shift(self) -> Array:
        """Return what `raw` takes off the user's columns (X, further slopes, y), (p + e + 1,)."""
        p = len(self.names)
        level = 0.0 if self.own_one else self.start[self.intercept] + self.centre[:p] @ self.start
        return np.append(self.centre, level)

    @property
    def raw(self) -> Array:
        """Return R (p + e + 1, m) with the user's columns less `shift` = R u, u scaled."""
        e, p = len(self.centre), len(self.names)
        matrix = np.zeros((e + 1, self.columns))
        matrix[range(e), range(e)] = self.scale
        matrix[-1, :p] = self.start * self.scale[:p]
        matrix[-1, -1] = self.size
        if not self.own_one:
            matrix[-1, self.intercept] = 0.0
        return matrix

    def to(self, target: Scaling) -> Array:
        """Return T (m, m) with u on another scale of the same columns = T u."""
        e, p, ones = len(self.centre), len(self.names), self.intercept
        matrix = np.zeros((self.columns, self.columns))
        matrix[range(e), range(e)] = self.scale / target.scale
        matrix[:e, ones] += (self.centre - target.centre) / target.scale
        matrix[ones, ones] = 1.0
        left = (self.start - target.start) / target.size
        matrix[-1, :p] = left * self.scale[:p]
        matrix[-1, ones] += left @ self.centre[:p]
        matrix[-1, -1] = self.size / target.size
        return matrix

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
            if self.scale[column] != 1.0:
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


def first_scaling(
    u: Array, names: tuple[str, ...], intercept: int | None, slopes: tuple[int, ...]
) -> Scaling:
    """Return the scale on which sums are first taken, in the user's units.

    Columns are centred, and fitted values taken off the outcome, as some sessions have it, so that
    sums of squares keep their digits however far from zero the columns lie.

    Parameters
    ----------
    u : (n, p + e + 1) float
        Sessions on the user's scale; some hundreds are looked at.
    names : tuple of str
        Columns of X.
    intercept : int or None
        Column of X that is one.
    slopes : tuple of int
        Places of the slopes in u.
    """
    shown, p = u[:: 1 + len(u) // _SHOWN], len(names)
    centre, ones = np.zeros(u.shape[1] - 1), u.shape[1] - 1
    if intercept is not None:
        centre, ones = shown[:, :-1].mean(axis=0), intercept
        centre[intercept] = 0.0
    x = shown[:, :p] - centre[:p]
    size = np.sqrt((x**2).mean(axis=0))
    size[size == 0.0] = 1.0
    start = np.linalg.lstsq(x / size, shown[:, -1], rcond=_WEAK)[0] / size
    if intercept is not None:
        start[intercept] -= centre[:p] @ start
    return Scaling(names, centre, np.ones(len(centre)), start, 1.0, ones, slopes, intercept is None)


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
    ones = m - 1 if intercept is None else intercept
    return Scaling(
        names, centre, scale, start, float(np.sqrt(left)), ones, slopes, intercept is None
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
        weight = np.abs(vectors[:, 0])
        named = [names[others[j]] for j in np.flatnonzero(weight > 0.05 * weight.max())]
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
