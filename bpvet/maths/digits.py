"""End digits and repeats of readings: what a dial and a hand leave in the numbers."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

#: Up to as many arrangements are gone through one by one; beyond it they are drawn.
_MOST_EXACT = 20_000
_DRAWS = 4999
_CHUNK = 200


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
        ``exact``, or ``simulated, … draws``.
    """

    step: int
    digits: tuple[int, ...]
    counts: tuple[int, ...]
    off_step: int
    chi_square: float
    p: float | None
    how: str


def end_digits(values: ArrayLike, session: ArrayLike, step: int, seed: int = 0) -> DigitTest:
    """Test whether end digits are preferred.

    Without preference, turning all readings of a session by one random amount changes nothing,
    so the test turns each session at random and asks how often the digits come out as uneven.
    Readings of one session, which lie close together, are thereby not counted as independent.

    Parameters
    ----------
    values : (n,) float
        Readings, mmHg; those that are no whole numbers are off the step.
    session : (n,) int
        The session of each.
    step : int
        1, 2, 5: what the instrument is read to.
    seed : int
        Of the draws, where there are too many arrangements to go through.
    """
    y, group = np.asarray(values, dtype=float), np.asarray(session, dtype=np.int64)
    on = np.mod(y, step) == 0
    size = 10 // step
    digit = (np.mod(y[on], 10) / step).astype(np.int64)
    _, code = np.unique(group[on], return_inverse=True)
    table = np.zeros((int(code.max(initial=-1)) + 1, size))
    np.add.at(table, (code, digit), 1)
    counts = table.sum(axis=0)
    observed = _chi_square(counts[None])[0]
    p, how = _tail(table, float(observed), seed)
    return DigitTest(
        step=step,
        digits=tuple(range(0, 10, step)),
        counts=tuple(int(count) for count in counts),
        off_step=int(np.sum(~on)),
        chi_square=float(observed),
        p=p,
        how=how,
    )


def _chi_square(counts: Array) -> Array:
    """Return the statistic of each row of counts, (m,)."""
    expected = counts.sum(axis=1, keepdims=True) / counts.shape[1]
    squares = (counts - expected) ** 2
    return np.sum(np.divide(squares, expected, out=0 * squares, where=expected > 0), axis=1)


def _tail(table: Array, observed: float, seed: int) -> tuple[float | None, str]:
    sessions, size = table.shape
    if not sessions:
        return None, ""
    turned = np.stack([np.roll(table, shift, axis=1) for shift in range(size)], axis=1)
    rows = np.arange(sessions)
    close = observed - 1e-9
    if size**sessions <= _MOST_EXACT:
        ways = np.array(list(product(range(size), repeat=sessions)))
        found = _chi_square(turned[rows, ways].sum(axis=1))
        return float(np.mean(found >= close)), "exact"
    rng = np.random.default_rng(seed)
    as_uneven, left = 0, _DRAWS
    while left:
        many = min(_CHUNK, left)
        ways = rng.integers(size, size=(many, sessions))
        as_uneven += int(np.sum(_chi_square(turned[rows, ways].sum(axis=1)) >= close))
        left -= many
    return (1 + as_uneven) / (1 + _DRAWS), f"simulated, {_DRAWS} draws"


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
