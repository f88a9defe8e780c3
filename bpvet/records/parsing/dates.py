"""Text to dates by pattern before any conversion: YYYY-MM-DD, and a time of day if given.

Any other order of year, month and day is read only where the caller has said which it is. A time
zone is passed over: the time stays as it was written, and its local date is the visit's.
"""

from __future__ import annotations

import calendar
import datetime
import re
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.frozen import dataclass, field_names
from bpvet.records.findings import shown
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.columns import constant
from bpvet.records.parsing.iso_dates import FIRST_YEAR, LAST_YEAR, iso_dates

ISO = (
    r"^(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})"
    r"(?:[T ](?P<hour>[0-9]{2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:\.(?P<part>[0-9]{1,9}))?)?"
    r" ?(?P<zone>Z|[+-][0-9]{2}(?::?[0-9]{2})?)?)?$"
)
_MARK = r"[./\- ]"
_MONTH = (
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|sept|oct|nov|dec|january|february|march|april|june"
    r"|july|august|september|october|november|december)"
)
_CLOCK = (
    r"(?:(?:[T ]|, ?)(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})"
    r"(?::(?P<second>[0-9]{2})(?:\.(?P<part>[0-9]{1,9}))?)?"
    r"(?: ?(?P<half>[ap])\.?m\.?)?(?: ?(?P<zone>Z|[+-][0-9]{2}(?::?[0-9]{2})?))?)?$"
)
_DAY, _YEAR = r"(?P<day>[0-9]{1,2})", r"(?P<year>[0-9]{4}|[0-9]{2})"
_NUMBER, _NAME = r"(?P<month>[0-9]{1,2})", rf"(?P<name>{_MONTH})\.?"
#: Patterns of each order that a caller may state, the likeliest first. A month's name says which
#: number is the day, but not that the year stands last.
_STATED: dict[str, tuple[str, ...]] = {
    "ymd": (rf"(?i)^(?P<year>[0-9]{{4}}){_MARK}{_NUMBER}{_MARK}{_DAY}{_CLOCK}",),
    "dmy": (rf"(?i)^{_DAY}{_MARK}{_NUMBER}{_MARK}{_YEAR}{_CLOCK}",),
    "mdy": (rf"(?i)^{_NUMBER}{_MARK}{_DAY}{_MARK}{_YEAR}{_CLOCK}",),
}
_NAMED = (
    rf"(?i)^{_DAY}(?:{_MARK}{{1,2}}){_NAME}(?:{_MARK}|, ?){_YEAR}{_CLOCK}",
    rf"(?i)^{_NAME} ?{_DAY}(?:, ?|{_MARK}){_YEAR}{_CLOCK}",
)
_STATED |= {order: (*_STATED[order], *_NAMED) for order in ("dmy", "mdy")}
#: A two-digit year from here on is of the last century, as POSIX has it.
_CENTURY_TURNS = 70
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


def moments(cells: pa.Array, times: bool, order: str = "") -> Moments:
    """Return a column's cells as dates.

    Parameters
    ----------
    cells : pyarrow array of text (n,)
        Cells without white space around them; "" is blank.
    times : bool
        Whether a time of day may follow the date.
    order : str
        ``ymd``, ``dmy`` or ``mdy`` where the caller has said so: then other marks than "-",
        numbers of one digit, and with the year last two-digit years (1970 to 2069) and a month's
        English name are read too. YYYY-MM-DD is read in any case.
    """
    if pa.types.is_dictionary(cells.type):
        return _of_rows(_read(cells.dictionary, times, order), numpy_of(cells.indices))
    return _read(cells, times, order)


def _of_rows(few: Moments, code: NDArray[np.integer]) -> Moments:
    """Return what was read of texts (m,) for each row (n,) that bears one of them."""
    return Moments(*(getattr(few, field)[code] for field in field_names(Moments)))


def _read(texts: pa.Array, times: bool, order: str) -> Moments:
    """Return texts (n,) as dates: by their bytes, and by patterns what is left."""
    plain = iso_dates(texts, times)
    left = np.flatnonzero(~plain.read)
    if len(left) == len(texts):
        return _by_patterns(texts, times, order)
    zoned, bad, swappable = (constant(False, len(texts), bool) for _ in range(3))
    if len(left):
        zoned, bad, swappable = zoned.copy(), bad.copy(), swappable.copy()
    found = Moments(
        date=plain.day.view("datetime64[D]"),
        moment=plain.moment.view("datetime64[ns]"),
        timed=plain.timed,
        zoned=zoned,
        bad=bad,
        swappable=swappable,
    )
    if len(left):
        patterned = _by_patterns(texts.take(arrow_of(left)), times, order)
        for field in field_names(Moments):
            getattr(found, field)[left] = getattr(patterned, field)
    return found


