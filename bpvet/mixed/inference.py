"""Uncertainty of a fitted cohort: degrees of freedom, tests of contrasts, R² and their like.

Satterthwaite's degrees of freedom follow Fai & Cornelius (1996) as in lmerTest, with the exact
Hessian; Kenward & Roger's (1997) follow pbkrtest. Both work on variances. At a boundary the
variances that are zero are taken as known by Satterthwaite's rule.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.special import betainc, chdtrc, stdtr, stdtrit
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.optimiser import Point
from bpvet.mixed.stacks import Array


class FTest(NamedTuple):
    """A test of several contrasts at once: F, its degrees of freedom and its p value."""

    f: float
    numerator: float
    denominator: float
    p: float


@dataclass(frozen=True, eq=False)
class Satterthwaite:
    """What degrees of freedom need, on the scale of the moments.

    Parameters
    ----------
    covariance : (p, p) float
        Of the fixed effects.
    slopes : (a, p, p) float
        Its derivative by each free ψ.
    parameters : (a, a) float
        Covariance of the free ψ: twice the inverse Hessian of −2 log-likelihood.
    """

    covariance: Array
    slopes: Array
    parameters: Array

    def degrees(self, contrast: Array) -> float:
        """Return the degrees of freedom of one contrast (p,)."""
        variance = float(contrast @ self.covariance @ contrast)
        slope = np.einsum("i,aij,j->a", contrast, self.slopes, contrast)
        spread = float(slope @ self.parameters @ slope)
        return 2.0 * variance**2 / spread if spread > 0 else np.inf

    def test(self, contrasts: Array, coefficients: Array) -> FTest:
        """Return the F test of contrasts (r, p)."""
        sizes, vectors = np.linalg.eigh(contrasts @ self.covariance @ contrasts.T)
        keep = sizes > 1e-10 * sizes[-1]
        rows = vectors.T[keep] @ contrasts
        f = float(((rows @ coefficients) ** 2 / sizes[keep]).mean())
        degrees = np.array([self.degrees(row) for row in rows])
        return _test(f, float(len(rows)), _pooled(degrees))


def _pooled(degrees: Array) -> float:
    """Return one denominator for several t statistics (Fai & Cornelius 1996)."""
    if len(degrees) == 1 or np.ptp(degrees) < 1e-8:
        return float(degrees.mean())
    if np.any(degrees <= 2):
        return 2.0
    expected = float((degrees / (degrees - 2.0)).sum())
    return 2.0 * expected / (expected - len(degrees))


def _test(f: float, numerator: float, denominator: float) -> FTest:
    if np.isinf(denominator):
        return FTest(f, numerator, denominator, float(chdtrc(numerator, numerator * f)))
    at = denominator / (denominator + numerator * f)
    return FTest(f, numerator, denominator, float(betainc(denominator / 2, numerator / 2, at)))


def satterthwaite(criterion: Criterion, point: Point) -> Satterthwaite:
    """Return the covariance of the fixed effects and how it moves with the variances."""
    root = point.value.root
    parametrisation, psi = point.parametrisation, point.psi
    jacobian = parametrisation.jacobian(psi)
    products = criterion.products_of_effects(point.variances, point.value)
    # rootᵀ XᵀV⁻¹ Va V⁻¹X root over φ, (a, p, p).
    moved = root.T @ (criterion.basis.T @ products.first)
    expected = criterion.expected_information(point.variances, point.value, products)
    hessian = jacobian.T @ (2.0 * point.derivatives.information - expected) @ jacobian
    hessian += parametrisation.bend(psi, point.derivatives.gradient)
    slopes = np.einsum("ap,aij->pij", jacobian, root @ moved @ root.T)
    return Satterthwaite(root @ root.T, slopes, 2.0 * _inverse(hessian))


def _inverse(matrix: Array) -> Array:
    """Return the inverse of a symmetric matrix, its directions of no curvature left out."""
    if not len(matrix):
        return matrix
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-300))
    sizes, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    good = sizes > 1e-9 * max(float(sizes[-1]), 1e-300)
    inverse: Array = (vectors[:, good] / sizes[good]) @ vectors[:, good].T
    inverse /= np.outer(scale, scale)
    return inverse


@dataclass(frozen=True, eq=False)
class KenwardRoger:
    """Kenward and Roger's adjusted covariance and what their degrees of freedom need.

    Parameters
    ----------
    covariance, adjusted : (p, p) float
        Of the fixed effects, plain and adjusted.
    pieces : (a, p, p) float
        XᵀV⁻¹ Va V⁻¹X.
    parameters : (a, a) float
        Covariance of the variances.
    """

    covariance: Array
    adjusted: Array
    pieces: Array
    parameters: Array

    def degrees(self, contrast: Array) -> float:
        """Return the degrees of freedom of one contrast (p,)."""
        return self._denominator(contrast[None])[0]

    def test(self, contrasts: Array, coefficients: Array) -> FTest:
        """Return the scaled F test of contrasts (r, p), which must be independent."""
        values = contrasts @ coefficients
        spread = contrasts @ self.adjusted @ contrasts.T
        plain = float(values @ np.linalg.solve(spread, values)) / len(contrasts)
        denominator, scaling = self._denominator(contrasts)
        return _test(scaling * plain, float(len(contrasts)), denominator)

    def _denominator(self, contrasts: Array) -> tuple[float, float]:
        """Return denominator degrees of freedom and the factor of F (Kenward & Roger 1997)."""
        q = len(contrasts)
        cov = self.covariance
        theta = contrasts.T @ np.linalg.solve(contrasts @ cov @ contrasts.T, contrasts)
        moved = theta @ cov @ self.pieces @ cov
        traces = np.einsum("aii->a", moved)
        a1 = float(traces @ self.parameters @ traces)
        a2 = float(np.einsum("ab,aij,bji->", self.parameters, moved, moved))
        b = (a1 + 6.0 * a2) / (2.0 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        below = 3.0 * q + 2.0 * (1.0 - g)
        c1, c2, c3 = g / below, (q - g) / below, (q + 2.0 - g) / below
        v0, v1, v2 = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b
        v0 = 0.0 if abs(v0) < 1e-10 else v0
        shrunk = 1.0 - a2 / q
        ratio = 1.0 if abs(shrunk) < 1e-10 and abs(v1) < 1e-10 else shrunk / v1
        rho = ratio**2 * v0 / (v2 * q)
        denominator = 4.0 + (q + 2.0) / (q * rho - 1.0)
        if abs(denominator - 2.0) < 1e-2:
            return denominator, 1.0
        return denominator, denominator * shrunk / (denominator - 2.0)


def kenward_roger(criterion: Criterion, point: Point, natural: NDArray[np.bool_]) -> KenwardRoger:
    """Return Kenward and Roger's covariance of the fixed effects.

    Parameters
    ----------
    criterion : Criterion
        By REML.
    point : Point
    natural : (a,) bool
        Which of φ are parameters of the model.
    """
    cov = point.value.root @ point.value.root.T
    first, second = _full_products(criterion, point)
    first, second = first[natural], second[natural][:, natural]
    expected = criterion.expected_information(point.variances, point.value)
    parameters = 2.0 * _inverse(expected[np.ix_(natural, natural)])
    bend: Array = np.einsum("ab,abij->ij", parameters, second)
    bend = bend - np.einsum("ab,aij,jk,bkl->il", parameters, first, cov, first)
    return KenwardRoger(cov, cov + 2.0 * cov @ bend @ cov, first, parameters)


def _full_products(criterion: Criterion, point: Point) -> tuple[Array, Array]:
    """Return XᵀV⁻¹VaV⁻¹X (a, p, p) and XᵀV⁻¹VaV⁻¹VbV⁻¹X, symmetrised, (a, b, p, p)."""
    basis = criterion.basis
    p = basis.shape[1]
    rows, columns = np.triu_indices(p, 1)
    vectors = np.column_stack([basis, basis[:, rows] + basis[:, columns]])
    products = criterion.products(point.variances, point.value, vectors)
    first = basis.T @ products.first[:, :, :p]
    diagonal = products.second[:, :, :p]
    second = np.zeros((len(first), len(first), p, p))
    second[:, :, range(p), range(p)] = diagonal
    both = np.asarray(
        (products.second[:, :, p:] - diagonal[:, :, rows] - diagonal[:, :, columns]) / 2.0,
        dtype=float,
    )
    second[:, :, rows, columns] = second[:, :, columns, rows] = both
    return first, second


def t_quantile(degrees: Array, level: float) -> Array:
    """Return the two-sided t quantile for each number of degrees of freedom (∞ allowed)."""
    finite = np.minimum(degrees, 1e12)
    return np.asarray(stdtrit(finite, 0.5 + level / 2.0), dtype=float)


def t_probability(t: Array, degrees: Array) -> Array:
    """Return the two-sided p value of t."""
    return np.asarray(2.0 * stdtr(np.minimum(degrees, 1e12), -np.abs(t)), dtype=float)


def likelihood_ratio(smaller: float, larger: float, parameters: int) -> tuple[float, float]:
    """Return χ² = the fall of −2 log L and its plain p value.

    Examples
    --------
    >>> chi, p = likelihood_ratio(105.84, 102.0, 1)
    >>> round(chi, 2), round(p, 3)
    (3.84, 0.05)
    """
    chi = max(0.0, smaller - larger)
    return chi, float(chdtrc(parameters, chi))


def r_squared(fitted: float, random: float, residual: float) -> tuple[float, float]:
    """Return marginal and conditional R² (Nakagawa, Johnson & Schielzeth 2017).

    Parameters
    ----------
    fitted : float
        Variance of Xβ over the readings, divisor n − 1.
    random : float
        Mean over the readings of the variance of all random effects.
    residual : float
        Mean residual variance.

    Examples
    --------
    >>> r_squared(2.0, 1.0, 1.0)
    (0.5, 0.75)
    """
    total = fitted + random + residual
    return fitted / total, (fitted + random) / total
