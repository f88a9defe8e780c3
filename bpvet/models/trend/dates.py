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
    items = [when] if single else list(when) if hasattr(when, "__iter__") else None
    if items is None:
        raise CallError(f"{when!r} is not a date; write it as 2026-03-01.")
    return np.array([_day(item) for item in items], dtype=np.float64), single


def _day(item: Any) -> float:
    try:
        stamp = np.datetime64(item, "s")
    except (ValueError, TypeError):
        raise CallError(f"{item!r} is not a date; write it as 2026-03-01.") from None
    if np.isnat(stamp):
        raise CallError("a date is missing; write it as 2026-03-01.")
    date = stamp.astype("datetime64[D]")
    if stamp == date and not _with_time(item):
        return float(date.astype(np.int64))
    return float(date.astype(np.int64)) + float((stamp - date - _NOON) / np.timedelta64(1, "D"))


def _with_time(item: Any) -> bool:
    if isinstance(item, np.datetime64):
        return np.datetime_data(item.dtype)[0] in ("h", "m")
    return isinstance(item, str) and len(item.strip()) > len("2026-03-01")
