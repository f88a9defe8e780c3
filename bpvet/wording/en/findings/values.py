"""Cells that are read as words, numbers and dates, and are none."""

from __future__ import annotations

import calendar
import re

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import did_you_mean, either
from bpvet.records.parsing.dates import ISO, SWAPPABLE, dates_of_either_order
from bpvet.records.parsing.numbers import PLAIN
from bpvet.records.read_options import DATE_ORDERS
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.settled import WHICH_ORDER
from bpvet.wording.en.findings.wording import Wording

_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}([ '’,.][0-9]{3})+([.,][0-9]+)?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_SEVERAL = re.compile(r"[0-9.,]+(\s*[/;\s]\s*[0-9.,]+)+")
_WITH_UNIT = re.compile(r"([0-9.]+)\s*(mm\s?Hg|/min|bpm|cm)", re.IGNORECASE)
_NO_DIGIT = re.compile(r"[^0-9]*")
#: Letters that are typed or scanned for digits.
_LOOK_ALIKES = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8"})
_FIRST = {"day": "day first", "month": "month first", "either": "in either order"}
WORDS = Wording(
    {
        Code.BLANK_CELL: Words(
            "The cell is blank, and the row cannot be used without it.", "Fill it in."
        ),
        Code.MEAN_BESIDE_READINGS: Words(
            "It is not used: the row gives no mean, or its readings stand beside it.",
            NOTHING_TO_DO,
        ),
        Code.ORDER_BESIDE_READINGS: Words(
            "It is not used: the readings are side by side, and their headings number them.",
            NOTHING_TO_DO,
        ),
    }
)


@WORDS.of(Code.UNKNOWN_WORD)
def _unknown_word(written: str, name: str, words: tuple[str, ...], near: tuple[str, ...]) -> Words:
    return Words(
        f"{shown(written)} is not a {_named(name)} known here.",
        f"Write {either(words)}. {did_you_mean(near)}".rstrip(),
    )


def _named(column: str) -> str:
    return column.replace("_", " ")


@WORDS.of(Code.NOT_A_NUMBER)
def _not_a_number(written: str) -> Words:
    return Words(why_not_a_number(written), number_fix(written))


def why_not_a_number(text: str) -> str:
    """Return what is wrong with a cell that is no number.

    Examples
    --------
    >>> why_not_a_number("16O")
    '"16O" is not a number.'
    """
    if _THOUSANDS.fullmatch(text):
        return f"{shown(text)} holds a mark that may be a thousands mark or a decimal mark."
    if _COMMA.fullmatch(text):
        return f"{shown(text)} has a decimal comma, and other cells of the column do not."
    if _SEVERAL.fullmatch(text):
        return f"{shown(text)} holds several numbers."
    return f"{shown(text)} is not a number."


def number_fix(text: str) -> str:
    """Return what can be done about a cell that is no number."""
    alike = text.translate(_LOOK_ALIKES)
    if alike != text and PLAIN.fullmatch(alike):
        return f"Are letters typed for digits? If it is {alike}, write {alike}."
    unit = _WITH_UNIT.fullmatch(text)
    if unit:
        return f"Write the number alone: {unit.group(1)}."
    if _NO_DIGIT.fullmatch(text):
        return "Write a number in the digits 0 to 9, or leave the cell blank."
    return "Write one number in the digits 0 to 9 with a decimal point, or leave the cell blank."


@WORDS.of(Code.NOT_BY_DOPPLER)
def _not_by_doppler(name: str) -> Words:
    fix = "If another instrument gave it, enter that as a reading of its own method"
    return Words(
        f"A Doppler flow detector gives no {_named(name)}.",
        f'{fix}, or under "counted_pulse".' if name == "heart_rate" else f"{fix}.",
    )


@WORDS.of(Code.INSTRUMENT_FAILED)
def _instrument_failed(written: str, name: str) -> Words:
    return Words(
        f"The instrument gave {shown(written)} for the {_named(name)}: it failed.",
        "Nothing to do if the reading failed; otherwise correct the cell.",
    )


@WORDS.of(Code.NOT_A_DATE)
def _not_a_date(written: str, order: str) -> Words:
    return Words(
        why_not_a_date(written, order),
        "Write dates as YYYY-MM-DD; in a spreadsheet give the column the format yyyy-mm-dd and "
        "save it as CSV again.",
    )


def why_not_a_date(text: str, order: str = "") -> str:
    """Return what is wrong with a cell that is no date.

    Parameters
    ----------
    text : str
        The cell.
    order : str
        The order that the caller has stated, or "".

    Examples
    --------
    >>> why_not_a_date("2025-02-30")
    '"2025-02-30" is not a day of the calendar, or not a time of day.'
    """
    if order and re.match(SWAPPABLE, text):
        return f"{shown(text)} is not a date written {DATE_ORDERS[order]}, as was stated."
    if both := both_readings(text):
        return f"{shown(text)} could be {both}."
    if re.match(ISO, text):
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
    year = int(match[3]) if match else 0
    year += 2000 if year < 100 else 0
    return " or ".join(
        f"{day} {calendar.month_name[month]} {year} ({_FIRST[first]})"
        for (day, month), first in dates_of_either_order(text).items()
    )


@WORDS.of(Code.EARLY_DATE)
def _early_date(written: str, year: int) -> Words:
    return Words(
        f"{shown(written)} is before {year}.",
        "Correct the year; a date left open is a blank cell.",
    )


@WORDS.of(Code.DAY_OR_MONTH)
def _day_or_month(such_as: str, dates: int, rows: bool) -> Words:
    both = both_readings(such_as) or "no date of either order"
    aside = f"All {dates} {'rows with such a date' if rows else 'such dates'} are set aside."
    return Words(f"{shown(such_as)} could be {both}; dates are never guessed. {aside}", WHICH_ORDER)


@WORDS.of(Code.WHICH_FIRST)
def _which_first(heading: str) -> Words:
    return Words(f"{heading}: day or month first?", "")


@WORDS.of(Code.NOT_EXCLUDED)
def _not_excluded(written: str) -> Words:
    return Words(
        f"{shown(written)} is taken to mean that the reading counts.",
        "Leave the cell blank for a reading that counts; write the reason for one that does not.",
    )


@WORDS.of(Code.EXCLUDED_UNSAID)
def _excluded_unsaid(written: str) -> Words:
    return Words(
        f"{shown(written)} leaves the reading out, and says no reason for it.",
        "Write why it does not count; leave the cell blank for a reading that counts.",
    )


@WORDS.of(Code.MEANT_WORD)
def _meant_word(written: str, word: str) -> Words:
    return Words(
        f'{shown(written)} is read as "{word}".',
        f'Nothing to do if it means that; to be plain, write "{word}".',
    )


@WORDS.of(Code.NOT_A_COUNT)
def _not_a_count(cell: str) -> Words:
    return Words(
        f"{shown(cell)} is not a count of readings." if cell else "The count is missing.",
        "Write how many readings are behind the mean.",
    )


@WORDS.of(Code.NOT_A_SPREAD)
def _not_a_spread(cell: str) -> Words:
    return Words(
        f"{shown(cell)} is not a standard deviation of two or more readings.",
        "Write the standard deviation in mmHg, or leave the cell blank.",
    )
