"""Scales and ticks: from dates and values to millimetres, and which of them to write."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from bpvet.figures.lettering import width_mm
from bpvet.frozen import dataclass
from bpvet.printing import number

# Not from the locale: the same records give the same bytes on every machine.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_EPOCH = datetime(1970, 1, 1)
#: Steps of the date axis, finest first.
_STEPS = (
    *(("hour", n) for n in (1, 2, 3, 6, 12)),
    *(("day", n) for n in (1, 2, 7, 14)),
    *(("month", n) for n in (1, 2, 3, 6)),
    *(("year", n) for n in (1, 2, 5, 10, 20, 50, 100, 500, 1000)),
)


@dataclass(frozen=True)
class Scale:
    """A straight scale: value `low` lies at `at_low` mm, value `high` at `at_high` mm."""

    low: float
    high: float
    at_low: float
    at_high: float

    def mm(self, value: float) -> float:
        """Return where `value` lies, mm."""
        share = (value - self.low) / (self.high - self.low)
        return self.at_low + share * (self.at_high - self.at_low)

    def value(self, mm: float) -> float:
        """Return the value that lies at `mm`."""
        share = (mm - self.at_low) / (self.at_high - self.at_low)
        return self.low + share * (self.high - self.low)


def days(dates: NDArray[np.datetime64] | np.datetime64) -> NDArray[np.float64]:
    """Return dates as days since 1970-01-01; one given by the day stands at its noon.

    Parameters
    ----------
    dates : (n,) datetime64, or one
        NaT becomes NaN.

    Returns
    -------
    (n,) float
        Days.
    """
    array = np.atleast_1d(np.asarray(dates))
    noon = 0.5 if np.datetime_data(array.dtype)[0] in ("D", "generic") else 0.0
    minutes = array.astype("datetime64[m]")
    count: NDArray[np.float64] = minutes.astype(np.int64) / 1440.0 + noon
    return np.where(np.isnat(minutes), np.nan, count)


@dataclass(frozen=True)
class DateTick:
    """A tick of the date axis: where, days, and what is written there (one or two lines)."""

    at: float
    label: str


def date_ticks(scale: Scale, gap: float = 4.0) -> list[DateTick]:
    """Return the finest ticks whose labels stay at least `gap` mm apart."""
    ticks: list[DateTick] = []
    for unit, count in _STEPS:
        if (scale.high - scale.low) / _DAYS_OF[unit] / count > 60:
            continue
        ticks = list(_labelled(_moments(scale.low, scale.high, unit, count), unit))
        if ticks and _apart(ticks, scale, gap):
            return ticks
    return ticks[:1]


_DAYS_OF = {"hour": 1 / 24, "day": 1.0, "month": 30.4, "year": 365.0}


def _moments(low: float, high: float, unit: str, count: int) -> Iterator[datetime]:
    """Yield the moments of a step that lie between two days, in order."""
    first = _EPOCH + timedelta(days=low)
    if unit == "hour":
        moment = first.replace(hour=0, minute=0, second=0, microsecond=0)
        step = timedelta(hours=count)
    elif unit == "day":
        # Whole steps are counted from a Monday, so that weeks begin on one.
        weeks = math.floor((low - 4) / count)
        moment, step = _EPOCH + timedelta(days=4 + weeks * count), timedelta(days=count)
    else:
        yield from _calendar_moments(low, high, count if unit == "month" else 12 * count)
        return
    while _day(moment) <= high:
        if _day(moment) >= low:
            yield moment
        moment += step


def _calendar_moments(low: float, high: float, months: int) -> Iterator[datetime]:
    year = (_EPOCH + timedelta(days=low)).year
    start = max(12, 12 * year // months * months)
    for month in range(start, 12 * 10000, months):
        moment = datetime(month // 12, month % 12 + 1, 1)
        if _day(moment) > high:
            return
        if _day(moment) >= low:
            yield moment


def _labelled(moments: Iterator[datetime], unit: str) -> Iterator[DateTick]:
    """Yield ticks; below the first, and wherever it changes, goes the year, or the day of hours."""
    before = ""
    for moment in moments:
        date = f"{moment.day} {_MONTHS[moment.month - 1][:3]}"
        above, below = {
            "hour": (f"{moment:%H:%M}", date),
            "day": (date, str(moment.year)),
            "month": (_MONTHS[moment.month - 1][:3], str(moment.year)),
            "year": (str(moment.year), ""),
        }[unit]
        label = f"{above}\n{below}" if below and below != before else above
        before = below
        yield DateTick(_day(moment), label)


def _apart(ticks: Sequence[DateTick], scale: Scale, gap: float) -> bool:
    ends = -math.inf
    for tick in ticks:
        half = max(width_mm(line) for line in tick.label.split("\n")) / 2
        middle = scale.mm(tick.at)
        if middle - half < ends + gap:
            return False
        ends = middle + half
    return True


def _day(moment: datetime) -> float:
    return (moment - _EPOCH) / timedelta(days=1)


def date_words(date: np.datetime64) -> str:
    """Return a date as prose has it.

    Examples
    --------
    >>> date_words(np.datetime64("2026-03-01"))
    '1 March 2026'
    """
    year, month, day = str(date.astype("datetime64[D]")).split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]} {year}"


#: A laboratory value may be written with forty decimals; a label may not.
_MOST_DECIMALS = 6


def value_ticks(low: float, high: float, height: float, least: float = 7.0) -> list[float]:
    """Return round values between two, at least `least` mm apart on `height` mm."""
    step = value_step(low, high, height, least)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [index * step for index in range(first, last + 1)]


def value_step(low: float, high: float, height: float, least: float = 7.0) -> float:
    """Return the smallest of 1, 2, 5, 10, … whose steps lie at least `least` mm apart."""
    wanted = (high - low) * least / height
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(power * step for step in (1, 2, 5, 10) if power * step >= wanted * (1 - 1e-9))


def value_label(value: float, step: float) -> str:
    """Return a tick's value with the decimals its step needs, as a power of ten if these are many.

    Examples
    --------
    >>> value_label(0.35, 0.05), value_label(3e-12, 1e-12)
    ('0.35', '3e−12')
    """
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    if decimals <= _MOST_DECIMALS:
        return number(value, decimals)
    digits = 1 + max(0, math.ceil(math.log10(abs(value) / step) - 1e-9)) if value else 1
    return f"{value:.{digits}g}".replace("-", "−")
