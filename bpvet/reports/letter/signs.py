"""The signs of a letter, each with how it stands, and the last entry about the eyes."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable
from typing import Any, NamedTuple

import numpy as np

from bpvet.facts.signs.signs import read_sign, understood
from bpvet.figures.lettering import written
from bpvet.reports.letter.source import Source
from bpvet.visits.signs.signs import animal_signs, day_of
from bpvet.visits.signs.states import SignState
from bpvet.wording.en.letter import age_words
from bpvet.wording.en.pages.letter import NOTES, eyes_words
from bpvet.wording.en.phrases import day

#: Signs of so many days before the date that is spoken for are told on the first page.
RECENT_DAYS = 365
#: Words of an entry that speaks of the eyes, besides the signs that are known as theirs.
_EYES = re.compile(
    r"\b(eyes?|retina\w*|fundus|fundic|fundoscop\w*|ophthalm\w*|ocular|intraocular|choroid\w*"
    r"|hyph(a?e)ma|vitre\w*)\b",
    re.IGNORECASE,
)
_OPEN = ("present", "unclear", "unread")

_Row = dict[Hashable, Any]


class Signs(NamedTuple):
    """Signs as recorded, a line a date: those that matter now, and the older ones."""

    now: tuple[str, ...]
    earlier: tuple[str, ...]


def sign_lines(source: Source, signs: tuple[SignState, ...]) -> Signs:
    """Return every row of signs with how it is understood, a line a date, the newest first.

    Parameters
    ----------
    source : Source
    signs : tuple of SignState
        How each sign stands by now, as an answer holds them.

    Returns
    -------
    Signs
        `now` holds the last `RECENT_DAYS`, what is longstanding or still open however old, and
        rows without a date; `earlier` the rest.
    """
    frame = source.rows(source.records.observations, "seen_on")
    stands = {sign.term: sign for sign in signs if sign.term and not sign.asked_only}
    since = source.as_of - np.timedelta64(RECENT_DAYS, "D")
    now: dict[str, list[str]] = {}
    earlier: dict[str, list[str]] = {}
    for row in frame.iloc[::-1].to_dict("records"):
        date = day_of(row["seen_on"])
        recent = date is None or np.datetime64(date) > since
        group = now if recent or _open(row, signs) else earlier
        when = day(date) if date else NOTES["date"]
        group.setdefault(when, []).append(sign_words(row, stands))
    return Signs(_dated(now), _dated(earlier))


def _dated(lines: dict[str, list[str]]) -> tuple[str, ...]:
    return tuple(f"{date}: {'; '.join(texts)}" for date, texts in lines.items())


def _open(row: _Row, signs: Iterable[SignState]) -> bool:
    """Return whether a row is the newest of a sign that is longstanding or still open."""
    date = day_of(row["seen_on"])
    if date is None or row["set_aside"]:
        return False
    items = read_sign(str(row["sign"]), str(row["status"]), date)
    named = {item.term or item.text.casefold() for item in items}
    return any(
        (sign.longstanding or sign.reading in _OPEN)
        and sign.seen_on == np.datetime64(date)
        and (sign.term or sign.text.casefold()) in named
        for sign in signs
        if not sign.asked_only
    )


def sign_words(row: _Row, stands: dict[str, SignState] | None = None) -> str:
    """Return a row of signs as written, how it is understood, and its note.

    Parameters
    ----------
    row : dict
        A row of the observations.
    stands : dict, optional
        How each term stands by now; a newer row that answers this one is named.
    """
    text, status, date = str(row["sign"]), str(row["status"]), day_of(row["seen_on"])
    how = understood(text, status, date)
    entered = f"entered as {status}" if status and status not in how else ""
    words = ", ".join(filter(None, (how, entered)))
    line = f"“{text}” – {words}" if words else f"“{text}”"
    line += f" ({row['note']})" if row["note"] else ""
    line += f", set aside: {row['set_aside']}" if row["set_aside"] else ""
    since = ", ".join(_answered(text, status, date, stands or {}))
    return written(f"{line}, {since}" if since else line)


def _answered(text: str, status: str, date: Any, stands: dict[str, SignState]) -> Iterable[str]:
    """Yield what newer rows say of the signs that are present in a row."""
    if date is None:
        return
    for item in read_sign(text, status, date):
        newest = stands.get(item.term)
        if item.reading not in ("present", "unclear") or newest is None:
            continue
        if newest.reading == "denied" and newest.seen_on > np.datetime64(date):
            yield f"absent on {day(newest.seen_on)}"
        elif newest.reading == "past":
            newer = newest.seen_on > np.datetime64(date)
            yield (f"past on {day(newest.seen_on)}" if newer else NOTES["normal"])


def eyes_line(source: Source, unread: bool = False) -> str:
    """Return the newest entry about the eyes, its date and what it says, or that there is none.

    Parameters
    ----------
    source : Source
    unread : bool
        Whether a line that cannot be read stands with what is not clear.
    """
    frame = source.rows(source.records.observations, "seen_on")
    frame = frame[(frame["set_aside"] == "") & frame["seen_on"].notna()]
    about = [row for row in frame.to_dict("records") if _of_the_eyes(row)]
    if not about:
        signs = animal_signs(source.records, source.animal)
        asked = unread or any(sign.is_note and sign.group in ("eye", "look") for sign in signs)
        return NOTES["eyes_asked" if asked else "eyes"]
    last = day_of(about[-1]["seen_on"])
    entries = "; ".join(sign_words(row) for row in about if day_of(row["seen_on"]) == last)
    age = age_words(np.datetime64(last, "D"), source.as_of)
    return eyes_words(day(last), age, entries)


def _of_the_eyes(row: _Row) -> bool:
    sign, note = str(row["sign"]), str(row["note"])
    items = read_sign(sign, str(row["status"]), day_of(row["seen_on"]))
    known = any(item.group in ("eye", "look") for item in items)
    return known or _EYES.search(f"{sign} {note}") is not None
