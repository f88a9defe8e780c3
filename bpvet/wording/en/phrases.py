"""Dates, numbers and lists as they are written in a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from bpvet.facts.sources import marked
from bpvet.facts.words import LAB_QUANTITIES
from bpvet.printing import number, probability, prose_date

if TYPE_CHECKING:
    from bpvet.answers.trend.result import TrendAnswer

#: Dates as they are written in a sentence.
day = prose_date


def whole(value: float, unit: str) -> str:
    """Return a value in prose: whole mmHg and beats, with the unit."""
    return f"{number(value, 0)} {unit}"


def interval(level: float, lower: float, upper: float, decimals: int = 0) -> str:
    """Return an interval in prose, with so many decimals.

    Examples
    --------
    >>> interval(0.95, 146.7, 166.2), interval(0.95, -12.2, 3.1)
    ('95 % interval 147 to 166', '95 % interval −12 to 3')
    """
    return f"{percent(level)} interval {number(lower, decimals)} to {number(upper, decimals)}"


def percent(level: float) -> str:
    """Return a level such as 0.95 as "95 %", with a decimal only where it has one."""
    value = 100 * level
    return f"{value:.0f} %" if math.isclose(value, round(value)) else f"{value:.1f} %"


def listed(items: Sequence[str]) -> str:
    """Return items as "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


#: What may be recorded otherwise than before, by its column.
CONTEXTS = {
    "site": "site",
    "side": "side",
    "posture": "posture",
    "operator": "operator",
    "instrument": "instrument",
    "demeanour": "demeanour",
}


def counted(count: int, word: str) -> str:
    """Return "one session", "two sessions", "14 sessions"."""
    small = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    shown = small[count] if count < len(small) else str(count)
    return f"{shown} {word}" if count == 1 else f"{shown} {word}s"


def cited(name: str, remembered: bool) -> str:
    """Return the name of a guideline, with the mark where its figure is from memory.

    Whoever prints it adds `bpvet.facts.sources.footnotes` once.

    Examples
    --------
    >>> cited("ACVIM 2018 consensus statement", True)
    'ACVIM 2018 consensus statement†'
    """
    return marked(name, remembered)


def about(p: float) -> str:
    """Return a share in prose.

    Examples
    --------
    >>> about(0.123), about(0.999), about(0.0004)
    ('about 12 %', 'more than 99 %', 'less than 1 %')
    """
    bounded = 0 < p < 0.01 or 0.99 < p < 1
    return probability(p) if bounded else f"about {probability(p)}"


def chance(p: float) -> str:
    """Return a probability in prose."""
    return f"probability {probability(p)}"


def capital(text: str) -> str:
    """Return the text with its first letter in upper case."""
    return text[:1].upper() + text[1:]


def drugs_named(drugs: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return drugs that a statement names as what it tells, without the start of any spell."""
    return tuple((drug, "") for drug in drugs)


def of_labs(answer: TrendAnswer) -> bool:
    """Return whether the series holds laboratory values or weights."""
    return answer.quantity in LAB_QUANTITIES


def one_of(answer: TrendAnswer) -> str:
    """Return what one entry of the series is called."""
    return "value" if of_labs(answer) else "session"


def value(number_: float, answer: TrendAnswer) -> str:
    """Return a value of the series in prose, with its unit."""
    unit = "" if answer.unit == "ratio" else f" {answer.unit}"
    return f"{number(number_, answer.decimals)}{unit}"
