"""How soon events happen to animals of which some are no longer seen: shares by a day.

Source: cumulative incidence by Aalen and Johansen (1978), its variance as Marubini and Valsecchi
(1995) give it; the product limit by Kaplan and Meier (1958). statsmodels has both, and needs most
of a second to be loaded.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CumulativeIncidence:
    """Shares of animals that have met each event, as they grow with time.

    Parameters
    ----------
    days : (T,) float
        The different times.
    share, error : (E, T) float
        Of each event up to each time, and its standard error; NaN or infinite where everybody
        that is left meets an event.
    """

    days: Array
    share: Array
    error: Array

    def at(self, event: int, day: float) -> tuple[float, float]:
        """Return the share that has met an event by a day, and its standard error."""
        known = int(np.searchsorted(self.days, day, side="right"))
        if not known:
            return 0.0, 0.0
        return float(self.share[event, known - 1]), float(self.error[event, known - 1])


def cumulative_incidence(
    days: Array, status: NDArray[np.int64], events: int
) -> CumulativeIncidence:
    """Return how the shares of competing events grow.

    Parameters
    ----------
    days : (N,) float
        Until an event, or until the animal was last seen.
    status : (N,) int
        The event, from 1 to `events`; 0 where none was seen.
    events : int
        E.

    Examples
    --------
    >>> found = cumulative_incidence(np.array([1.0, 2.0, 2.0, 5.0]), np.array([1, 2, 0, 0]), 2)
    >>> found.at(0, 3.0)[0], found.at(1, 3.0)[0]
    (0.25, 0.25)
    """
    times, left, met = _counts(days, status, events)
    ended = met.sum(axis=0)
    before = np.append(1.0, _product_limit(ended, left)[:-1]) / left
    share = np.cumsum(before * met, axis=1)
    # Where everybody that is left meets an event, its standard error is no number.
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = ended / (left * (left - ended))
        variance = share**2 * np.cumsum(lost) - 2 * share * np.cumsum(share * lost, axis=1)
        variance += np.cumsum(share**2 * lost, axis=1)
        variance += np.cumsum(before**2 * ((left - met) * met / left), axis=1)
        crossed = before * met / left
        variance -= 2 * share * np.cumsum(crossed, axis=1)
        variance += 2 * np.cumsum(share * crossed, axis=1)
        return CumulativeIncidence(times, share, np.sqrt(variance))


def median_days(days: Array, status: NDArray[np.int64]) -> float | None:
    """Return the first time by which more than half have met the one event (status 1).

    All others count as no longer seen; None where half are never reached.
    """
    times, left, met = _counts(days, status, 1)
    reached = np.flatnonzero(_product_limit(met[0], left) < 0.5)
    return float(times[reached[0]]) if reached.size else None


def _counts(
    days: Array, status: NDArray[np.int64], events: int
) -> tuple[Array, NDArray[np.int64], Array]:
    """Return the times (T,), how many are left before each, and how many meet each event (E, T)."""
    times, rank, number = np.unique(days, return_inverse=True, return_counts=True)
    met = [np.bincount(rank, status == event, len(times)) for event in range(1, events + 1)]
    return times, np.cumsum(number[::-1])[::-1], np.array(met)


def _product_limit(ended: Array, left: NDArray[np.int64]) -> Array:
    """Return the share that has met no event after each time."""
    kept = np.maximum(1.0 - ended / left, 1e-16)
    return np.where(ended < left, np.exp(np.cumsum(np.log(kept))), 0.0)
