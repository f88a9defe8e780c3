"""The terms and the words around them, found in the pieces of a cell: the longest pattern wins.

A pattern is a row of words; neutral words (sides, counts, degrees, copulas) may stand between.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bpvet.facts.signs.lexicon import (
    Entry,
    ExamPart,
    Lexicon,
    Term,
    all_keys,
    is_drug,
    known_word,
    sign_lexicon,
)
from bpvet.facts.signs.tokens import Token

#: Neutral words that may stand between two words of a pattern.
_MOST_SKIPPED = 5


#: Which of several readings of the same words is taken.
_ORDER = (
    *("eye", "brain", "brain_other", "bleeding", "heart", "kidney", "look", "weak"),
    *("vague", "other"),
)


@dataclass(slots=True)
class Element:
    """Pieces of a cell that belong together, and what they may be.

    Parameters
    ----------
    kind : str
        Kind of its first piece.
    key : str
        Its folded words.
    start, end : int
        Its place in the cell.
    term, exam_part : Term or ExamPart or None
        The sign, or what was examined.
    roles : frozenset of str
        What the words do to a sign beside them.
    known : str
        ``neutral``, ``ordinary``, ``drug`` or blank for a single word.
    value : float
        Days, or the number.
    """

    kind: str
    key: str
    start: int
    end: int
    term: Term | None = None
    exam_part: ExamPart | None = None
    roles: frozenset[str] = frozenset()
    known: str = ""
    value: float = float("nan")
    state: str = ""
    used: bool = False
    seg: int = 0


def elements(found: Sequence[Token]) -> list[Element]:
    """Return the pieces of a cell as elements, each with what it may be.

    Parameters
    ----------
    found : sequence of Token
        Its pieces, as `bpvet.facts.signs.tokens.tokens` gives them.
    """
    lexicon = sign_lexicon()
    keys = [known_word(token.key) if token.kind == "word" else token.key for token in found]
    sets = [all_keys(key) for key in keys]
    made: list[Element] = []
    i = 0
    while i < len(found):
        length, entries, end = _longest(lexicon, found, sets, i)
        if length == 0:
            made.append(_single(lexicon, found[i], keys[i]))
            i += 1
            continue
        made.append(_matched(lexicon, found, keys, i, end, entries))
        i = end
    return made


def _longest(
    lexicon: Lexicon, found: Sequence[Token], sets: Sequence[frozenset[str]], i: int
) -> tuple[int, list[Entry], int]:
    """Return how long the longest pattern at a place is, its entries, and where it ends."""
    best, best_end, entries = 0, i, list[Entry]()
    # A state is a node of the tree of patterns, the next place, words used and words skipped.
    states = [(lexicon.tree, i, 0, 0)]
    while states:
        node, at, used, skipped = states.pop()
        here = node.entries
        ends = node.ends if node.ends and _ends_item(lexicon, found, sets, at) else ()
        size = used + (1 if ends else 0)
        if (here or ends) and (size > best or (size == best and at <= best_end)):
            if size > best or at < best_end:
                entries = []
            entries += ends or here
            best, best_end = size, at
        if at == len(found):
            continue
        for key in sets[at]:
            following = node.child(key)
            if following is not None:
                states.append((following, at + 1, used + 1, 0))
        if used and skipped < _MOST_SKIPPED and not node.is_leaf and _may_skip(lexicon, found[at]):
            states.append((node, at + 1, used, skipped + 1))
    # "bloods" is a test, although "blood" is a sign.
    exact = [entry for entry in entries if entry.pattern[0] == found[i].key]
    if best == 1 and exact:
        entries = [e for e in entries if e in exact or e.pattern[0].startswith("@")]
    return best, entries, best_end


def _ends_item(
    lexicon: Lexicon, found: Sequence[Token], sets: Sequence[frozenset[str]], at: int
) -> bool:
    """Return whether nothing but neutral words stands between a place and the end of its item."""
    for j in range(at, min(at + _MOST_SKIPPED + 1, len(found))):
        if found[j].kind == "times" or (
            found[j].kind == "word" and found[j].key in lexicon.neutral
        ):
            continue
        return found[j].kind != "word" or not sets[j].isdisjoint(_ENDS)
    return at + _MOST_SKIPPED >= len(found)


#: What may follow the end of an item without a separator.
_ENDS = frozenset({"and", "or", "nor", "but", "since", "with", "today", "now", "for", "after", "x"})


def _may_skip(lexicon: Lexicon, token: Token) -> bool:
    if token.kind == "word":
        return token.key in lexicon.neutral
    return token.kind in ("times", "grade", "number", "colon")


def _matched(
    lexicon: Lexicon,
    found: Sequence[Token],
    keys: Sequence[str],
    i: int,
    end: int,
    entries: Iterable[Entry],
) -> Element:
    entries = list(entries)
    terms = sorted(
        (entry.term for entry in entries if entry.term is not None),
        key=lambda term: _ORDER.index("vague" if term.vague else term.group),
    )
    parts = sorted(
        (entry.exam_part for entry in entries if entry.exam_part is not None),
        key=lambda exam_part: not exam_part.good,
    )
    made = Element(
        kind="word" if found[i].kind in ("word", "number", "times") else found[i].kind,
        key=" ".join(keys[i:end]),
        start=found[i].start,
        end=found[end - 1].end,
        term=terms[0] if terms else None,
        exam_part=parts[0] if parts else None,
        roles=frozenset(entry.role for entry in entries if entry.role),
        known="pattern",
        value=found[i].value,
    )
    if end == i + 1:
        made.known = _single(lexicon, found[i], keys[i]).known or "pattern"
    return made


def _single(lexicon: Lexicon, token: Token, key: str) -> Element:
    known = ""
    if token.kind == "word":
        if key in lexicon.neutral:
            known = "neutral"
        elif key in lexicon.ordinary or (len(key) == 1 and key.isascii()):
            known = "ordinary"
        elif is_drug(key):
            known = "drug"
    return Element(token.kind, key, token.start, token.end, known=known, value=token.value)