def _by_patterns(cells: pa.Array, times: bool, order: str) -> Moments:
    """Return texts (n,) as dates by the patterns, each different text once."""
    encoded = cells.dictionary_encode()
    texts = encoded.dictionary
    found = _parts(texts, ISO)
    for pattern in _STATED.get(order, ()):
        if found.matched.all():
            break
        patterned = _parts(texts, pattern)
        pairs = {
            field: np.where(found.matched, getattr(found, field), getattr(patterned, field))
            for field in field_names(found)
            if field != "matched"
        }
        found = _Parts(matched=found.matched | patterned.matched, **pairs)
    month = (found.year - 1970) * 12 + found.month - 1
    first = month.astype("datetime64[M]")
    date: Any = first.astype("datetime64[D]") + (found.day - 1)
    # Years that nanoseconds can hold; the day must be one of its month.
    ok = found.matched & (found.year >= FIRST_YEAR) & (found.year <= LAST_YEAR)
    ok &= (found.month >= 1) & (found.month <= 12)
    ok &= (found.day >= 1) & (date.astype("datetime64[M]") == first)
    ok &= (found.nanosecond >= 0) & (times | ~found.timed)
    date[~ok] = np.datetime64("NaT")
    moment = np.full(len(date), NAT)
    moment[ok] = date[ok].astype("datetime64[ns]") + found.nanosecond[ok].astype("timedelta64[ns]")
    blank = numpy_of(pc.equal(texts, scalar_of("")))
    swap = numpy_of(pc.match_substring_regex(texts, SWAPPABLE))
    few = Moments(
        date=date,
        moment=moment,
        timed=ok & found.timed,
        zoned=ok & found.zoned,
        bad=~ok & ~blank,
        swappable=swap & ~ok & (order == ""),
    )
    return _of_rows(few, numpy_of(encoded.indices))


def dates_of_either_order(text: str) -> dict[tuple[int, int], str]:
    """Return what a date may be whose day and month cannot be told apart; empty for another text.

    Returns
    -------
    dict of (day, month) to str
        ``day``, ``month`` or ``either``: which of the two stands first. The year is told apart.

    Examples
    --------
    >>> dates_of_either_order("03/04/2025")
    {(3, 4): 'day', (4, 3): 'month'}
    """
    match = re.match(SWAPPABLE, text)
    if match is None:
        return {}
    first, second = int(match[1]), int(match[2])
    orders = {(first, second): "day", (second, first): "month"}
    if first == second:
        orders = {(first, second): "either"}
    return {
        (day, month): order
        for (day, month), order in orders.items()
        if 1 <= month <= 12 and 1 <= day <= 31
    }


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
        found = moments(text_column([value.strip()]), times=False)
        day = found.date[0]
    else:
        raise CallError(f"{what} is a date such as 2026-03-01, not {type(value).__name__}.")
    if np.isnat(day):
        raise CallError(f"{what} is a date such as 2026-03-01; {shown(str(value))} is not one.")
    return np.datetime64(day, "D")


def today() -> np.datetime64:
    """Return today's local date."""
    return np.datetime64(datetime.date.today(), "D")


@dataclass(frozen=True, eq=False)
class _Parts:
    """What a pattern found in each text (m,); `nanosecond` of the day, −1 where it is none."""

    matched: NDArray[np.bool_]
    year: NDArray[np.int64]
    month: NDArray[np.int64]
    day: NDArray[np.int64]
    nanosecond: NDArray[np.int64]
    timed: NDArray[np.bool_]
    zoned: NDArray[np.bool_]


def _parts(texts: pa.Array, pattern: str) -> _Parts:
    found = pc.extract_regex(texts, pattern)
    year = _whole(found, "year")
    short = numpy_of(pc.equal(pc.utf8_length(_group(found, "year")), scalar_of(2)))
    year = np.where(short, year + np.where(year < _CENTURY_TURNS, 2000, 1900), year)
    named = _group(found, "name")
    month = _whole(found, "month")
    if len(named) and pattern in _NAMED:
        names = [name.casefold() for name in calendar.month_abbr]
        beginning = pc.utf8_lower(pc.utf8_slice_codeunits(named, 0, 3))
        index = pc.coalesce(pc.index_in(beginning, text_column(names)), scalar_of(0))
        month = numpy_of(index).astype(np.int64)
    return _Parts(
        matched=numpy_of(pc.is_valid(found)),
        year=year,
        month=month,
        day=_whole(found, "day"),
        nanosecond=_nanosecond(found),
        timed=_given(found, "hour"),
        zoned=_given(found, "zone"),
    )


def _nanosecond(found: pa.StructArray) -> NDArray[np.int64]:
    """Return the time of day (m,) in nanoseconds, −1 where the clock has no such time."""
    hour, minute, second = (_whole(found, name) for name in ("hour", "minute", "second"))
    half = pc.utf8_lower(_group(found, "half"))
    halved = numpy_of(pc.not_equal(half, scalar_of("")))
    afternoon = numpy_of(pc.equal(half, scalar_of("p")))
    ok = (hour < 24) & (minute < 60) & (second < 60)
    ok &= ~halved | ((hour >= 1) & (hour <= 12))
    hour = np.where(halved, hour % 12 + 12 * afternoon, hour)
    field = numpy_of(pc.cast(pc.utf8_rpad(_group(found, "part"), 9, "0"), pa.int64()))
    return np.where(ok, ((hour * 60 + minute) * 60 + second) * 1_000_000_000 + field, -1)


def _group(found: pa.StructArray, name: str) -> pa.Array:
    """Return a group of the pattern as text (m,), "" where there is none, or no such group."""
    if found.type.get_field_index(name) < 0:
        return pa.repeat(scalar_of(""), len(found))
    return pc.coalesce(pc.struct_field(found, [name]), scalar_of(""))


def _given(found: pa.StructArray, name: str) -> NDArray[np.bool_]:
    return numpy_of(pc.not_equal(_group(found, name), scalar_of("")))


def _whole(found: pa.StructArray, name: str) -> NDArray[np.int64]:
    text = _group(found, name)
    return numpy_of(
        pc.cast(pc.if_else(pc.equal(text, scalar_of("")), scalar_of("0"), text), pa.int64())
    )
