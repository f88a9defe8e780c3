"""Readings as they are typed on the command line, one word each. Standard library only.

``158``; ``over300`` and ``under40`` (or ``">300"``, ``"<40"`` in quotation marks) for what the
gauge could not show; ``no-sound``; of an oscillometric instrument ``158/92/114/180``, systolic,
diastolic, mean and heart rate, as far as given; an ``x`` at the end for one that shall not count.
"""

from __future__ import annotations

import re

from bpvet.answers.room.result import RoomReading
from bpvet.errors import CallError
from bpvet.facts.protocol import MMHG_PER_KPA, limits
from bpvet.frozen import replace
from bpvet.printing import shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

#: What stands for the reason where only an ``x`` was typed.
NO_REASON = "no reason given"

_NUMBER = r"[0-9]{1,6}(?:\.[0-9]{1,6})?"
#: Patterns are compiled when the first word needs one, which a plain number never does.
_BOUND = rf"(>=?|<=?|≥|≤|over|under)\s*({_NUMBER})"
_PARTS = rf"({_NUMBER})(?:/({_NUMBER})?)?(?:/({_NUMBER})?)?(?:/({_NUMBER})?)?"
_MOMENT = r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?)?"
_NO_SOUND = r"no[ -]?sound"
_EXCLUSION = r"([0-9]{1,3})(?:=(.*))?"
_LONGEST = 6
#: Words that do not exclude a reading in the records.
_NO_REASONS = ("no", "false", "0")
_QUANTITIES = ("systolic", "diastolic", "mean", "heart_rate")


def typed_readings(
    words: Sequence[str], method: str, exclude: Sequence[str] = (), species: str = ""
) -> list[RoomReading]:
    """Return the readings that were typed.

    Parameters
    ----------
    words : sequence of str
        One word for each reading, in order of taking.
    method : str
        ``doppler`` or ``oscillometric``.
    exclude : sequence of str
        ``2=moved``: the second reading shall not count, because the animal moved.
    species : str
        ``cat``, ``dog`` or blank; the limits of heart rate differ.

    Raises
    ------
    CallError
        A word is no reading, or cannot be a pressure; it is named with its place.

    Examples
    --------
    >>> [r.systolic for r in typed_readings(["165", "over300", "no-sound"], "doppler")]
    [165.0, 300.0, None]
    >>> typed_readings(["158/92/114"], "oscillometric")[0].mean
    114.0
    """
    readings = [
        typed_reading(word, method, species, number) for number, word in enumerate(words, start=1)
    ]
    for text in exclude:
        number, reason = _exclusion(text, len(readings))
        readings[number - 1] = replace(readings[number - 1], excluded=reason)
    return readings


def typed_reading(word: str, method: str, species: str = "", number: int = 1) -> RoomReading:
    """Return one reading that was typed.

    Parameters
    ----------
    word, method, species
        As in `typed_readings`.
    number : int
        Its place in the session, for the message.

    Raises
    ------
    CallError
        It is no reading, or cannot be a pressure.

    Examples
    --------
    >>> typed_reading("under40", "doppler").bound
    'at most'
    """
    reading = _reading(number, word.strip(), method)
    _judge(number, reading, species)
    return reading


def given_reason(text: str, what: str) -> str:
    """Return the reason why a reading does not count; "" where none was typed.

    Raises
    ------
    CallError
        In the records the word would not exclude anything.
    """
    reason = one_line(text, what)
    if reason.casefold() in _NO_REASONS:
        raise CallError(f"{what}: in the records that would not exclude it. Give a reason.")
    return reason


def moment(text: str, option: str) -> str:
    """Return a date, or a date and time, in ISO form with a "T".

    Parameters
    ----------
    text, option : str
        What was typed, and after which option.

    Raises
    ------
    CallError
        It is none, or lies in the future.
    """
    from datetime import date, datetime

    if not re.fullmatch(_MOMENT, text, re.ASCII):
        raise CallError(f"{option} {shown(text)}: write 2026-03-01 or 2026-03-01T10:15.")
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise CallError(f"{option} {shown(text)} is not in the calendar or on the clock.") from None
    if found.date() > date.today():
        raise CallError(f"{option} {shown(text)} is in the future.")
    return text.replace(" ", "T")


