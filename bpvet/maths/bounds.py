"""Sessions with readings beyond the gauge: their likelihood, and its moments under a normal.

A reading "> U" in a session whose visit pressure is c says only that c + e > U, which has the
probability Φ((c − U)/sr); "< L" likewise. With k numbers of mean ȳ the session's likelihood is

    N(ȳ; c, sr²/k) · Π Φ((c − U)/sr) · Π Φ((L − c)/sr)

which is log-concave in c. Its product with a normal (the tilted distribution) is summed by 61
Gauss–Legendre points over the range where the log density lies within 20 of its top.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.gaussian import LOG_2PI, Array
from bpvet.maths.special import erfcx, log_ndtr
from bpvet.maths.tails import holds, tails

POINTS, COARSE = 61, 31
#: Readings beyond one bound for which tables are made.
MOST = 30
#: How far below its top a log density is followed: e^-20 of it is left out.
REACH = 20.0
_STEPS = 80
#: The place of the top, in its own SDs, and the depth of the ends, need not be known better: they
#: only frame a rule.
_NEAR, _SLACK = 0.1, 3.0
#: The largest φ(t)/Φ(t) for t ≥ 0.
_ROOT_2_PI = float(np.sqrt(2 / np.pi))
#: Beyond so many SDs below a limit the hazard is taken from its series.
_FAR_BELOW = 30.0


def _rule(points: int) -> tuple[Array, Array]:
    unit, weight = np.polynomial.legendre.leggauss(points)
    return unit, np.log(weight)


_FINE, _COARSE = _rule(POINTS), _rule(COARSE)


@dataclass(frozen=True, eq=False)
class Bounds:
    """The m sessions of one series that hold a reading beyond the gauge.

    Parameters
    ----------
    at : (m,) int
        Their positions among the sessions.
    guess : (m,) float
        Where each session's readings lie, roughly: its mean with bounds at their values.
    numbers : (m,) float
        Readings of each that are numbers.
    mean : (m,) float
        Mean of those; 0 where there is none.
    of : (q,) int
        For each distinct bound of a session, the session, 0 to m − 1.
    limit, side, count : (q,) float
        Where it lies; 1 for "> limit", −1 for "< limit"; readings that say so.
    """

    at: NDArray[np.int64]
    guess: Array
    numbers: Array
    mean: Array
    of: NDArray[np.int64]
    limit: Array
    side: Array
    count: Array

    @property
    def bare(self) -> NDArray[np.int64]:
        """Which of the m sessions hold no number at all."""
        return np.flatnonzero(self.numbers == 0)

    def site(self, session: int) -> Site:
        """Return the readings of one of the m sessions."""
        of_session = self.of == session
        return Site(
            float(self.numbers[session]),
            float(self.mean[session]),
            self.limit[of_session],
            self.side[of_session],
            self.count[of_session],
        )


@dataclass(frozen=True, eq=False)
class Site:
    """One session's readings, as in `Bounds`."""

    numbers: float
    mean: float
    limit: Array
    side: Array
    count: Array

    @property
    def tabled(self) -> bool:
        """Whether the readings beyond lie beyond one bound, so that tables hold what is asked."""
        return self.limit.size == 1 and self.count[0] <= MOST

    def log_likelihood(self, c: Array, reading: Array) -> Array:
        """Return the log-likelihood at visit pressures `c` where the reading variance is `reading`.

        The two broadcast. Densities of numbers, probabilities of bounds.
        """
        sr = np.sqrt(reading)
        value = np.zeros(np.broadcast_shapes(c.shape, reading.shape))
        for limit, side, count in zip(self.limit, self.side, self.count, strict=True):
            value += count * log_ndtr(side * (c - limit) / sr)
        if self.numbers:
            variance = reading / self.numbers
            value -= 0.5 * ((c - self.mean) ** 2 / variance + np.log(variance) + LOG_2PI)
        return value

    def slopes(self, c: Array, reading: Array) -> tuple[Array, Array]:
        """Return first and second derivative of the log-likelihood with respect to `c`."""
        sr = np.sqrt(reading)
        first, second = -self.numbers * (c - self.mean) / reading, -self.numbers / reading + 0 * c
        for limit, side, count in zip(self.limit, self.side, self.count, strict=True):
            t = side * (c - limit) / sr
            hazard, excess = _hazard(t)
            first = first + count * side * hazard / sr
            second = second - count * hazard * excess / reading
        return first, second

    def merged(self, mean: Array, variance: Array, reading: Array) -> tuple[Array, Array, Array]:
        """Return mean and variance of N(mean, variance) with the numbers, and their log density."""
        if not self.numbers:
            return mean, variance, np.zeros_like(mean)
        variance_of_mean = reading / self.numbers
        total = variance + variance_of_mean
        off = self.mean - mean
        density = -0.5 * (off * off / total + np.log(total) + LOG_2PI)
        return mean + variance / total * off, variance_of_mean * variance / total, density


