"""Mixtures of normals: what every answer of a trend is, with its probabilities and quantiles."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.maths.special import ndtr, ndtri
from bpvet.printing import ShortTable, decimals, number

Array = NDArray[np.float64]

_STEPS = 100
#: Halves of an interval of whatever numbers, until none lies between its ends.
_HALVES = 120
#: A step of this share of the narrowest SD leaves its cube behind, which is nothing.
_SMALL = 3e-5
#: Numbers that are worked on at once: a processor's cache holds a dozen arrays of them, and memory
#: for larger ones is asked of the system each time.
_BLOCK = 12_000
#: As far as this the bend of the distribution function changes a step.
_BENT = 0.5
SCALES = ("plain", "log", "percent")


@dataclass(frozen=True, eq=False)
class Mixture(Content):
    """A finite mixture of normal distributions, or one for each of several dates.

    Parameters
    ----------
    weights : (K,) float
        Non-negative, summing to 1.
    means, sds : (..., K) float
        Centre and SD of each part; leading axes are dates.
    scale : str
        ``plain``: the parts are in the unit. ``log``: they are logarithms, and every answer is
        on the scale of the values. ``percent``: they are changes of a logarithm, and every
        answer is a change in per cent.

    Notes
    -----
    Every method returns a float where there is one distribution, else an array of the
    leading shape. On the scales ``log`` and ``percent`` `mean` is the median and `sd` is NaN:
    a standard deviation says nothing there that the interval does not say better.
    """

    weights: Array
    means: Array
    sds: Array
    scale: str = "plain"

    def __post_init__(self) -> None:
        if self.scale not in SCALES:
            raise CallError(f"a mixture's scale is one of {', '.join(SCALES)}, not {self.scale}.")
        for values in (self.weights, self.means, self.sds):
            values.flags.writeable = False

    @property
    def mean(self) -> float | Array:
        """Mean, in the unit; the median on a scale that is not plain."""
        if self.scale != "plain":
            return self.quantile(0.5)
        return _plain(self.means @ self.weights)

    @property
    def sd(self) -> float | Array:
        """Standard deviation, of the parts and between them; NaN on a scale that is not plain."""
        if self.scale != "plain":
            return _plain(np.full(self.means.shape[:-1], np.nan))
        return _plain(self.spread)

    @property
    def spread(self) -> Array:
        """Standard deviation on the scale of the parts, whatever that is."""
        centre = self.means @ self.weights
        spread = self.sds**2 + (self.means - centre[..., None]) ** 2
        return np.sqrt(spread @ self.weights)

    def below(self, value: ArrayLike) -> float | Array:
        """Return the probability of lying at or below `value`."""
        return _plain(self._beside(self._inward(value), 1.0))

    def above(self, value: ArrayLike) -> float | Array:
        """Return the probability of lying above `value`."""
        # Not 1 − below: the upper tail keeps its digits.
        return _plain(self._beside(self._inward(value), -1.0))

    def _beside(self, value: Array, sign: float) -> Array:
        """Return the probability of lying at or below a value (sign 1), or above it (−1)."""
        many = max(1, _BLOCK // self.weights.size)
        if self.means.ndim != 2 or len(self.means) <= many or value.ndim > 1:
            z = self._standard(value, at_mean=np.inf)
            return np.asarray(ndtr(z if sign > 0 else -z) @ self.weights)
        found, values = np.empty(len(self.means)), np.broadcast_to(value, len(self.means))
        for begin in range(0, len(found), many):
            some = slice(begin, begin + many)
            part = Mixture(self.weights, self.means[some], self.sds[some])
            found[some] = part._beside(values[some], sign)
        return found

    def quantile(self, p: float) -> float | Array:
        """Return the value below which the probability is `p` (0 < p < 1)."""
        if not 0 < p < 1:
            raise CallError(f"a quantile needs a probability between 0 and 1, not {p}.")
        return _plain(self._outward(self._quantile(p)))

    def interval(self, level: float = 0.95) -> tuple[float | Array, float | Array]:
        """Return the ends of the central interval that holds probability `level`."""
        if not 0 < level < 1:
            raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
        return self.quantile((1 - level) / 2), self.quantile((1 + level) / 2)

    def first(self) -> Mixture:
        """Return the distribution of the first date."""
        return Mixture(self.weights, self.means[0], self.sds[0], self.scale)

    def _inward(self, value: ArrayLike) -> Array:
        """Return values as the parts hold them."""
        values = np.asarray(value, dtype=float)
        if self.scale == "plain":
            return values
        with np.errstate(divide="ignore", invalid="ignore"):
            if self.scale == "log":
                return np.where(values > 0, np.log(values), -np.inf)
            return np.where(values > -100, np.log1p(values / 100), -np.inf)

    def _outward(self, values: Array) -> Array:
        """Return what the parts hold as values."""
        if self.scale == "log":
            return np.exp(values)
        return 100 * np.expm1(values) if self.scale == "percent" else values

    def __reduce__(self) -> tuple[type[Mixture], tuple[Any, ...]]:
        # Made again, so that its arrays are read-only wherever it goes.
        return Mixture, (self.weights, self.means, self.sds, self.scale)

    def __repr__(self) -> str:
        return self._table().brief()

    def _repr_html_(self) -> str:
        return self._table().html()

    def _table(self) -> ShortTable:
        low, high = (np.atleast_1d(end) for end in self.interval(0.95))
        mean, sd = np.atleast_1d(self.mean), np.atleast_1d(self.sd)
        width = np.where(np.isnan(sd), (high - low) / 4, sd)
        digits = decimals(float(np.max(width, initial=0.0)))
        rows = tuple(
            tuple(number(float(row[i]), digits) for row in (mean, sd, low, high))
            for i in range(mean.size)
        )
        return ShortTable("", ("mean", "sd", "2.5 %", "97.5 %"), rows)

    def _standard(self, value: Array, at_mean: float = 0.0) -> Array:
        """Return how many SDs of each part values lie above its mean.

        A part without spread, such as the effect of a drug on the day before its start, lies at
        its mean; what stands there for a value at that mean is up to the caller.
        """
        off = value[..., None] - self.means
        if self.sds.all():
            return off / self.sds
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where((off == 0) & (self.sds == 0), at_mean, off / self.sds)

    def _quantile(self, p: float) -> Array:
        many = max(1, _BLOCK // self.weights.size)
        if self.means.ndim != 2 or len(self.means) <= many:
            return self._searched(p, 0.0)
        # Dates that follow each other are alike: where one's quantile lies, the next one's is near.
        found, beside = np.empty(len(self.means)), 0.0
        normal = float(ndtri(p))
        for begin in range(0, len(found), many):
            some = slice(begin, begin + many)
            part = Mixture(self.weights, self.means[some], self.sds[some])
            found[some] = part._searched(p, beside)
            centre, sd = self.means[some][-1] @ self.weights, float(part.spread[-1])
            off = (found[some][-1] - centre) / sd - normal if sd > 0 else 0.0
            beside = off if np.isfinite(off) else 0.0
        return found

    def _searched(self, p: float, beside: float) -> Array:
        """Halley's steps kept inside a bracket that shrinks at every evaluation.

        A step leaves an error of the order of its own size cubed, over the squared SD of a part:
        after one that is small beside the narrowest part nothing is left to be looked for. They
        begin where a normal of the same mean and SD has its quantile, `beside` SDs from there.
        """
        z = ndtri(p)
        ends = self.means + z * self.sds
        low, high = ends.min(axis=-1), ends.max(axis=-1)
        sd, narrow = np.asarray(self.spread), _SMALL * self.sds.min(axis=-1)
        x = np.clip(np.asarray(self.means @ self.weights) + (z + beside) * sd, low, high)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            precision = 1 / self.sds
            heights = self.weights * precision / np.sqrt(2 * np.pi)
            for _ in range(_STEPS):
                u = self._standard(x)
                excess = ndtr(u) @ self.weights - p
                low, high = np.where(excess < 0, x, low), np.where(excess >= 0, x, high)
                density = heights * np.exp(-0.5 * u * u)
                slope = density.sum(axis=-1)
                density *= u
                density *= precision
                newton = excess / slope
                bent = 1 + 0.5 * newton * density.sum(axis=-1) / slope
                # Far from the quantile the bend says nothing: there it is Newton's step.
                step = x - np.where(np.abs(bent - 1) <= _BENT, newton / bent, newton)
                # An end is inside: a date that has arrived waits there for the others.
                inside = (step >= low) & (step <= high)
                new = np.where(inside, step, (low + high) / 2)
                moved = np.abs(new - x)
                x = new
                if np.all((moved <= 1e-13 * (np.abs(x) + sd)) | (inside & (moved <= narrow))):
                    return x
        return self._halved(p, low, high)

    def _halved(self, p: float, low: Array, high: Array) -> Array:
        """Return the quantile between two values by halves: slow, and sure.

        Parts as narrow as a hundred-millionth of others can lead steps astray for ever.
        """
        for _ in range(_HALVES):
            x = (low + high) / 2
            below = ndtr(self._standard(x)) @ self.weights < p
            low, high = np.where(below, x, low), np.where(below, high, x)
        return (low + high) / 2


def _plain(values: Array) -> float | Array:
    return float(values) if values.ndim == 0 else values
