"""Mixtures of normals: what every answer of a trend is, with its probabilities and quantiles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from bpvet.errors import CallError
from bpvet.printing import ShortTable, decimals, number

Array = NDArray[np.float64]

_NEWTON_STEPS = 100


@dataclass(frozen=True, eq=False)
class Mixture:
    """A finite mixture of normal distributions, or one for each of several dates.

    Parameters
    ----------
    weights : (K,) float
        Non-negative, summing to 1.
    means, sds : (..., K) float
        Centre and SD of each part; leading axes are dates.

    Notes
    -----
    Every method returns a float where there is one distribution, else an array of the
    leading shape.
    """

    weights: Array
    means: Array
    sds: Array

    def __post_init__(self) -> None:
        for values in (self.weights, self.means, self.sds):
            values.flags.writeable = False

    @property
    def mean(self) -> float | Array:
        """Mean, in the unit of the parts."""
        return _plain(self.means @ self.weights)

    @property
    def sd(self) -> float | Array:
        """Standard deviation: of the parts and between them."""
        centre = self.means @ self.weights
        spread = self.sds**2 + (self.means - centre[..., None]) ** 2
        return _plain(np.sqrt(spread @ self.weights))

    def below(self, value: ArrayLike) -> float | Array:
        """Return the probability of lying at or below `value`."""
        return _plain(self._cdf(np.asarray(value, dtype=float)))

    def above(self, value: ArrayLike) -> float | Array:
        """Return the probability of lying above `value`."""
        # Not 1 − below: the upper tail keeps its digits.
        z = (self.means - np.asarray(value, dtype=float)[..., None]) / self.sds
        return _plain(ndtr(z) @ self.weights)

    def quantile(self, p: float) -> float | Array:
        """Return the value below which the probability is `p` (0 < p < 1)."""
        if not 0 < p < 1:
            raise CallError(f"a quantile needs a probability between 0 and 1, not {p}.")
        return _plain(self._quantile(p))

    def interval(self, level: float = 0.95) -> tuple[float | Array, float | Array]:
        """Return the ends of the central interval that holds probability `level`."""
        if not 0 < level < 1:
            raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
        return self.quantile((1 - level) / 2), self.quantile((1 + level) / 2)

    def shifted(self, by: ArrayLike) -> Mixture:
        """Return the mixture moved by `by` (a number, or one for each date)."""
        return Mixture(self.weights, self.means + np.asarray(by, dtype=float)[..., None], self.sds)

    def __repr__(self) -> str:
        return self._table().text()

    def _repr_html_(self) -> str:
        return self._table().html()

    def _table(self) -> ShortTable:
        low, high = (np.atleast_1d(end) for end in self.interval(0.95))
        mean, sd = np.atleast_1d(self.mean), np.atleast_1d(self.sd)
        digits = decimals(float(np.max(sd, initial=0.0)))
        rows = tuple(
            tuple(number(float(part[i]), digits) for part in (mean, sd, low, high))
            for i in range(mean.size)
        )
        return ShortTable("", ("mean", "sd", "2.5 %", "97.5 %"), rows)

    def _cdf(self, value: Array) -> Array:
        return np.asarray(ndtr((value[..., None] - self.means) / self.sds) @ self.weights)

    def _quantile(self, p: float) -> Array:
        """Newton steps kept inside a bracket that shrinks at every evaluation."""
        z = ndtri(p)
        ends = self.means + z * self.sds
        low, high = ends.min(axis=-1), ends.max(axis=-1)
        sd = np.asarray(self.sd)
        x = np.clip(np.asarray(self.mean) + z * sd, low, high)
        for _ in range(_NEWTON_STEPS):
            u = (x[..., None] - self.means) / self.sds
            excess = ndtr(u) @ self.weights - p
            slope = (np.exp(-0.5 * u * u) / self.sds) @ self.weights / np.sqrt(2 * np.pi)
            low, high = np.where(excess < 0, x, low), np.where(excess >= 0, x, high)
            with np.errstate(divide="ignore", invalid="ignore"):
                step = x - excess / slope
            inside = (step > low) & (step < high)
            new = np.where(inside, step, (low + high) / 2)
            moved = np.abs(new - x)
            x = new
            if np.all(moved <= 1e-13 * (np.abs(x) + sd)):
                break
        return x


def _plain(values: Array) -> float | Array:
    return float(values) if np.ndim(values) == 0 else values
