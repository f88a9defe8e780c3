"""How well more visits would know: the SD before they are made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bpvet.maths.gaussian import Batch
from bpvet.maths.posterior import Posterior
from bpvet.models.trend import Trend


def sd_after(trend: Trend, visits: int, readings: int = 5, every_days: float = 7.0) -> float:
    """Return the SD of the usual value on the day of the last of some further visits.

    What is known of the noise SDs now is kept: further visits would sharpen it too, so the
    figure errs on the wide side.

    Parameters
    ----------
    trend : Trend
        The trend so far.
    visits : int
        Further visits by the same method, under the same condition; 0 for now.
    readings : int
        Readings of each.
    every_days : float
        Days between them, the first so long after the latest session.

    Returns
    -------
    float
        In the unit of the series.
    """
    day = every_days * np.arange(1, visits + 1)
    columns = trend.columns
    first = int(trend.series.visit.max(initial=-1)) + 1
    rows = [
        columns.rows(np.array([one]), visit=first + i if first > 0 else -1)
        for i, one in enumerate(day)
    ]
    more = np.concatenate(rows) if rows else np.zeros((0, len(columns.terms)))
    now = trend.posterior
    # The values seen do not enter a Gaussian's variance, so any will do.
    longer = replace(now, batch=_longer(now.batch, more, day, float(readings)))
    last = np.array([day[-1] if visits else 0.0])
    return float(np.asarray(_usual(longer, columns.rows(last), last)))


def _usual(posterior: Posterior, rows: np.ndarray, day: np.ndarray) -> float:
    mixture = posterior.usual(rows, day)
    return float(np.sqrt(mixture.sds[0] ** 2 @ mixture.weights))


def _longer(batch: Batch, rows: np.ndarray, day: np.ndarray, readings: float) -> Batch:
    count = day.size

    def added(values: np.ndarray, new: np.ndarray | float) -> np.ndarray:
        return np.concatenate([values, np.full((count, 1), new, dtype=values.dtype)])

    return replace(
        batch,
        y=added(batch.y, 0.0),
        x=np.concatenate([batch.x, rows.T[:, :, None]], axis=1),
        day=np.concatenate([batch.day, day[:, None]]),
        k=added(batch.k, readings),
        group=added(batch.group, 0),
        live=added(batch.live, True),
    )