def one_line(text: str, what: str) -> str:
    """Return text from the command line, if it is one line of letters that can be written down.

    Raises
    ------
    CallError
        It holds a line break, a control character or bytes that are no text.
    """
    if any(ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u2028\u2029" for c in text):
        raise CallError(f"{what} {shown(text)} holds a line break or a control character.")
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise CallError(f"{what} holds bytes that are not text in this terminal's encoding.")
    return text.strip()


def _reading(number: int, word: str, method: str) -> RoomReading:
    excluded = ""
    if len(word) > 1 and word[-1] in "xX":
        word, excluded = word[:-1].strip(), NO_REASON
    if word.isascii() and word.isdigit() and len(word) <= _LONGEST:
        return RoomReading(float(word), excluded=excluded)
    if re.fullmatch(_NO_SOUND, word, re.IGNORECASE):
        return RoomReading(None, excluded=excluded)
    if found := re.fullmatch(_BOUND, word, re.IGNORECASE):
        sign, digits = found.groups()
        bound = "at least" if sign.lower()[0] in ">≥o" else "at most"
        return RoomReading(float(digits), bound, excluded=excluded)
    parts = re.fullmatch(_PARTS, word)
    if parts is None:
        raise CallError(f"Reading {number}, {shown(word)}, is not a number. {_fix(word)}")
    if method == "doppler" and "/" in word:
        raise CallError(
            f"Reading {number}, {shown(word)}: a Doppler flow detector gives one number a reading. "
            "Put a space between readings."
        )
    systolic, diastolic, mean, rate = (
        None if value is None else float(value) for value in parts.groups()
    )
    return RoomReading(systolic, "", diastolic, mean, rate, excluded)


def _fix(word: str) -> str:
    from bpvet.wording.en.command.typed import AFTER_THEM, HOW_TO_WRITE, LETTERS_FOR_DIGITS, SLIPS

    if re.fullmatch(rf"{_NUMBER}(,{_NUMBER}){{2,}}", word):
        return SLIPS["commas"]
    if re.fullmatch(r"[0-9]+,[0-9]+", word):
        return SLIPS["decimal comma"]
    if re.fullmatch(r"-[0-9.]+", word):
        return SLIPS["negative"]
    alike = word.translate(str.maketrans("OolI", "0011"))
    if alike != word and re.fullmatch(_PARTS, alike):
        return LETTERS_FOR_DIGITS.format(number=alike)
    return f"{HOW_TO_WRITE}{AFTER_THEM}."


def _judge(number: int, reading: RoomReading, species: str) -> None:
    """Refuse what cannot be, so that it is typed again while the animal is still there."""
    for name in _QUANTITIES:
        value, bounds = getattr(reading, name), limits(name, species)
        if value is not None and bounds.sets_aside(value):
            from bpvet.wording.en.command.typed import QUANTITIES

            low, high = bounds.aside_low, bounds.aside_high
            limit = f"below {low:g}" if value < low else f"above {high:g}"
            raise CallError(
                f"Reading {number}: {value:g} cannot be a {QUANTITIES[name]}: {limit}. "
                f"{_slip(name, value, low, high)}"
            )
    systolic, diastolic, mean = reading.systolic, reading.diastolic, reading.mean
    if systolic is None:
        return
    if diastolic is not None and diastolic >= systolic:
        raise CallError(
            f"Reading {number}: the diastolic {diastolic:g} is not below the systolic "
            f"{systolic:g}. The order is systolic/diastolic/mean/rate."
        )
    if diastolic is not None and mean is not None and not diastolic < mean < systolic:
        raise CallError(
            f"Reading {number}: the mean {mean:g} does not lie between the diastolic "
            f"{diastolic:g} and the systolic {systolic:g}. The order is "
            "systolic/diastolic/mean/rate."
        )


def _slip(name: str, value: float, low: float, high: float) -> str:
    from bpvet.wording.en.command.typed import IN_KPA, SLIPS

    if name != "heart_rate" and value < low and low <= value * MMHG_PER_KPA <= high:
        return IN_KPA.format(value=value, mmhg=value * MMHG_PER_KPA)
    if value == 0:
        return SLIPS["zero"]
    return SLIPS["digit" if value > high and low <= value / 10 <= high else ""]


def _exclusion(text: str, readings: int) -> tuple[int, str]:
    found = re.fullmatch(_EXCLUSION, text.strip(), re.DOTALL)
    if found is None:
        raise CallError(
            f"--exclude {shown(text)}: write the reading's place and why it does not count, "
            'such as 2=moved, or "2=the cat moved".'
        )
    number = int(found.group(1))
    reason = given_reason(found.group(2) or "", f"--exclude {shown(text)}")
    if not 1 <= number <= readings:
        raise CallError(f"--exclude {shown(text)}: there is no reading {number}, only {readings}.")
    return number, reason or NO_REASON
