"""End digits and repeats of readings: what a dial and a hand leave in the numbers."""

from __future__ import annotations

from math import log, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from bpvet.frozen import dataclass

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

EXACT = "exact"
SADDLE_POINT = "saddle-point approximation"
#: Up to as many arrangements are counted.
_MOST_EXACT = 50_000_000
#: Squared lengths that are looked at in one go.
_AT_ONCE = 2_000_000
#: Points on the path of the saddle-point integral, and e^−this is nothing beside its middle.
_POINTS, _NOTHING = 1_201, 45.0
#: The second order changes a tail by this factor at most.
_MOST_CHANGE = 10.0


@dataclass(frozen=True)
class DigitTest:
    """How often each end digit comes, against none being preferred.

    Parameters
    ----------
    step : int
        What the instrument is read to: 2 on a dial, 1 on a display.
    digits : tuple of int
        The end digits that the step allows.
    counts : tuple of int
        How often each came.
    off_step : int
        Readings between the steps; they are in no count.
    chi_square : float
        Σ (count − expected)²/expected over the digits.
    p : float or None
        Share of arrangements without preference that are as uneven; None without readings.
    how : str
        ``exact``, or ``saddle-point approximation``; blank without readings.
    """

    step: int
    digits: tuple[int, ...]
    counts: tuple[int, ...]
    off_step: int
    chi_square: float
    p: float | None
    how: str


def end_digits(values: ArrayLike, session: ArrayLike, step: int) -> DigitTest:
    """Test whether end digits are preferred.

    Without preference, turning all readings of a session by one random amount changes nothing,
    so the test asks how often the digits come out as uneven when each session is turned at random.
    Readings of one session, which lie close together, are thereby not counted as independent.

    Up to fifty million arrangements are counted: 12 sessions on a dial of 2, 8 on a display.
    Beyond, the law of the statistic follows from its moment generating function, to second order
    in the number of sessions (`_tail_beyond`): at the fewest sessions within 0.01 of the share, and
    within a tenth of one above 0.001; nearer with more sessions. Of a share far below 0.001 it
    tells no more than that.

    Parameters
    ----------
    values : (n,) float
        Readings, mmHg; those that are no whole numbers are off the step.
    session : (n,) int
        The session of each.
    step : int
        1, 2, 5: what the instrument is read to.
    """
    y, group = np.asarray(values, dtype=float), np.asarray(session, dtype=np.int64)
    on = np.mod(y, step) == 0
    size = 10 // step
    digit = (np.mod(y[on], 10) / step).astype(np.int64)
    _, code = np.unique(group[on], return_inverse=True)
    sessions = int(code.max(initial=-1)) + 1
    table = np.bincount(code * size + digit, minlength=sessions * size).reshape(sessions, size)
    counts = table.sum(axis=0)
    n = int(counts.sum())
    p, how = _tail(table.astype(float)) if sessions else (None, "")
    return DigitTest(
        step=step,
        digits=tuple(range(0, 10, step)),
        counts=tuple(int(count) for count in counts),
        off_step=int(np.sum(~on)),
        chi_square=float(np.sum((counts - n / size) ** 2) / (n / size)) if n else 0.0,
        p=p,
        how=how,
    )


def _tail(table: Array) -> tuple[float, str]:
    """Return the share of turns that leave counts (sessions, size) as uneven, and how it is known.

    The total being fixed, counts are as uneven as their sum of squares is large: a whole number.
    """
    sessions, size = table.shape
    if (sessions - 1) * log(size) <= log(_MOST_EXACT) + 1e-9:
        return _counted(table), EXACT
    return max(_tail_beyond(table), float(size) ** (1 - sessions)), SADDLE_POINT


