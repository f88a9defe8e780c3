"""Signs that a note may tell of in another language: words are sought, not understood.

"erblindet" is no word of the lists, and a note of it would be silent. What is found is a question
and nothing else; it is not asked where a word directly before it denies it, or where the clause
begins with a littermate. The words stand in ``foreign_signs.toml``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import NamedTuple

from bpvet.facts.sources import table

_WORD = re.compile(r"[^\W\d_]+")
#: What ends a clause, and what a denial does not reach across.
_STOP = re.compile(r"[.;:!?,/()\n\r+&|•]|\s[-–—]\s")
#: Letters that no decomposition takes apart, and vowels that are written as two.
_LETTERS = str.maketrans({"ø": "o", "ł": "l", "æ": "ae", "œ": "oe", "ß": "ss", "đ": "d"})
_TWO_VOWELS = re.compile("(?<=[aou])e")
#: Words of a clause before a term that are looked at, and letters of it that are shown.
_BEFORE, _LONGEST = 5, 120
_GROUPS = ("eye", "brain", "brain_other", "weak")


class _Pattern(NamedTuple):
    """Folded words, each with whether it is only the beginning of one; and whose term they are."""

    words: tuple[tuple[str, bool], ...]
    term: str


class _Word(NamedTuple):
    key: str
    start: int
    end: int
    clause: int


class Found(NamedTuple):
    """A term that a note may tell of.

    Parameters
    ----------
    term, words, text : str
        Its name, the words that name it, and their clause, as written.
    denied : bool
        Whether it is denied, or another animal's, each time that it is named.
    by_english : bool
        Whether what denies it is a word of English too.
    """

    term: str
    words: str
    text: str
    denied: bool
    by_english: bool


def may_be_foreign(text: str) -> bool:
    """Return whether some word of a text begins one of the patterns; a quick look at each word."""
    return any(map(_begun, _WORD.findall(text)))


@cache
def group_of_term(term: str) -> str:
    """Return the group of a term that has words here: one of ``signs.toml``."""
    listed = table("signs")
    return next(group for group in _GROUPS if term in listed[group])


def foreign_signs(text: str) -> tuple[Found, ...]:
    """Return the terms that a text may tell of in another language, each once.

    Examples
    --------
    >>> [found.term for found in foreign_signs("seit Montag erblindet, frisst")]
    ['blindness']
    >>> [found.denied for found in foreign_signs("keine Krampfanfälle")], foreign_signs("calm")
    ([True], ())
    """
    words, told = _words(text), dict[str, Found]()
    for i in range(len(words)):
        for pattern in _begun(text[words[i].start : words[i].end]):
            before = told.get(pattern.term)
            if before is not None and not before.denied:
                continue
            last = _ends(pattern, words, i)
            if last is not None:
                told[pattern.term] = _found(text, words, pattern.term, (i, last))
    return tuple(told.values())


def _found(text: str, words: Sequence[_Word], term: str, at: tuple[int, int]) -> Found:
    first, last = at
    by_english = _denied(words, first, _list("neg_too"))
    denied = by_english or _denied(words, first, _list("neg")) or _of_kin(words, first)
    written = text[words[first].start : words[last].end]
    return Found(term, written, _shown(text, words, first, last), denied, by_english)


def without_friends(text: str) -> str:
    """Return a text with blanks for what holds a word for a sign and tells of none.

    Examples
    --------
    >>> without_friends("blinde Angst beim Messen").strip()
    'beim Messen'
    """
    return _friends().sub(lambda match: " " * len(match[0]), text)


@lru_cache(maxsize=65536)
def _fold(word: str) -> str:
    plain = word.casefold()
    if not plain.isascii():
        plain = unicodedata.normalize("NFKD", plain.translate(_LETTERS))
        plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return _TWO_VOWELS.sub("", plain)


def _words(text: str) -> list[_Word]:
    """Return the folded words of a text, each with the number of its clause."""
    stops, clause, found, ended = list(_STOP.finditer(text)), 0, list[_Word](), 0
    for match in _WORD.finditer(text):
        while ended < len(stops) and stops[ended].start() < match.start():
            ended, clause = ended + 1, clause + 1
        found.append(_Word(_fold(match[0]), match.start(), match.end(), clause))
    return found


@cache
def _patterns() -> tuple[dict[str, list[_Pattern]], dict[str, list[_Pattern]]]:
    """Return the patterns by their first word, and by the beginning of one."""
    whole, begun = dict[str, list[_Pattern]](), dict[str, list[_Pattern]]()
    for terms in _languages().values():
        for term, words in ((term, words) for term, each in terms.items() for words in each):
            pattern = _Pattern(_folded(words), term)
            first, is_stem = pattern.words[0]
            (begun if is_stem else whole).setdefault(first, []).append(pattern)
    return whole, begun


def _languages() -> dict[str, dict[str, list[str]]]:
    listed = table("foreign_signs")
    return {name: terms for name, terms in listed.items() if isinstance(terms, dict)}


def _folded(pattern: str) -> tuple[tuple[str, bool], ...]:
    return tuple((_fold(word.removesuffix("*")), word.endswith("*")) for word in pattern.split())


@cache
def _lengths() -> tuple[int, ...]:
    return tuple(sorted({len(stem) for stem in _patterns()[1]}))


@lru_cache(maxsize=65536)
def _begun(word: str) -> tuple[_Pattern, ...]:
    """Return the patterns that a word begins, the longest first."""
    whole, begun = _patterns()
    key = _fold(word)
    found = [*whole.get(key, ())]
    for length in _lengths():
        if length > len(key):
            break
        found += begun.get(key[:length], ())
    return tuple(sorted(found, key=lambda pattern: -len(pattern.words)))


def _ends(pattern: _Pattern, words: Sequence[_Word], i: int) -> int | None:
    """Return where a pattern that begins at a place ends, or None; one word may stand between."""
    for wanted, is_stem in pattern.words[1:]:
        near = range(i + 1, min(i + 3, len(words)))
        found = (
            j
            for j in near
            if words[j].clause == words[i].clause
            and (words[j].key.startswith(wanted) if is_stem else words[j].key == wanted)
        )
        at = next(found, None)
        if at is None:
            return None
        i = at
    return i


@cache
def _list(name: str) -> frozenset[str]:
    written = table("foreign_signs")[name]
    return frozenset(_fold(word) for words in written for word in words.split())


def _denied(words: Sequence[_Word], i: int, denying: frozenset[str]) -> bool:
    """Return whether a term is denied: by the word before it, or before a term joined to it."""
    for j in range(i - 1, max(-1, i - 1 - _BEFORE), -1):
        if words[j].clause != words[i].clause:
            return False
        key = words[j].key
        if key in denying:
            return True
        if not (key in _list("between") or key in _list("or") or _is_term(key)):
            return False
    return False


@lru_cache(maxsize=65536)
def _is_term(key: str) -> bool:
    return any(len(pattern.words) == 1 for pattern in _begun(key))


def _of_kin(words: Sequence[_Word], i: int) -> bool:
    """Return whether a clause begins with a littermate that a term stands beside."""
    first = i
    while first and words[first - 1].clause == words[i].clause and i - first < 3:
        first -= 1
    begins = first == 0 or words[first - 1].clause != words[i].clause
    named = [j for j in range(first, i) if words[j].key in _list("kin")]
    return begins and bool(named) and i - named[-1] <= 2 and named[-1] - first <= 1


def _shown(text: str, words: Sequence[_Word], i: int, last: int) -> str:
    """Return the clause of a term as written, or so much of it as is shown."""
    first = i
    while first and words[first - 1].clause == words[i].clause:
        first -= 1
    while last + 1 < len(words) and words[last + 1].clause == words[i].clause:
        last += 1
    begun = words[first].start
    while begun and not (text[begun - 1].isspace() or _STOP.match(text[begun - 1])):
        begun -= 1
    start = max(begun, words[i].end - _LONGEST // 2)
    return text[start : min(words[last].end, start + _LONGEST)]


@cache
def _friends() -> re.Pattern[str]:
    written = table("foreign_signs")["friends"]
    each = (r"\s+".join(map(re.escape, words.split())).replace(r"\*", r"\w*") for words in written)
    return re.compile(rf"\b(?:{'|'.join(each)})\b", re.IGNORECASE)
