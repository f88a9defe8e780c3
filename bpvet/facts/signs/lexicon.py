"""The lists of terms and of words around them, as a tree of patterns, and the words they know.

One slip (a letter too many, too few, wrong, or two exchanged) is forgiven in words of six letters
or more of terms and of words of doubt, never in what denies.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any, NamedTuple

from bpvet.facts.compiled import keep, made_of
from bpvet.facts.drugs import drug
from bpvet.facts.signs.tokens import expanded, tokens
from bpvet.facts.sources import table
from bpvet.garbage import garbage_waits

#: Letters of a word of a term from which on one slip is forgiven.
_SLIP_LETTERS = 6
_LONGEST_WORD = 40
#: Words of these roles may be misspelt too: they only make the reader more careful.
_SLIP_ROLES = ("unclear", "persist")
#: What the lists are made of: the build keeps them for as long as nothing here is changed.
_MADE_OF = (
    "signs.toml",
    "sign_words.toml",
    "drugs.toml",
    "drugs.py",
    os.path.join("signs", "tokens.py"),
    os.path.join("signs", "lexicon.py"),
)
_NAME = "sign_lexicon"


@dataclass(frozen=True, slots=True)
class Term:
    """A sign by its name.

    Parameters
    ----------
    name, group : str
        Canonical name and group.
    vague : bool
        Whether the words may as well mean nothing.
    """

    name: str
    group: str
    vague: bool = False


@dataclass(frozen=True, slots=True)
class ExamPart:
    """What an examination is of.

    Parameters
    ----------
    name, group : str
        Canonical name and group.
    faculty : bool
        Whether it is a sign that it is absent.
    good : bool
        Whether the words say by themselves that it is normal.
    """

    name: str
    group: str
    faculty: bool
    good: bool = False


class Entry(NamedTuple):
    """A pattern of words, and what it stands for: a term, a part of an examination, or a role."""

    pattern: tuple[str, ...]
    term: Term | None = None
    exam_part: ExamPart | None = None
    role: str = ""


class Row(NamedTuple):
    """An `Entry` as the build keeps it: the arguments of its term and its exam part."""

    pattern: tuple[str, ...]
    term: tuple[Any, ...] = ()
    exam_part: tuple[Any, ...] = ()
    role: str = ""


class Node:
    """Where a row of words leads: further words, and the patterns that end here.

    What lies below it is laid out word by word, as far as anybody goes: of some eight thousand
    nodes the signs of a clinic meet a few hundred.

    Parameters
    ----------
    patterns : iterable of tuple
        Those that begin with the words that lead here, as in `Row`.
    depth : int
        How many words those are.
    """

    __slots__ = ("_children", "_depth", "ends", "entries")

    def __init__(self, patterns: Iterable[tuple[Any, ...]], depth: int = 0) -> None:
        self.entries: list[Entry] = []
        self.ends: list[Entry] = []
        self._depth = depth
        self._children: dict[str, list[tuple[Any, ...]] | Node] = {}
        for row in patterns:
            pattern = row[0]
            if len(pattern) > depth and pattern[depth] != "$":
                # A node would have no `append`, and none stands here before the first look.
                self._children.setdefault(pattern[depth], []).append(row)  # type: ignore[union-attr]
                continue
            _, term, exam_part, role = row
            ending = Entry(
                pattern,
                Term(*term) if term else None,
                ExamPart(*exam_part) if exam_part else None,
                role,
            )
            (self.entries if len(pattern) == depth else self.ends).append(ending)

    @property
    def is_leaf(self) -> bool:
        """Whether no pattern goes on from here."""
        return not self._children

    def child(self, word: str) -> Node | None:
        """Return where one more word leads; None where no pattern goes on with it."""
        found = self._children.get(word)
        if isinstance(found, list):
            found = self._children[word] = Node(found, self._depth + 1)
        return found


@dataclass(frozen=True)
class Lexicon:
    """Words and patterns of the two lists.

    Parameters
    ----------
    classes : mapping
        Classes of words ("@eye") by the last word of each of their members.
    tree : Node
        Every pattern.
    name_signs : frozenset of str
        Words and classes of patterns that name a sign or a part of an examination.
    neutral, ordinary, words : frozenset of str
        Words that say nothing, those that are no slip of another, and all that are known.
    may_slip : frozenset of str
        Words that are met with a slip in them too.
    letters : str
        All letters of these.
    drugs : frozenset of str
        Words of the names of drugs.
    """

    classes: Mapping[str, frozenset[str]]
    tree: Node = field(repr=False)
    name_signs: frozenset[str]
    neutral: frozenset[str]
    ordinary: frozenset[str]
    words: frozenset[str]
    may_slip: frozenset[str] = field(repr=False)
    letters: str
    drugs: frozenset[str] = field(repr=False)


def may_name_sign(text: str) -> bool:
    """Return whether some word of a text begins a term that is told; a quick look at each word."""
    return any(_may_begin(word) for word in re.findall(r"[^\W\d_]+", text))


def names_sign(text: str) -> bool:
    """Return whether some word of a text, as it is written, begins a term that is told.

    Slips are not looked for: that is what is dear of words that nobody knows.
    """
    return any(
        not all_keys(key).isdisjoint(sign_lexicon().name_signs)
        for word in re.findall(r"[^\W\d_]+", text)
        for key in expanded(word)
    )


@lru_cache(maxsize=65536)
def _may_begin(word: str) -> bool:
    return any(
        not all_keys(known_word(key)).isdisjoint(sign_lexicon().name_signs)
        for key in expanded(word)
    )


@lru_cache(maxsize=65536)
def all_keys(word: str) -> frozenset[str]:
    """Return a word, its singular where that is known, and the classes of both."""
    lexicon = sign_lexicon()
    keys = {word}
    if word.endswith("s") and len(word) > 3 and word[:-1] in lexicon.words:
        keys.add(word[:-1])
    return frozenset(keys.union(*(lexicon.classes.get(key, ()) for key in keys)))


@lru_cache(maxsize=65536)
def is_drug(word: str) -> bool:
    return word in sign_lexicon().drugs


def _drug_words() -> frozenset[str]:
    listed = table("drugs")
    names = [name for group in listed["group"] for name in group["names"]]
    names += [*listed["spellings"], *listed["dropped"]]
    return frozenset(token.key for name in names for token in tokens(name)) | frozenset(
        key for name in names if drug(name) is not None for key in _words_of(name)
    )


@cache
def _words_of(text: str) -> tuple[str, ...]:
    # Most entries of the lists are bare words, and of those cutting makes nothing else.
    if text.isascii() and text.isalpha():
        return expanded(text)
    return tuple(token.key for token in tokens(text))


@lru_cache(maxsize=65536)
def known_word(word: str) -> str:
    """Return the word of the lists that a word is: itself, its singular, or one slip from it."""
    lexicon = sign_lexicon()
    if word in lexicon.words or len(word) > _LONGEST_WORD:
        return word
    for ending in ("s", "es"):
        if word.endswith(ending) and len(word) - len(ending) > 2:
            bare = word[: -len(ending)]
            if bare in lexicon.words:
                return bare
    if len(word) < _SLIP_LETTERS - 1 or is_drug(word):
        return word
    for spelt in (word, word.removesuffix("s")):
        if near := lexicon.may_slip.intersection(_one_slip(spelt, lexicon.letters)):
            return min(near)
    return word


def _one_slip(word: str, letters: str) -> Iterator[str]:
    """Yield what is a word, or differs by one letter or by two neighbours exchanged."""
    yield word
    for i in range(len(word) + 1):
        head, tail = word[:i], word[i:]
        yield head + tail[1:]
        yield head + tail[1:2] + tail[:1] + tail[2:]
        for letter in letters:
            yield head + letter + tail
            yield head + letter + tail[1:]


@cache
@garbage_waits()
def sign_lexicon() -> Lexicon:
    """Return the lexicon of the lists, made once a process."""
    lists = dict(made_of(_NAME, _MADE_OF, _lists))
    return Lexicon(tree=Node(lists.pop("rows")), **lists)


def keep_lexicon() -> str:
    """Keep the lists as they are made, for every start after; return the path of the file."""
    return keep(_NAME, _MADE_OF, _lists())


def _lists() -> dict[str, Any]:
    """Return what a `Lexicon` is made of, in plain values; its tree as rows."""
    signs, around = table("signs"), table("sign_words")
    classes: dict[str, set[str]] = {}
    for name, words in signs["words"].items():
        for word in words:
            for key in _words_of(word)[-1:]:
                classes.setdefault(key, set()).add(f"@{name}")
    rows = list(_rows(signs, around))
    neutral = {key for word in around["neutral"]["words"] for key in _words_of(word)}
    ordinary = set(_words_of(around["ordinary"]["words"])) | _never()
    between = {key for word in around["between"]["words"] for key in _words_of(word)}
    known, in_patterns, may_slip = set[str](), set[str](), set[str]()
    for row in rows:
        known.update(row.pattern)
        if (row.term and row.term[1] != "other") or row.exam_part:
            in_patterns.update(row.pattern)
        if not row.role or row.role in _SLIP_ROLES:
            may_slip.update(row.pattern)
    classes_of = {key: frozenset(names) for key, names in classes.items()}
    for key in between:
        classes_of[key] = classes_of.get(key, frozenset()) | {"@between"}
    literal = {word for word in known if word[0] not in "@$"}
    slips = ((may_slip & literal) | set(classes)) - neutral - ordinary
    long = frozenset(word for word in slips if len(word) >= _SLIP_LETTERS)
    return {
        "classes": classes_of,
        "rows": [tuple(row) for row in rows],
        "name_signs": frozenset(in_patterns),
        "neutral": frozenset(neutral),
        "ordinary": frozenset(ordinary),
        "words": frozenset(literal.union(classes, neutral, ordinary, between)),
        "may_slip": long,
        "letters": "".join(sorted(set("".join(long)))),
        "drugs": _drug_words(),
    }


def _never() -> frozenset[str]:
    """Words of plain English that are one slip from a word of a term, and are no slip."""
    return frozenset(_words_of(table("sign_words")["no_slip"]["words"]))


def _rows(signs: Mapping[str, Any], around: Mapping[str, Any]) -> Iterator[Row]:
    for group in ("eye", "brain", "brain_other", "look", "weak", "heart", "kidney", "bleeding"):
        for name, patterns in signs[group].items():
            yield from (Row(p, term=(name, group)) for p in _patterns(patterns))
    for name, patterns in signs["other"].items():
        yield from (Row(p, term=(name, "other")) for p in _patterns(patterns))
    for group, terms in signs["vague"].items():
        for name, patterns in terms.items():
            yield from (Row(p, term=(name, group, True)) for p in _patterns(patterns))
    for kind in ("good", "faculty", "part"):
        for group, parts in signs[kind].items():
            for name, patterns in parts.items():
                exam_part = (name, group, kind != "part", kind == "good")
                yield from (Row(p, exam_part=exam_part) for p in _patterns(patterns))
    for role, patterns in around["roles"].items():
        yield from (Row(p, role=role) for p in _patterns(patterns))


def _patterns(written: Iterable[str]) -> Iterator[tuple[str, ...]]:
    for pattern in dict.fromkeys(written):
        words: list[str] = []
        for word in pattern.removesuffix("<>").split():
            words += [word] if word[0] in "@$" else _words_of(word)
        if words:
            yield tuple(words)
            if pattern.endswith("<>"):
                yield tuple(reversed(words))