def _counted(table: Array) -> float:
    """Return the share of all turns that leave the counts as uneven.

    Turning all sessions alike changes nothing: the first stays. All turns of one half of the
    others are laid beside all turns of the other half.
    """
    middle = (len(table) + 1) // 2
    left, right = table[:1], np.zeros((1, table.shape[1]))
    for row in table[1:middle]:
        left = _with_turns(left, row)
    for row in table[middle:]:
        right = _with_turns(right, row)
    observed = float(np.sum(table.sum(axis=0) ** 2))
    beyond, squares = 0, (right**2).sum(axis=1)
    rows = max(1, _AT_ONCE // len(right))
    for begin in range(0, len(left), rows):
        some = left[begin : begin + rows]
        length = 2.0 * some @ right.T + (some**2).sum(axis=1)[:, None] + squares
        beyond += int(np.count_nonzero(length >= observed - 0.5))
    return beyond / (len(left) * len(right))


def _with_turns(sums: Array, row: Array) -> Array:
    """Return each of the sums (n, size) with every turn of a session's counts added."""
    turns = np.stack([np.roll(row, shift) for shift in range(len(row))])
    return (sums[:, None] + turns).reshape(-1, len(row))


def _tail_beyond(table: Array) -> float:
    """Return the share of turns that leave the counts as uneven, from their generating function.

    Let F_s(m) be the discrete Fourier transform of a session's counts: a turn of u multiplies it
    by e^(2πi·mu/size), so that F(m) = Σ_s F_s(m), m ≠ 0, has mean 0 and variance
    A_m = Σ_s |F_s(m)|², and no two frequencies are correlated but conjugates. The statistic is
    Σ |F(m)|²/n over m ≠ 0; were the F(m) normal, its moment generating function would be
    Π (1 − 2tA_m/n)^(−1/2). Their third and fourth cumulants multiply it by 1 + c(t),

        c = −¼ Σ D_m² Σ_s |F_s(m)|⁴ + (1/12) Σ D_m D_m' D_m″ |Σ_s F_s(m) F_s(m') F_s(m″)|²

    over m + m' + m″ = 0, with D_m = (2t/n)/(1 − 2tA_m/n): the Edgeworth term of a quadratic form.
    The tail is the integral of that function times e^(−tq)/t along a path through its saddle
    point, half a step of the statistic below what was seen (its values are discrete).
    """
    n, size = float(table.sum()), table.shape[1]
    f = np.fft.fft(table, axis=1)[:, 1:]
    power = np.abs(f) ** 2
    weight = power.sum(axis=0) / n
    counts = table.sum(axis=0)
    lengths = float(counts @ counts)
    at = size / n * (lengths - 1.0) - n
    if size == 2:
        at = (abs(float(counts[0] - counts[1])) - 1.0) ** 2 / n
    if at <= 0 or not weight.any():
        return 1.0
    change = _Change(n, weight, (power**2).sum(axis=0), _triples(f))
    return float(min(max(_beyond(at, weight, change), 0.0), 1.0))


def _triples(f: Complex) -> Array:
    """Return |Σ_s F_s(m) F_s(m') F_s(−m − m')|² (size − 1, size − 1), 0 where m + m' = 0."""
    size = f.shape[1] + 1
    result = np.zeros((size - 1, size - 1))
    for m in range(1, size):
        for k in range(m, size):
            if (m + k) % size:
                third = f[:, (-m - k) % size - 1]
                total = np.sum(f[:, m - 1] * f[:, k - 1] * third)
                result[m - 1, k - 1] = result[k - 1, m - 1] = abs(total) ** 2
    return result


@dataclass(frozen=True, eq=False)
class _Change:
    """What a generating function has beside that of normal sums: 1 + c(t) of `_tail_beyond`."""

    n: float
    weight: Array
    fourth: Array
    third: Array

    def __call__(self, t: NDArray[Any]) -> NDArray[Any]:
        d = (2.0 * t[:, None] / self.n) / (1.0 - 2.0 * t[:, None] * self.weight)
        size = len(self.weight) + 1
        m = np.arange(1, size)
        last = (-m[:, None] - m) % size - 1  # Where it would be 0, `third` is 0.
        moved = np.einsum("tm,tk,tmk,mk->t", d, d, d[:, last], self.third)
        return moved / 12.0 - d**2 @ self.fourth / 4.0


def _beyond(at: float, weight: Array, change: _Change) -> float:
    """Return P(Σ weight · χ²₁ ≥ at), its generating function multiplied by 1 + `change`."""
    edge = 1.0 / (2.0 * float(weight.max()))

    def slope(t: float) -> float:
        return float(np.sum(weight / (1.0 - 2.0 * weight * t))) - at - 1.0 / t

    middle = float(brentq(slope, 1e-12 * edge, edge * (1.0 - 1e-12), xtol=1e-14 * edge))
    # A parabola open to the right: away from the saddle point the integrand falls as e^(−at·by²).
    bend = 1.0 / (2.0 * edge)
    far = sqrt(_NOTHING / (at * bend))
    y = np.linspace(0.0, far, _POINTS)
    t = middle + 1j * y + bend * y**2
    logs = -0.5 * np.log(1.0 - 2.0 * t[:, None] * weight).sum(axis=1) - t * at - np.log(t)
    plain = np.exp(logs) * (1j + 2.0 * bend * y) / 1j
    without, whole = (
        float(np.trapezoid(values.real, y) / np.pi) for values in (plain, plain * (1.0 + change(t)))
    )
    # In the farthest tails, of few sessions, the second order is no longer small beside the first.
    return min(max(whole, without / _MOST_CHANGE), without * _MOST_CHANGE)


def repeats_expected(sd: float, step: float) -> float:
    """Return the share of consecutive readings that are equal if nothing but scatter is at work.

    Two normal readings of one mean, each read to `step`, the mean anywhere between two steps.

    Parameters
    ----------
    sd : float
        SD of readings, mmHg.
    step : float
        What the instrument is read to, mmHg.
    """
    if sd <= 0:
        return 1.0
    tau = sd * np.sqrt(2)
    z = step / tau
    bell = (1 - np.exp(-(z**2) / 2)) / np.sqrt(2 * np.pi)
    return float(2 * ndtr(z) - 1 - 2 * bell / z)
