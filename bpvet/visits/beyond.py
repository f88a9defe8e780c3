"""Readings beyond the gauge: "> 300" and "< 40" are kept as bounds, never as numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass

#: The sense of a bound as it stands in the records, its sign, and 1 where the truth lies above.
SIGNS = {"at least": ">", "at most": "<"}
SIDES = {">": 1.0, "<": -1.0}


@dataclass(frozen=True)
class Beyond:
    """What is known of one session that holds a reading beyond the gauge.

    Parameters
    ----------
    numbers : float
        Used readings that are numbers.
    mean : float
        Their mean, in the unit; 0 without any.
    ss : float or None
        Their sum of squares about it; None where it is not known.
    limits : tuple of (float, float)
        For each used reading that is a bound, where it lies, and 1 for "> limit", −1 for "< limit".
    """

    numbers: float
    mean: float
    ss: float | None
    limits: tuple[tuple[float, float], ...]

    @property
    def readings(self) -> float:
        """All used readings."""
        return self.numbers + len(self.limits)

    @property
    def above(self) -> int:
        """Readings above the gauge."""
        return sum(side > 0 for _, side in self.limits)

    @property
    def below(self) -> int:
        """Readings below the gauge."""
        return len(self.limits) - self.above


def written(values: Sequence[float], bounds: Sequence[str]) -> str:
    """Return bounds as text, for a column of a table.

    Examples
    --------
    >>> written([300.0, 280.5], ["at least", "at most"])
    '> 300; < 280.5'
    """
    return "; ".join(
        f"{SIGNS[bound]} {value:.10g}" for value, bound in zip(values, bounds, strict=True)
    )


def parsed(text: str, numbers: float, mean: float, ss: float) -> Beyond | None:
    """Return what `written` wrote of a session, with its numbers; None where there is no bound.

    NaN stands for a mean or a sum of squares that is not known.

    Examples
    --------
    >>> parsed("> 300; < 40", 1, 180.0, 0.0).limits
    ((300.0, 1.0), (40.0, -1.0))
    """
    if not text:
        return None
    pieces = [piece.split(" ") for piece in text.split("; ")]
    limits = tuple((float(value), SIDES[sign]) for sign, value in pieces)
    known = None if math.isnan(ss) else ss
    return Beyond(numbers, 0.0 if math.isnan(mean) else mean, known, limits)


def texts_of(
    session: NDArray[np.int64],
    value: NDArray[np.float64],
    bound: NDArray[np.object_],
    count: int,
) -> NDArray[np.object_]:
    """Return the bounds of each session as text, (count,); blank where it has none.

    Parameters
    ----------
    session : (n,) int
        The session of each used reading that is a bound, ascending.
    value : (n,) float
        Where each lies.
    bound : (n,) str
        ``at least`` or ``at most``.
    count : int
        Sessions there are.
    """
    found = np.full(count, "", dtype=object)
    start = np.flatnonzero(np.diff(session, prepend=-1))
    for first, end in zip(start, np.append(start[1:], len(session)), strict=True):
        found[session[first]] = written(value[first:end].tolist(), bound[first:end].tolist())
    return found
