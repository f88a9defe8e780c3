"""Signs that are written down, read clause by clause: of which group, and how they are meant.

The rules are those of the design's page on safety; the terms stand in ``signs.toml``, the words
around them in ``sign_words.toml``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

from bpvet.facts.signs.clauses import drafts
from bpvet.facts.signs.exams import EXAMINATION
from bpvet.facts.signs.foreign import (
    Found,
    foreign_signs,
    group_of_term,
    may_be_foreign,
    without_friends,
)
from bpvet.facts.signs.items import Draft
from bpvet.facts.signs.lexicon import may_name_sign, names_sign
from bpvet.facts.signs.terms import elements
from bpvet.facts.signs.tokens import tokens

#: The most pressing first.
GROUPS = ("eye", "brain", "brain_other", "look", "weak", "heart", "kidney", "bleeding", "other")
READINGS = ("present", "denied", "past", "unclear", "unread", "other")
#: What the column ``status`` may say; blank lets the text decide.
STATUSES = ("present", "absent", "resolved", "longstanding")
#: Plain answers under ``status``, as after a sign in a text. Of what a single letter or mark may
#: mean, only what makes an animal look worse is taken: "n" or "-" may be a cell that was skipped.
ANSWERS = {
    **dict.fromkeys(("yes", "y", "+", "+ve", "pos", "positive", "true"), "present"),
    **dict.fromkeys(("no", "negative"), "absent"),
}
#: Letters of a cell that are read; what lies beyond is unread, and said to be.
MOST_LETTERS = 4000
#: Letters of a piece of what lies beyond them in a note.
_PIECE = 400


@dataclass(frozen=True, slots=True)
class SignItem:
    """One item of a cell, and how it was understood.

    Parameters
    ----------
    text : str
        The item as written.
    term : str
        Canonical name; an examination's for a normal one; blank where no term was found.
    group : str
        One of `GROUPS`, or blank where the item is unread.
    reading : str
        One of `READINGS`. ``other`` is a finding of group "other", or no sign at all (a plan, a
        warning, another animal's); ``unread`` has words that stand in no list.
    """

    text: str
    term: str
    group: str
    reading: str


def read_sign(text: str, status: str = "", seen_on: date | None = None) -> tuple[SignItem, ...]:
    """Return the items of a cell and how each is meant.

    Parameters
    ----------
    text : str
        The cell, of any length.
    status : str
        What the column ``status`` says: one of `STATUSES`, or blank; any other word makes every
        sign of the cell unclear.
    seen_on : date, optional
        When it was seen; dates in the text count from it.

    Returns
    -------
    tuple of SignItem
        At least one for a cell that is not blank. A status decides: ``absent`` reads as denied,
        ``resolved`` as past, ``present`` and ``longstanding`` as present (the status stays beside
        it); where it and the text disagree, or the text is unclear, the item is unclear.

    Examples
    --------
    >>> read_sign("no haemorrhage or detachment. Seizure x2")[2]
    SignItem(text='Seizure x2', term='seizure', group='brain', reading='present')
    >>> [item.reading for item in read_sign("no seizures", "present")]
    ['unclear']
    """
    if not text.strip():
        return ()
    day = seen_on if _MAY_DATE.search(text) else None
    word = " ".join(status.casefold().split())
    return _read(text, word, day)


#: Only a text with a number or the name of a month is dated by the day on which it was written.
_MAY_DATE = re.compile(r"\d|jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec", re.IGNORECASE)


@lru_cache(maxsize=32768)
def _read(text: str, status: str, seen_on: date | None) -> tuple[SignItem, ...]:
    head = text[:MOST_LETTERS]
    made: dict[SignItem, None] = {}
    for draft in _chosen(head, drafts(head, elements(tokens(head, seen_on)))):
        piece = head[draft.start : draft.end].strip(_EDGES) or head.strip()
        reading = _with_status(draft, status)
        if status == "absent" and reading == "denied" and _may_be_worse(draft, piece):
            reading = "unclear"
        if draft.group == "other" and reading == "present":
            reading = "other"
        made.setdefault(SignItem(piece, draft.term, draft.group, reading))
    if len(text) > MOST_LETTERS:
        beyond = text[MOST_LETTERS : MOST_LETTERS + 80].strip() or "…"
        made.setdefault(SignItem(beyond, "", "", "unread"))
    return tuple(made)


_EDGES = " \t\r\n,;:.-/+&()\"'“”‘’"


def _chosen(text: str, found: list[Draft]) -> list[Draft]:
    """Return the items that say something; of a cell that says nothing, one."""
    stated = [draft for draft in found if draft.weight]
    stated = [draft for draft in stated if not draft.bare] or stated
    if stated:
        return stated
    doubted = [draft for draft in found if draft.reading == "unclear"]
    if doubted or found:
        return (doubted or found)[:1]
    return [Draft(0, len(text), "", "", "unclear" if "?" in text else "unread")]


def _with_status(draft: Draft, status: str) -> str:
    """Return how an item is meant beside a status: where the two disagree it is unclear."""
    reading = draft.reading
    if draft.group == "other" and reading == "unclear":
        reading = "other"
    if not status or reading in ("unread", "unclear") or (reading == "other" and draft.plain):
        return reading
    if draft.bare or status not in STATUSES:
        return "unclear"
    if status in ("present", "longstanding"):
        normal = draft.exam and reading == "denied"
        agrees = reading in ("present", "other") or (normal and status == "present")
        return reading if agrees else "unclear"
    if (draft.exam and reading == "denied") or draft.persist:
        # "eyes normal", absent: said of what?
        return "unclear"
    if status == "absent":
        return "denied"
    return "unclear" if reading == "denied" else "past"


def _may_be_worse(draft: Draft, piece: str) -> bool:
    """Whether what is said to be absent may be health: "alert, absent"; "no vision, absent"."""
    said_twice = draft.reading == "present" and _NEGATED.search(piece) is not None
    return said_twice or draft.term in _WELL


_NEGATED = re.compile(
    r"\b(?:no|not|nil|never|without|absent|cannot|cant|\w+n['’]t)\b", re.IGNORECASE
)
#: Terms of an animal that is well.
_WELL = ("appetite", "bright", "household")


def read_note(text: str, seen_on: date | None = None) -> tuple[SignItem, ...]:
    """Return what a note may tell of signs: to be asked about, never used.

    What would be present or unclear as a sign is given, with the reading ``unclear``, and what
    words of another language may tell; words that are in no list, and what of an animal at rest is
    no sign ("quiet", "lying"), are not.

    Examples
    --------
    >>> [item.term for item in read_note("calm, cuff 3; blind since yesterday?")]
    ['blindness']
    >>> [item.term for item in read_note("aveugle depuis lundi")]
    ['blindness']
    """
    found = [*_noted(text[:MOST_LETTERS], may_name_sign, seen_on)]
    asked = {item.term for item in found}
    for piece in _beyond(text):
        # What is as long is a whole history: each term is asked about once more at most.
        more = {item.term: item for item in _noted(piece, names_sign, seen_on)}
        found += [item for term, item in more.items() if term not in asked]
        asked |= set(more)
    return tuple(found)


def _noted(text: str, names: Callable[[str], bool], seen_on: date | None) -> Iterator[SignItem]:
    """Yield what a note of no more than `MOST_LETTERS` may tell; `names`: the first look at it."""
    named, foreign = names(text), may_be_foreign(text)
    if named or foreign:
        text = without_friends(text)
        items = _asked_items(text, seen_on) if named else ()
        yield from _with_foreign(items, text) if foreign else items


def _beyond(text: str) -> Iterator[str]:
    """Yield what of a note lies beyond `MOST_LETTERS`, in short pieces cut between words."""
    start = MOST_LETTERS
    while start < len(text):
        end = start + _PIECE
        if end < len(text):
            cut = text.rfind(" ", start + _PIECE // 2, end)
            end = end if cut < 0 else cut
        yield text[start:end]
        start = end


def _with_foreign(items: Sequence[SignItem], text: str) -> Iterator[SignItem]:
    """Yield what a note may tell, with what it tells in another language, or denies in it."""
    found, read = foreign_signs(text), read_sign(text)
    yield from (item for item in items if not any(_is_denied(item, each) for each in found))
    terms = {item.term for item in items}
    for each in found:
        # What the lists know as well has been read with all that stands around it.
        alone = {item.term for item in read_sign(each.words)} - {""}
        # "slepy" is sleepy, typed in haste.
        known = each.term in alone or (each.words.isascii() and each.words.isalpha() and alone)
        known = known or any(item.term == each.term and each.words in item.text for item in read)
        if not (known or each.denied or each.term in terms):
            yield SignItem(each.text, each.term, group_of_term(each.term), "unclear")


def _is_denied(item: SignItem, found: Found) -> bool:
    """Return whether what is read as a sign is denied in another language: "nicht blind"."""
    if not found.denied or found.by_english or found.term != item.term:
        return False
    rest = item.text.replace(found.words, " ")
    return rest != item.text and all(more.term != item.term for more in read_sign(rest))


def _asked_items(text: str, seen_on: date | None) -> tuple[SignItem, ...]:
    return tuple(
        SignItem(item.text, item.term, item.group, "unclear")
        for item in read_sign(text, "", seen_on)
        if item.reading in ("present", "unclear")
        and item.term
        and item.term not in _AT_REST
        # "both eyes" says where; "eyes?" asks.
        and not (item.term in _EXAMINED and "?" not in text)
    )


def read_cell(text: str, heading: str = "") -> tuple[SignItem, ...]:
    """Return what a cell of a column that may be about signs tells, read as a note.

    Parameters
    ----------
    text : str
    heading : str
        What its column is called, where that is not a name of ours: below "seizures", "2" tells.

    Examples
    --------
    >>> [item.text for item in read_cell("hyphaema OS", "eyes")]
    ['hyphaema OS']
    >>> [item.term for item in read_cell("yes", "blind")], read_cell("no", "blind")
    (['blindness'], ())
    """
    found = read_note(text)
    if found or not heading or " ".join(text.casefold().split()) in _NOTHING:
        return found
    whole = f"{heading.replace('_', ' ')}: {text}"
    return tuple(replace(item, text=whole) for item in read_note(whole)[:1])


#: What is written below the name of a sign that is not there.
_NOTHING = frozenset(("no", "n", "0", "-", "none", "nil", "false", "absent", "nad", "wnl", "ok"))
#: Terms of a part that is named and of which nothing is said.
_EXAMINED = frozenset(EXAMINATION.values())
#: Vague terms that a note of a measurement is full of.
_AT_REST = ("not himself", "shaking")


def status_shown(text: str, status: str, seen_on: date | None = None) -> str:
    """Return how the status of a sign is shown beside it: a blank one as its text is understood.

    Examples
    --------
    >>> status_shown("no seizures", ""), status_shown("seizure", ""), status_shown("?RD", "present")
    ('absent', 'present', 'present, unclear')
    """
    items = read_sign(text, status, seen_on)
    order = ("present", "unclear", "unread", "past", "denied", "other")
    found = {item.reading for item in items}
    reading = next((candidate for candidate in order if candidate in found), "")
    if reading in ("unclear", "unread"):
        meaning = {"unclear": "unclear", "unread": "not understood"}[reading]
        return f"{status}, {meaning}" if status and status != meaning else meaning
    blank = {"present": "present", "denied": "absent", "past": "past"}.get(reading, "")
    return status or blank


_UNDERSTOOD = {
    "present": "present",
    "denied": "absent",
    "past": "past",
    "unclear": "unclear",
    "unread": "not understood",
}


def understood_item(item: SignItem, status: str = "") -> str:
    """Return how one item of a cell with a status is understood, in a word or two.

    Parameters
    ----------
    item : SignItem
    status : str
        As `read_sign` takes it.
    """
    if item.reading == "denied" and item.term.endswith("examination"):
        return "normal"
    if item.reading == "present" and status == "longstanding":
        return "longstanding"
    if item.reading == "past" and status == "resolved":
        return status
    if item.reading == "other":
        return "no sign" if not item.term else status if status == "present" else "noted"
    return _UNDERSTOOD[item.reading]


def understood(text: str, status: str = "", seen_on: date | None = None) -> str:
    """Return how a cell of signs is understood: one word, or one a term where it says more.

    Parameters
    ----------
    text, status, seen_on
        As `read_sign` takes them.

    Examples
    --------
    >>> understood("blindness"), understood("no seizures; blind OU"), understood("snorf")
    ('present', 'seizure: absent, blindness: present', 'not understood')
    """
    items = read_sign(text, status, seen_on)
    plain = text.strip().casefold()
    words: dict[str, str] = {}
    # A term of two readings is told by the one that asks to be looked at.
    for item in sorted(items, key=lambda item: item.reading not in ("unread", "unclear")):
        name = item.term or f"“{item.text}”"
        words.setdefault(name, understood_item(item, status))
    words = {name: words[name] for name in (item.term or f"“{item.text}”" for item in items)}
    if len(words) == 1:
        name, word = next(iter(words.items()))
        same_name = name.casefold() == plain or not items[0].term
        return word if same_name or word == "normal" else f"{name}: {word}"
    return ", ".join(f"{name}: {word}" for name, word in words.items())
