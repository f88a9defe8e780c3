"""Dates as the model counts them: days since 1970-01-01, a date standing for its local noon."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError

_NOON = np.timedelta64(12, "h")


def days_from(when: Any) -> tuple[NDArray[np.float64], bool]:
    """Return days since 1970-01-01 (noon of a date is a whole number), and whether one was given.

    Parameters
    ----------
    when : date, datetime, datetime64, ISO text, or a sequence of them
        A time of exactly midnight is taken as the date, since that is how date columns hold
        dates, unless it is written out: text with a time, or datetime64 in minutes or hours.

    Returns
    -------
    (T,) float, bool

    Raises
    ------
    CallError
        Where something is no date.

    Examples
    --------
    >>> days_from("1970-01-03")
    (array([2.]), True)
    >>> days_from(["1970-01-01T18:00"])
    (array([0.25]), False)
    """
    single = isinstance(when, str | datetime.date | np.datetime64)
    if isinstance(when, np.ndarray) and when.dtype.kind == "M":
        stamps, timed = when.astype("datetime64[s]"), np.full(when.shape, _has_time(when.dtype))
    else:
        items = [when] if single else list(when) if hasattr(when, "__iter__") else None
        if items is None:
            raise CallError(f"{when!r} is not a date; write it as 2026-03-01.")
        stamps = np.array([_stamp(item) for item in items], dtype="datetime64[s]")
        timed = np.array([_with_time(item) for item in items], dtype=bool)
    if np.isnat(stamps).any():
        raise CallError("a date is missing; write it as 2026-03-01.")
    dates = stamps.astype("datetime64[D]")
    after_noon = (stamps - dates - _NOON) / np.timedelta64(1, "D")
    days = dates.astype(np.int64).astype(np.float64)
    return days + np.where((stamps != dates) | timed, after_noon, 0.0), single


def _stamp(item: Any) -> np.datetime64:
    try:
        return np.datetime64(item, "s")
    except (ValueError, TypeError):
        raise CallError(f"{item!r} is not a date; write it as 2026-03-01.") from None


def _has_time(kind: np.dtype[Any]) -> bool:
    return np.datetime_data(kind)[0] in ("h", "m")


def _with_time(item: Any) -> bool:
    if isinstance(item, np.datetime64):
        return _has_time(item.dtype)
    return isinstance(item, str) and len(item.strip()) > len("2026-03-01")
