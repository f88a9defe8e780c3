"""Text to dates by pattern before any conversion: YYYY-MM-DD, and a time of day if given.

A time zone is passed over: the time stays as it was written, and its local date is the visit's.
"""

from __future__ import annotations

import calendar
import datetime
import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.records.findings import shown

_ISO = (
    r"^(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})"
    r"(?:[T ](?P<hour>[0-9]{2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:\.(?P<part>[0-9]{1,9}))?)?"
    r" ?(?P<zone>Z|[+-][0-9]{2}(?::?[0-9]{2})?)?)?$"
)
#: Two small numbers and a year: the day or the month may stand first.
SWAPPABLE = r"^([0-9]{1,2})[./\- ]([0-9]{1,2})[./\- ]([0-9]{4}|[0-9]{2})\b"
#: Records older than this are placeholders or slips (a spreadsheet's zero is 1899-12-30).
EARLIEST = np.datetime64("1990-01-01", "D")
EARLIEST_BIRTH = np.datetime64("1960-01-01", "D")
NAT = np.datetime64("NaT", "ns")


@dataclass(frozen=True, eq=False)
class Moments:
    """A column's cells as dates.

    Parameters
    ----------
    date : array of datetime64[D] (n,)
        NaT where there is none.
    moment : array of datetime64[ns] (n,)
        Date and time of day; midnight where none was given.
    timed, zoned : arrays of bool (n,)
        Whether a time of day, and a time zone, was given.
    bad : array of bool (n,)
        Cells that hold something else.
    swappable : array of bool (n,)
        Bad cells that look like a day and a month in either order.
    """

    date: NDArray[np.datetime64]
    moment: NDArray[np.datetime64]
    timed: NDArray[np.bool_]
    zoned: NDArray[np.bool_]
    bad: NDArray[np.bool_]
    swappable: NDArray[np.bool_]


def moments(cells: pa.Array, times: bool) -> Moments:
    """Return a column's cells as dates.

    Parameters
    ----------
    cells : pyarrow array of text (n,)
        Cells without white space around them; "" is blank.
    times : bool
        Whether a time of day may follow the date.
    """
    encoded = cells.dictionary_encode()
    texts, code = encoded.dictionary, encoded.indices.to_numpy()
    found = pc.extract_regex(texts, _ISO)
    whole = {name: _whole(found, name) for name in ("year", "month", "day")}
    clock = {name: _whole(found, name) for name in ("hour", "minute", "second")}
    month = (whole["year"] - 1970) * 12 + whole["month"] - 1
    first = month.astype("datetime64[M]")
    date = first.astype("datetime64[D]") + (whole["day"] - 1)
    timed = _given(found, "hour")
    ok = pc.is_valid(found).to_numpy(zero_copy_only=False)
    # Years that nanoseconds can hold; the day must be one of its month.
    ok &= (whole["year"] > 1677) & (whole["year"] < 2262)
    ok &= (whole["month"] >= 1) & (whole["month"] <= 12)
    ok &= (whole["day"] >= 1) & (date.astype("datetime64[M]") == first)
    ok &= (clock["hour"] < 24) & (clock["minute"] < 60) & (clock["second"] < 60)
    ok &= times | ~timed
    part = pc.utf8_rpad(_group(found, "part"), 9, "0")
    seconds = (clock["hour"] * 60 + clock["minute"]) * 60 + clock["second"]
    date[~ok] = np.datetime64("NaT")
    moment = np.full(len(date), NAT)
    moment[ok] = date[ok].astype("datetime64[ns]") + (
        seconds[ok] * 1_000_000_000 + pc.cast(part, pa.int64()).to_numpy()[ok]
    ).astype("timedelta64[ns]")
    blank = pc.equal(texts, "").to_numpy(zero_copy_only=False)
    swap = pc.match_substring_regex(texts, SWAPPABLE).to_numpy(zero_copy_only=False)
    zoned = ok & _given(found, "zone")
    return Moments(
        date=date[code],
        moment=moment[code],
        timed=(ok & timed)[code],
        zoned=zoned[code],
        bad=(~ok & ~blank)[code],
        swappable=(swap & ~ok)[code],
    )


def why_not_a_date(text: str) -> str:
    """Return what is wrong with a cell that is no date, without the outcome.

    Examples
    --------
    >>> why_not_a_date("2025-02-30")
    '"2025-02-30" is not a day of the calendar, or not a time of day.'
    """
    if both := both_readings(text):
        return f"{shown(text)} could be {both}."
    if re.match(_ISO, text):
        return f"{shown(text)} is not a day of the calendar, or not a time of day."
    if re.fullmatch(r"[0-9]{5}(\.[0-9]+)?", text):
        return f"{shown(text)} is a number, perhaps a spreadsheet's count of days, not a date."
    return f"{shown(text)} is not a date."


def both_readings(text: str) -> str:
    """Return both readings of a date whose day and month cannot be told apart, else "".

    Examples
    --------
    >>> both_readings("03/04/2025")
    '3 April 2025 (day first) or 4 March 2025 (month first)'
    """
    match = re.match(SWAPPABLE, text)
    if match is None:
        return ""
    first, second, year = (int(group) for group in match.groups())
    year += 2000 if year < 100 else 0
    ways = []
    for day, month, words in ((first, second, "day first"), (second, first, "month first")):
        if 1 <= month <= 12 and 1 <= day <= 31:
            ways.append(f"{day} {calendar.month_name[month]} {year} ({words})")
    return " or ".join(ways)


def date_of(value: object, what: str) -> np.datetime64:
    """Return a caller's date, given as text or as any kind of date, as datetime64[D].

    Parameters
    ----------
    value : str, date, datetime or datetime64
        The date; text is YYYY-MM-DD.
    what : str
        What it is for, to begin the message with.

    Raises
    ------
    CallError
        It is not a date.
    """
    if isinstance(value, datetime.datetime):
        # pandas' "not a time" calls itself a date-time, and is the only one unlike itself.
        value = value.date() if value == value else str(value)
    if isinstance(value, datetime.date | np.datetime64):
        day = np.datetime64(value, "D")  # type: ignore[call-overload]
    elif isinstance(value, str):
        found = moments(pa.array([value.strip()], pa.large_string()), times=False)
        day = found.date[0]
    else:
        raise CallError(f"{what} is a date such as 2026-03-01, not {type(value).__name__}.")
    if np.isnat(day):
        raise CallError(f"{what} is a date such as 2026-03-01; {shown(str(value))} is not one.")
    return np.datetime64(day, "D")


def today() -> np.datetime64:
    """Return today's local date."""
    return np.datetime64(datetime.date.today(), "D")


def _group(found: pa.StructArray, name: str) -> pa.Array:
    return pc.fill_null(pc.struct_field(found, [name]), "")


def _given(found: pa.StructArray, name: str) -> NDArray[np.bool_]:
    given: NDArray[np.bool_] = pc.not_equal(_group(found, name), "").to_numpy(zero_copy_only=False)
    return given


def _whole(found: pa.StructArray, name: str) -> NDArray[np.int64]:
    text = _group(found, name)
    whole: NDArray[np.int64] = pc.cast(
        pc.if_else(pc.equal(text, ""), "0", text), pa.int64()
    ).to_numpy(zero_copy_only=False)
    return whole
