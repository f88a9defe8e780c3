"""Control charts of an animal's sessions: the smoothed level (EWMA) and summed excess (CUSUM).

Both are read session by session and know no dates. Their limits suppose that the sessions
scatter independently about a steady value: on a drug being started they signal, as they should.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.maths.estimates import Array, vector
from bpvet.reasons import reason

_T = TypeVar("_T", bound=np.generic)

#: Sessions that a chart needs before its centre and SD can be taken from the same sessions.
LEAST_SESSIONS = 3


@dataclass(frozen=True, eq=False)
class EwmaChart:
    """An exponentially weighted moving average with its control limits.

    Parameters
    ----------
    values : (n,) float
        The average after each session.
    lower, upper : (n,) float or None
        Control limits; None where there are none.
    centre, sd : float or None
        The steady value and the SD of a session that the limits rest on.
    weight, width : float
        Weight of the newest session; limits in SDs of the average.
    outside : (n,) bool or None
        Whether the average lies outside its limits.
    reason : str or None
        Why there are no limits.
    """

    values: Array
    lower: Array | None
    upper: Array | None
    centre: float | None
    sd: float | None
    weight: float
    width: float
    outside: NDArray[np.bool_] | None
    reason: str | None = None


@dataclass(frozen=True, eq=False)
class CusumChart:
    """Two one-sided cumulative sums about a target with their decision limit.

    Parameters
    ----------
    upper, lower : (n,) float
        Summed excess above target + allowance, and below target − allowance; 0 or more.
    target, allowance : float
        In the unit of the sessions.
    limit : float or None
        A sum beyond it signals; None where there is none.
    signals_high, signals_low : (n,) bool or None
        Where the sums signal.
    reason : str or None
        Why there is no limit.
    """

    upper: Array
    lower: Array
    target: float
    allowance: float
    limit: float | None
    signals_high: NDArray[np.bool_] | None
    signals_low: NDArray[np.bool_] | None
    reason: str | None = None


def ewma(values: ArrayLike, weight: float = 0.25, start: float | None = None) -> Array:
    """Return the exponentially weighted moving average after each session.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    weight : float
        Weight of the newest session, above 0 and at most 1.
    start : float, optional
        Average before the first session. Without it the first average is the first session.

    Returns
    -------
    (n,) float
        e_j = weight·y_j + (1 − weight)·e_(j−1) (Roberts, Technometrics 1959;1:239–250).

    Examples
    --------
    >>> ewma([180, 140, 170], 0.25).tolist()
    [180.0, 170.0, 170.0]
    """
    y = vector(values)
    if not 0 < weight <= 1:
        raise CallError(f"the weight of an EWMA is above 0 and at most 1, not {weight}.")
    averages = np.empty(y.size)
    last = float(y[0]) if start is None and y.size else (start or 0.0)
    for j, value in enumerate(y):
        last = weight * value + (1 - weight) * last
        averages[j] = last
    return _frozen(averages)


def cusum(values: ArrayLike, target: float, allowance: float) -> tuple[Array, Array]:
    """Return the upper and the lower cumulative sum after each session.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    target, allowance : float
        Steady value, and slack on either side (0 or more), in the unit of `values`.

    Returns
    -------
    upper, lower : (n,) float
        max(0, sum + y − target − allowance) and max(0, sum + target − allowance − y), both 0
        before the first session (Page, Biometrika 1954;41:100–115).

    Examples
    --------
    >>> [sums.tolist() for sums in cusum([180, 140, 170], 160, 5)]
    [[15.0, 0.0, 5.0], [0.0, 15.0, 0.0]]
    """
    y = vector(values)
    if not (math.isfinite(target) and 0 <= allowance < math.inf):
        raise CallError("a CUSUM needs a finite target and an allowance of 0 or more.")
    upper, lower = np.empty(y.size), np.empty(y.size)
    high = low = 0.0
    for j, value in enumerate(y):
        high = max(0.0, high + value - target - allowance)
        low = max(0.0, low + target - allowance - value)
        upper[j], lower[j] = high, low
    return _frozen(upper), _frozen(lower)


def steady_sd(values: ArrayLike) -> float | None:
    """Return the SD of a session from the mean moving range, √π/2 times; None under 3 sessions.

    A drift hardly enters neighbouring differences, so it does not hide itself by widening the
    limits (the usual chart for single values: Montgomery, Statistical Quality Control, ch. 6).
    """
    y = vector(values)
    if y.size < LEAST_SESSIONS:
        return None
    return float(np.mean(np.abs(np.diff(y)))) * math.sqrt(math.pi) / 2


def ewma_chart(
    values: ArrayLike,
    weight: float = 0.25,
    centre: float | None = None,
    sd: float | None = None,
    width: float = 3.0,
) -> EwmaChart:
    """Return the EWMA, started at the first session, with its limits.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    weight : float
        Weight of the newest session.
    centre, sd : float, optional
        Steady value and SD of a session. Where not given: the mean of `values`, and
        `steady_sd`.
    width : float
        Limits in SDs of the average (3 is usual).

    Returns
    -------
    EwmaChart
        The limits follow the average's exact variance for a start at the first session,
        sd²·(q + (1 − q)·weight/(2 − weight)) with q = (1 − weight)^(2j), j = 0, 1, …
    """
    y = vector(values)
    averages = ewma(y, weight)
    sd = steady_sd(y) if sd is None else sd
    why = _no_limits(y, sd)
    if why is not None or sd is None:
        return EwmaChart(averages, None, None, centre, sd, weight, width, None, why)
    centre = float(y.mean()) if centre is None else centre
    q = (1 - weight) ** (2 * np.arange(y.size))
    half = width * sd * np.sqrt(q + (1 - q) * weight / (2 - weight))
    outside = np.abs(averages - centre) > half
    return EwmaChart(
        averages,
        _frozen(centre - half),
        _frozen(centre + half),
        centre,
        sd,
        weight,
        width,
        _frozen(outside),
    )


def cusum_chart(
    values: ArrayLike,
    target: float,
    sd: float | None = None,
    allowance_sds: float = 0.5,
    limit_sds: float = 5.0,
) -> CusumChart:
    """Return both cumulative sums about `target` with their decision limit.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    target : float
        Steady value, in the unit of `values`.
    sd : float, optional
        SD of a session; where not given, `steady_sd`.
    allowance_sds, limit_sds : float
        Allowance and decision limit in SDs. With 0.5 and 5 a chart of a steady animal
        signals once in 465 sessions on average (Montgomery, ch. 9), a shift of one SD after
        about 10.
    """
    y = vector(values)
    sd = steady_sd(y) if sd is None else sd
    why = _no_limits(y, sd)
    allowance = allowance_sds * (sd or 0.0)
    upper, lower = cusum(y, target, allowance)
    if why is not None or sd is None:
        return CusumChart(upper, lower, target, allowance, None, None, None, why)
    limit = limit_sds * sd
    return CusumChart(
        upper, lower, target, allowance, limit, _frozen(upper > limit), _frozen(lower > limit)
    )


def _no_limits(y: Array, sd: float | None) -> str | None:
    if sd is None:
        return reason("charts.few_sessions", least=LEAST_SESSIONS, n=y.size)
    if not 0 < sd < math.inf:
        return reason("charts.no_scatter")
    return None


def _frozen(values: NDArray[_T]) -> NDArray[_T]:
    values.flags.writeable = False
    return values
