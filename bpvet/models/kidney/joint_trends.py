"""An animal's joint trends: pressure beside each laboratory value that has dates enough."""

from __future__ import annotations

import numpy as np

from bpvet.errors import CallError, FitError
from bpvet.facts.analytes import all_analytes
from bpvet.models.kidney.joint import Joint, join, sides_of
from bpvet.models.safety.safety import systolic_trend
from bpvet.models.trend.fit import fit_beside
from bpvet.models.trend.trend import Trend
from bpvet.visits.labs.events import number_of

#: What is laid beside the pressure.
JOINED = tuple(key for key, analyte in all_analytes().items() if analyte.joint)


def joint_trends(trend: Trend, level: float = 0.95) -> tuple[Joint, ...]:
    """Return pressure fitted together with each laboratory value that has dates enough.

    Parameters
    ----------
    trend : Trend
        Systolic, or of one of `JOINED`: then that one alone is laid beside the systolic trend.
    level : float
        Probability that intervals hold.

    Returns
    -------
    tuple of Joint
        In the order of `JOINED`; empty where either has fewer dates than
        `project.kidney.joint_dates`, or where the quantity is another.
    """
    quantity = trend.series.quantity
    markers = (
        JOINED
        if quantity == "systolic"
        else tuple(marker for marker in JOINED if marker == quantity)
    )
    pressure = systolic_trend(trend) if markers else None
    if pressure is None or not _enough(pressure):
        return ()
    found, sides = [], sides_of(pressure, 0)
    for name in markers:
        try:
            marker_trend = trend if name == quantity else fit_beside(pressure, name)
        except (CallError, FitError):
            continue
        if _enough(marker_trend):
            found.append(join(pressure, marker_trend, level=level, sides=sides))
    return tuple(found)


def _enough(trend: Trend) -> bool:
    return np.unique(trend.series.date).size >= number_of("project.kidney.joint_dates")
