"""A cohort's −2 log-likelihood (REML or ML) at reading level, with analytic derivatives.

The animals are taken apart in `bpvet.mixed.contributions`; here their sums are put together: the
group effect, the fixed effects profiled out, and the quantities P = V⁻¹ − V⁻¹X(XᵀV⁻¹X)⁻¹XᵀV⁻¹
enters. Every pass over the animals goes through one `gather`, which maps a function over the
partitions and keeps their order, so that sums have the same digits wherever they were made.

The natural parameters φ are the variances and covariances of an animal's effects (lower triangle
of G, row by row), the variance between groups where there are groups, the visit variances, and
the residual variances.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property, partial, reduce
from operator import add
from typing import Any, NamedTuple

import numpy as np

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.mixed import contributions as partition
from bpvet.mixed.contributions import Variances
from bpvet.mixed.stacks import Array, Codes, lower_triangle

Collect = Callable[[Callable[[Any], Any], Sequence[Any]], Sequence[Any]]


def in_order(function: Callable[[Any], Any], parts: Sequence[Any]) -> list[Any]:
    """Return the function of each part: the plainest `gather`."""
    return [function(piece) for piece in parts]


class Value(NamedTuple):
    """The criterion at some variances.

    `residual` (m,) is the combination of u's columns that is y − Xβ; `root` (p, p) has
    root·rootᵀ = (XᵀV⁻¹X)⁻¹; `products` (groups, m, m) are Uᵀ V⁻¹ U, the group effect left aside.
    """

    criterion: float
    coefficients: Array
    residual: Array
    root: Array
    products: Array


class Derivatives(NamedTuple):
    """Gradient (a,) of the criterion in φ and its average information (a, a)."""

    gradient: Array
    information: Array


class Products(NamedTuple):
    """Uᵀ V⁻¹ Va V⁻¹ U c as (a, m, K), and cᵀ Uᵀ V⁻¹ Va V⁻¹ Vb V⁻¹ U c as (a, b, K)."""

    first: Array
    second: Array


@dataclass(frozen=True, eq=False)
class Criterion:
    """The criterion of one model for one cohort.

    Parameters
    ----------
    parts : sequence
        Moments, or whatever `gather` turns into moments.
    collect : callable
        Maps a function over the parts, keeping their order.
    intercept : int
        Column of u that is one.
    random : int
        q, effects of an animal.
    visits, residuals : int
        Classes of visit and reading SD.
    grouped : bool
        Whether animals nest in groups.
    observations : int
        n.
    basis : (m, p) float
        Combinations of u's columns that have a coefficient.
    offset : (m,) float
        The combination that is the outcome (less what is held fixed).
    reml : bool
    """

    parts: Sequence[Any]
    gather: Collect
    intercept: int
    random: int
    visits: int
    residuals: int
    grouped: bool
    observations: int
    basis: Array
    offset: Array
    reml: bool

    @cached_property
    def spread(self) -> Array:
        """Return how entries (raw: all of G, then the rest) follow from φ, (raw, φ)."""
        q = self.random
        rows, columns = lower_triangle(q)
        rest = int(self.grouped) + self.visits + self.residuals
        spread = np.zeros((q * q + rest, len(rows) + rest))
        spread[rows * q + columns, np.arange(len(rows))] = 1.0
        spread[columns * q + rows, np.arange(len(rows))] = 1.0
        spread[q * q :, len(rows) :] = np.eye(rest)
        return spread

    def value(self, variances: Variances) -> Value:
        """Return the criterion and the fixed effects at these variances."""
        blocks = self.gather(partial(partition.reduced, variances=variances), self.parts)
        products = sum(block.products for block in blocks)
        log_determinant = sum(block.log_determinant for block in blocks)
        total = products[0]
        if self.grouped:
            shrink, precision = self._group_shrinkage(products, variances)
            log_determinant += float(np.log1p(variances.group * precision).sum())
            edge = products[:, :, self.intercept]
            total = products.sum(axis=0) - np.einsum("g,gi,gj->ij", shrink, edge, edge)
        return self._profiled(total, log_determinant, products)

    def _profiled(self, total: Array, log_determinant: float, products: Array) -> Value:
        xx = self.basis.T @ total @ self.basis
        try:
            lower = np.linalg.cholesky(xx)
        except np.linalg.LinAlgError:
            raise FitError(
                "The fixed effects cannot be told apart at these variances: "
                "columns of the design are (almost) combinations of others."
            ) from None
        root = np.linalg.inv(lower).T
        coefficients = root @ (root.T @ (self.basis.T @ total @ self.offset))
        residual = self.offset - self.basis @ coefficients
        degrees = self.observations
        criterion = log_determinant + float(residual @ total @ residual)
        if self.reml:
            degrees -= len(xx)
            criterion += 2.0 * float(np.log(np.diag(lower)).sum())
        criterion += degrees * float(np.log(2.0 * np.pi))
        return Value(criterion, coefficients, residual, root, products)

    def _group_shrinkage(self, products: Array, variances: Variances) -> tuple[Array, Array]:
        precision = products[:, self.intercept, self.intercept]
        return variances.group / (1.0 + variances.group * precision), precision

    def derivatives(self, variances: Variances, value: Value) -> Derivatives:
        """Return the gradient and the average information in φ."""
        adjoint = np.outer(value.residual, value.residual)
        if self.reml:
            xs = self.basis @ value.root
            adjoint = adjoint + xs @ xs.T
        by_group, between = self._adjoints(variances, value, adjoint)
        vectors = self._vectors(variances, value, value.residual[:, None])
        ask = partial(partition.derivatives, variances=variances, adjoint=by_group, vectors=vectors)
        blocks = self.gather(ask, self.parts)
        random = sum(block[0].random for block in blocks)
        sessions = sum(block[0].sessions for block in blocks)
        gradient: Array = np.concatenate([random.ravel(), between, sessions]) @ self.spread
        curves = [block[1] for block in blocks]
        products = self._together(variances, value, value.residual[:, None], curves)
        moved = products.first[:, :, 0] @ self.basis @ value.root
        return Derivatives(gradient, products.second[:, :, 0] - moved @ moved.T)

    def _adjoints(
        self, variances: Variances, value: Value, adjoint: Array
    ) -> tuple[Array, list[float]]:
        """Return the derivative by each group's T, and that by the variance between groups."""
        if not self.grouped:
            return adjoint[None], []
        shrink, precision = self._group_shrinkage(value.products, variances)
        edge = value.products[:, :, self.intercept]
        moved = edge @ adjoint
        inner = np.einsum("gi,gi->g", moved, edge)
        by_group = np.repeat(adjoint[None], len(edge), axis=0)
        by_group[:, self.intercept] -= shrink[:, None] * moved
        by_group[:, :, self.intercept] -= shrink[:, None] * moved
        by_group[:, self.intercept, self.intercept] += shrink**2 * inner + shrink
        kept = 1.0 - shrink * precision
        return by_group, [float((kept * precision - kept**2 * inner).sum())]

    def _vectors(self, variances: Variances, value: Value, vectors: Array) -> Array:
        """Return vectors (m, K) less what the group effect takes off, by group."""
        if not self.grouped:
            return vectors[None]
        shrink, _ = self._group_shrinkage(value.products, variances)
        edge = value.products[:, :, self.intercept]
        by_group = np.repeat(vectors[None], len(edge), axis=0)
        by_group[:, self.intercept] -= shrink[:, None] * (edge @ vectors)
        return by_group

    def products(self, variances: Variances, value: Value, vectors: Array) -> Products:
        """Return first and second products of V's derivatives in φ with vectors (m, K)."""
        by_group = self._vectors(variances, value, vectors)
        ask = partial(_curvature, variances=variances, vectors=by_group)
        return self._together(variances, value, vectors, self.gather(ask, self.parts))

    def _together(
        self,
        variances: Variances,
        value: Value,
        vectors: Array,
        blocks: Sequence[partition.Curvature],
    ) -> Products:
        first = reduce(add, (block.products for block in blocks))
        second = reduce(add, (block.quadratic for block in blocks))
        if self.grouped:
            shrink, precision = self._group_shrinkage(value.products, variances)
            edge = value.products[:, :, self.intercept]
            first, second = self._with_group(first, second, edge, edge @ vectors, shrink, precision)
        # The spread on both sides of the table, for each of its last axis.
        tables = self.spread.T @ second.sum(axis=0).transpose(2, 0, 1) @ self.spread
        return Products(
            np.einsum("rmk,ra->amk", first.sum(axis=0), self.spread),
            tables.transpose(1, 2, 0),
        )

    def _with_group(
        self, first: Array, second: Array, edge: Array, et: Array, shrink: Array, precision: Array
    ) -> tuple[Array, Array]:
        """Carry products by group through the group effect and add its own variance."""
        kept = 1.0 - shrink * precision
        o, at = self.intercept, self.random**2
        ahead = first[:, :, o]
        second = second - np.einsum("g,gak,gbk->gabk", shrink, ahead, ahead)
        first = first - np.einsum("g,gm,gak->gamk", shrink, edge, ahead)
        t = kept[:, None] * et
        by_column = np.einsum("g,gm,gk->gmk", kept, edge, t)
        cross = first[:, :, o] * t[:, None]
        square = (kept * precision)[:, None] * t**2
        first = np.insert(first, at, by_column, axis=1)
        second = np.insert(second, at, cross, axis=1)
        column = np.insert(cross, at, square, axis=1)
        return first, np.insert(second, at, column, axis=2)

    def products_of_effects(self, variances: Variances, value: Value) -> Products:
        """Return products with the fixed effects' columns, scaled to XᵀV⁻¹X = I."""
        return self.products(variances, value, self.basis @ value.root)

    def expected_information(
        self, variances: Variances, value: Value, products: Products | None = None
    ) -> Array:
        """Return tr(P Va P Vb) over φ by REML, tr(V⁻¹ Va V⁻¹ Vb) by ML: E(Hessian).

        `products` are those of the effects, where they are known already.
        """
        plain = self.traces(variances, value)
        if not self.reml:
            return plain
        products = products or self.products_of_effects(variances, value)
        inner = value.root.T @ (self.basis.T @ products.first)
        twice = 2.0 * products.second.sum(axis=2)
        return plain - twice + np.einsum("aij,bij->ab", inner, inner)

    def traces(self, variances: Variances, value: Value) -> Array:
        """Return tr(V⁻¹ Va V⁻¹ Vb) over φ."""
        blocks = self.gather(partial(partition.traces, variances=variances), self.parts)
        raw: Array = np.sum(list(blocks), axis=0)
        if self.grouped:
            raw = self._traces_with_group(raw, variances, value)
        return self.spread.T @ raw @ self.spread

    def _traces_with_group(self, raw: Array, variances: Variances, value: Value) -> Array:
        shrink, precision = self._group_shrinkage(value.products, variances)
        unit = np.zeros((len(precision), len(self.offset), 1))
        unit[:, self.intercept] = 1.0
        blocks = self.gather(partial(_curvature, variances=variances, vectors=unit), self.parts)
        first = sum(block.products for block in blocks)[:, :, self.intercept, 0]
        second = sum(block.quadratic for block in blocks)[:, :, :, 0]
        raw = raw - 2.0 * np.einsum("g,gab->ab", shrink, second)
        raw = raw + np.einsum("g,ga,gb->ab", shrink**2, first, first)
        kept, at = 1.0 - shrink * precision, self.random**2
        cross = np.einsum("g,ga->a", kept**2, first)
        raw = np.insert(raw, at, cross, axis=0)
        column = np.insert(cross, at, float(((kept * precision) ** 2).sum()))
        return np.insert(raw, at, column, axis=1)

    def natural(self, variances: Variances) -> Array:
        """Return φ."""
        g = variances.factor @ variances.factor.T
        between = [variances.group] if self.grouped else []
        lower: Codes | Array = g[lower_triangle(self.random)]
        return np.concatenate([lower, between, variances.visit, variances.residual])


def _curvature(part: Any, variances: Variances, vectors: Array) -> partition.Curvature:
    return partition.curvature(part, partition.begin(part, variances), vectors)