def moments(
    site: Site, mean: Array, variance: Array, reading: Array, fine: bool = True
) -> tuple[Array, Array]:
    """Return mean and variance, (K,), of N(c; mean, variance) times a session's likelihood.

    Arguments as in `tilted`. From tables where they hold it.
    """
    if not site.tabled:
        found = tilted(site, mean, variance, reading, fine=fine)
        return found.mean, found.variance
    centre, merged_variance, _ = site.merged(mean, variance, reading)
    a, beta = _standard(site, centre, merged_variance, reading)
    pull, spread = tails(int(site.count[0])).moments(a, beta)
    centre, spread = (
        centre + site.side[0] * np.sqrt(merged_variance) * pull,
        merged_variance * spread,
    )
    rest = np.flatnonzero(~holds(a, beta))
    if rest.size:
        found = tilted(site, mean[rest], variance[rest], reading[rest], fine=fine)
        centre[rest], spread[rest] = found.mean, found.variance
    return centre, spread


def log_mass(site: Site, mean: Array, variance: Array, reading: Array, fine: bool = True) -> Array:
    """Return the log of the integral of that product, (K,)."""
    if not site.tabled:
        return tilted(site, mean, variance, reading, fine=fine).log_mass
    centre, merged_variance, value = site.merged(mean, variance, reading)
    a, beta = _standard(site, centre, merged_variance, reading)
    value = value + tails(int(site.count[0])).log_integral(a, beta)
    rest = np.flatnonzero(~holds(a, beta))
    if rest.size:
        value[rest] = tilted(site, mean[rest], variance[rest], reading[rest], fine=fine).log_mass
    return np.asarray(value)


def _standard(site: Site, mean: Array, variance: Array, reading: Array) -> tuple[Array, Array]:
    """Return a and β with which Φ(±(c − limit)/sr), c ~ N(mean, variance), is Φ(a + βz)."""
    sr = np.sqrt(reading)
    return site.side[0] * (mean - site.limit[0]) / sr, np.sqrt(variance) / sr


def _hazard(t: Array) -> tuple[Array, Array]:
    """Return h = φ(t)/Φ(t), and t + h.

    Far below the limit t + h is a difference of near equals, and lost where readings hardly
    scatter: there it is 1/x − 2/x³ + 10/x⁵ − 74/x⁷ with x = −t, from the series of Mills' ratio
    (Abramowitz and Stegun 26.2.12), which beyond 30 is right to 1e-8 of itself.
    """
    hazard = _ROOT_2_PI / erfcx(-t / np.sqrt(2.0))
    x = np.maximum(-t, _FAR_BELOW)
    series = 1 / x - 2 / x**3 + 10 / x**5 - 74 / x**7
    return hazard, np.where(-t > _FAR_BELOW, series, t + hazard)


