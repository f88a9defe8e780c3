"""A normal times a power of the normal distribution function: its integral and moments, tabulated.

For a session whose n readings all lie beyond one bound, what is asked again and again is

    ∫ N(z; 0, 1) Φ(a + βz)^n dz

and the mean and variance of z under that density. They are smooth functions of u = a/√(1 + β²) and
asinh(√n β), even about β = 0: summed once on a grid, splines of fifth order give them to 1e-6.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.gaussian import LOG_2PI, Array
from bpvet.maths.special import compiled_module, expit, log_ndtr

#: The rectangle that the tables hold. Above HIGH a bound says nothing.
LOW, HIGH, STEEPEST = -400.0, 9.0, 1000.0
#: Grid steps in asinh(u/4) and asinh(√n β), and steps beyond an edge: the spline's own ends lie
#: outside.
_STEPS, _MARGIN, _CLOSE = (0.075, 0.15), 14, 4.0
#: Each integral is summed in three panels: Φ bends where its argument lies within this of 0.
_BEND = 6.0
_UNIT, _WEIGHT = np.polynomial.legendre.leggauss(32)
#: How far below its top a log density is followed.
_REACH = 20.0
_HALVINGS = 40
_LOWEST = float(np.arcsinh(LOW / _CLOSE))
#: The order of the splines.
_ORDER: Final = 5
#: SciPy's numbers for what lies beyond an edge.
_MIRRORED, _CONSTANT = 3, 4


@dataclass(frozen=True, eq=False)
class Tails:
    """Spline coefficients for one power n, each (U, B) over u and asinh(√n β).

    Parameters
    ----------
    count : int
        n.
    log_mass
        Of the log integral, less what `_leading` says of it.
    pull
        Of the mean of z, over β/√(1 + β²), less the same.
    narrowing
        Of 1 less the variance of z, over β²/(1 + β²), less the same.
    """

    count: int
    log_mass: Array
    pull: Array
    narrowing: Array

    def log_integral(self, a: Array, beta: Array) -> Array:
        """Return the log integral at places `a` and `beta` of one shape.

        What lies outside of the rectangle comes from its edge; `holds` tells.
        """
        u, beta, _ = _inside(a, beta)
        return _leading(u, beta, self.count)[0] + self._interpolated_at(self.log_mass, u, beta)

    def moments(self, a: Array, beta: Array) -> tuple[Array, Array]:
        """Return mean and variance of z; arguments as in `log_integral`."""
        u, beta, sine = _inside(a, beta)
        _, pull, narrowing = _leading(u, beta, self.count)
        pull = pull + self._interpolated_at(self.pull, u, beta)
        narrowing = narrowing + self._interpolated_at(self.narrowing, u, beta)
        return pull * sine, 1 - narrowing * sine * sine

    def _interpolated_at(self, coefficients: Array, u: Array, beta: Array) -> Array:
        rows = (np.arcsinh(u / _CLOSE) - _LOWEST) / _STEPS[0] + _MARGIN
        columns = np.arcsinh(np.sqrt(self.count) * beta) / _STEPS[1]
        coordinates = np.stack([rows, columns])
        return _interpolated(coefficients, coordinates)


def _inside(a: Array, beta: Array) -> tuple[Array, Array, Array]:
    """Return u and β, within the rectangle, and β/√(1 + β²)."""
    length = np.hypot(1.0, beta)
    return np.clip(a / length, LOW, HIGH), np.minimum(beta, STEEPEST), beta / length


def _leading(u: Array, beta: Array, count: int) -> tuple[Array, Array, Array]:
    """Return what grows without end below: log integral, pull and narrowing where Φ is a normal.

    Φ(t) is about exp(−t²/2) there; above, the three fade out smoothly.
    """
    ratio = count * (1 + beta * beta) / (1 + count * beta * beta)
    below = np.logaddexp(0.0, -u)
    return -0.5 * below * below * ratio, below * ratio, ratio * expit(-u)


def holds(a: Array, beta: Array) -> NDArray[np.bool_]:
    """Return where the tables hold."""
    return np.asarray((a >= LOW * np.hypot(1.0, beta)) & (beta <= STEEPEST))


@lru_cache(maxsize=32)
def tails(count: int) -> Tails:
    """Return the tables for `count` readings."""
    wide = int(np.ceil((np.arcsinh(HIGH / _CLOSE) - _LOWEST) / _STEPS[0]))
    tall = int(np.ceil(np.arcsinh(np.sqrt(count) * STEEPEST) / _STEPS[1]))
    u = _CLOSE * np.sinh(_LOWEST + _STEPS[0] * np.arange(-_MARGIN, wide + _MARGIN + 1))
    # From 0 on, about which the splines are mirrored, as the functions are.
    beta = np.sinh(_STEPS[1] * np.arange(tall + _MARGIN + 1)) / np.sqrt(count)
    u, beta = np.meshgrid(u, beta, indexing="ij")
    length = np.hypot(1.0, beta)[:, 1:]
    log_mass, mean, variance = _summed((u[:, 1:] * length).ravel(), beta[:, 1:].ravel(), count)
    sine = beta[:, 1:] / length
    tables = (
        log_mass.reshape(sine.shape),
        mean.reshape(sine.shape) / sine,
        (1 - variance.reshape(sine.shape)) / sine**2,
    )
    flat, leading = _flat(u[:, 0], count), _leading(u, beta, count)
    parts = (
        np.concatenate([first[:, None], rest], axis=1) - less
        for first, rest, less in zip(flat, tables, leading, strict=True)
    )
    return Tails(count, *map(_filtered, parts))


@cache
def _splines() -> Any:
    """Return SciPy's compiled module of splines; None where it is not as it is called here.

    Importing ``scipy.ndimage`` takes two fifths as long as pandas (`bpvet.maths.special`). Its own
    functions do no more for such tables than what stands below; where a version of SciPy has
    another module, they are asked.
    """
    try:
        module = compiled_module("scipy.ndimage", "_nd_image")
        module.spline_filter1d(np.zeros((2, 2)), _ORDER, 0, np.zeros((2, 2)), _MIRRORED)
        _transformed(module, np.zeros((6, 6)), np.zeros((2, 1)))
    except (ImportError, AttributeError, TypeError, RuntimeError):
        return None
    return module


def _filtered(table: Array) -> Array:
    """Return the coefficients of the splines through a table (R, C), mirrored at its edges."""
    module = _splines()
    if module is None:
        from scipy.ndimage import spline_filter

        return np.asarray(spline_filter(table, order=_ORDER))
    found = np.zeros(table.shape)
    module.spline_filter1d(table, _ORDER, 0, found, _MIRRORED)
    module.spline_filter1d(found, _ORDER, 1, found, _MIRRORED)
    return found


def _interpolated(coefficients: Array, places: Array) -> Array:
    """Return the splines of coefficients (R, C) at places (2, ...) of their rows and columns."""
    module = _splines()
    if module is None:
        from scipy.ndimage import map_coordinates

        return np.asarray(map_coordinates(coefficients, places, order=_ORDER, prefilter=False))
    return _transformed(module, coefficients, places)


def _transformed(module: Any, coefficients: Array, places: Array) -> Array:
    found = np.zeros(places.shape[1:])
    nothing = (None, None)
    module.geometric_transform(
        coefficients, None, places, *nothing, found, _ORDER, _CONSTANT, 0.0, 0, *nothing
    )
    return found


def _flat(u: Array, count: int) -> tuple[Array, Array, Array]:
    """Return log integral, pull and narrowing at β = 0: value and slopes of n log Φ."""
    log_phi = log_ndtr(u)
    hazard = np.exp(-0.5 * (u * u + LOG_2PI) - log_phi)
    return count * log_phi, count * hazard, count * hazard * (hazard + u)


def _summed(a: Array, beta: Array, count: int) -> tuple[Array, Array, Array]:
    """Return log integral, mean and variance of z at (Q,) places, by three panels each."""
    low, high = _range(a, beta, count)
    inner = [np.clip((side * _BEND - a) / beta, low, high) for side in (-1.0, 1.0)]
    edges = np.stack([low, *inner, high], axis=1)
    half = np.diff(edges, axis=1) / 2
    z = ((edges[:, 1:] + edges[:, :-1]) / 2)[:, :, None] + half[:, :, None] * _UNIT
    density = _log_density(z, a[:, None, None], beta[:, None, None], count)
    top = density.max(axis=(1, 2))
    weight = np.exp(density - top[:, None, None]) * half[:, :, None] * _WEIGHT
    total = weight.sum(axis=(1, 2))
    mean = np.sum(weight * z, axis=(1, 2)) / total
    off = z - mean[:, None, None]
    return top + np.log(total), mean, np.sum(weight * off * off, axis=(1, 2)) / total


def _log_density(z: Array, a: Array, beta: Array, count: int) -> Array:
    return np.asarray(-0.5 * (z * z + LOG_2PI) + count * log_ndtr(a + beta * z))


def _range(a: Array, beta: Array, count: int) -> tuple[Array, Array]:
    """Return where the log density lies `_REACH` below its top, on either side, by halving."""

    def slope(z: Array) -> Array:
        t = a + beta * z
        return np.asarray(count * beta * np.exp(-0.5 * (t * t + LOG_2PI) - log_ndtr(t)) - z)

    # The slope falls. It is positive at 0, and negative both where the pull at 0 alone would lead
    # and where Φ is all but 1.
    zero = np.zeros_like(a)
    far = np.minimum(slope(zero), np.maximum(8 - a, 0) / beta + 1)
    top = _halved(zero, far, lambda z: slope(z) > 0)
    floor = _log_density(top, a, beta, count) - _REACH
    wide = np.sqrt(2 * _REACH)

    def inside(z: Array) -> NDArray[np.bool_]:
        return np.asarray(_log_density(z, a, beta, count) > floor)

    return _halved(top, top - wide, inside), _halved(top, top + wide, inside)


def _halved(near: Array, far: Array, holds_at: Callable[[Array], NDArray[np.bool_]]) -> Array:
    """Return where a condition that holds at `near` ceases, on the way to `far`."""
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        good = holds_at(middle)
        near, far = np.where(good, middle, near), np.where(good, far, middle)
    return far