@dataclass(frozen=True, eq=False)
class Tilted:
    """A normal times a session's likelihood, summed.

    Parameters
    ----------
    log_mass : (K,)
        Log of its integral.
    mean, variance : (K,)
        Its moments.
    point, weight : (K, 61)
        The points of the rule and what each weighs; the weights of each sum to 1.
    """

    log_mass: Array
    mean: Array
    variance: Array
    point: Array
    weight: Array


def tilted(
    site: Site,
    mean: Array,
    variance: Array,
    reading: Array,
    *,
    fine: bool = True,
) -> Tilted:
    """Return the product of N(c; mean, variance) and a session's likelihood, summed over c.

    Parameters
    ----------
    site : Site
        The session.
    mean, variance : (K,)
        The normal.
    reading : (K,)
        Reading variance sr².
    fine : bool
        Whether 61 points are taken; 31 do where many such sums are summed again.
    """
    unit, log_weight = _FINE if fine else _COARSE
    low, high = _range(site, mean, variance, reading)
    half = (high - low)[:, None] / 2
    point = (high + low)[:, None] / 2 + half * unit
    normal = -0.5 * ((point - mean[:, None]) ** 2 / variance[:, None] + LOG_2PI)
    log_mass = normal + site.log_likelihood(point, reading[:, None])
    log_mass += np.log(half) - 0.5 * np.log(variance)[:, None] + log_weight
    top = log_mass.max(axis=1, keepdims=True)
    weight = np.exp(log_mass - top)
    total = weight.sum(axis=1, keepdims=True)
    weight /= total
    centre = np.sum(weight * point, axis=1)
    spread = np.sum(weight * (point - centre[:, None]) ** 2, axis=1)
    return Tilted((top + np.log(total))[:, 0], centre, spread, point, weight)


def _range(site: Site, mean: Array, variance: Array, reading: Array) -> tuple[Array, Array]:
    """Return the ends of where the log density lies within `REACH` of its top, (K,) each."""

    def value(c: Array) -> Array:
        return -0.5 * (c - mean) ** 2 / variance + site.log_likelihood(c, reading)

    top = _top(site, mean, variance, reading)
    floor = value(top) - REACH
    ends = []
    for side in (-1.0, 1.0):
        # Outside of the range, for the normal alone falls as fast.
        end = top + side * np.sqrt(2 * (REACH + _SLACK) * variance)
        for _ in range(_STEPS):
            gap = value(end) - floor
            off = np.abs(gap) > _SLACK
            if not np.any(off):
                break
            first, second = site.slopes(end, reading)
            first, second = first - (end - mean) / variance, second - 1 / variance
            # The near root of the local parabola; without one, the tangent's.
            root = np.sqrt(np.maximum(first * first - 2 * second * gap, 0.0))
            end = np.where(off, end - 2 * gap / (first - side * root), end)
        ends.append(end)
    return ends[0], ends[1]


def _top(site: Site, mean: Array, variance: Array, reading: Array) -> Array:
    """Return where the density is highest, (K,), by Newton's steps inside a bracket."""
    means = [site.mean] if site.numbers else []
    above, below = site.side > 0, site.side < 0
    push = _ROOT_2_PI * variance / np.sqrt(reading)
    high = np.maximum(mean, max([*means, *site.limit[above]], default=-np.inf))
    high = high + push * site.count[above].sum()
    low = np.minimum(mean, min([*means, *site.limit[below]], default=np.inf))
    low = low - push * site.count[below].sum()
    # Beyond the last bound a normal that lies there is hardly bent.
    c = np.clip(mean, low, high) if site.numbers == 0 else np.clip(site.mean + 0 * mean, low, high)
    for _ in range(_STEPS):
        first, second = site.slopes(c, reading)
        first, second = first - (c - mean) / variance, second - 1 / variance
        low, high = np.where(first >= 0, c, low), np.where(first <= 0, c, high)
        step = c - first / second
        step = np.where((step >= low) & (step <= high), step, (low + high) / 2)
        moved = np.abs(step - c) * np.sqrt(-second)
        c = step
        if np.all(moved < _NEAR):
            break
    return c
