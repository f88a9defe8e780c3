"""Clauses and items of a cell: where each ends, what joins them, how they are dated."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

from bpvet.facts.signs.terms import Element
from bpvet.facts.signs.tokens import tokens
from bpvet.facts.sources import table

#: Groups of which a present sign is told.
ALARM = ("eye", "brain", "brain_other", "look", "weak", "heart", "kidney", "bleeding")
#: Days before the cell was written from which on a dated sign is past.
PAST_DAYS = 14
#: A clause is no longer than this: the cost of a hostile cell is linear.
_MOST_ELEMENTS = 80


@dataclass(slots=True)
class Draft:
    """An item as the grammar has it: its place, its term, and how it is meant."""

    start: int
    end: int
    term: str
    group: str
    reading: str
    seg: int = 0
    recent: bool = False
    persist: bool = False
    lately: bool = False
    exam: bool = False
    bare: bool = False
    plain: bool = False
    weight: int = 1


@dataclass(slots=True)
class Marks:
    """What was found of one term."""

    plan: bool = False
    another: bool = False
    unclear: bool = False
    persist: bool = False
    denied: bool = False
    past: bool = False
    #: Of a day long before, which does not end it.
    dated: bool = False
    recent: bool = False
    lately: bool = False


@dataclass(slots=True)
class Clause:
    """A clause and its items.

    Parameters
    ----------
    elements : list of Element
        Everything in it, separators too.
    segments : list of list of Element
        Its items, without their separators.
    joints : list of str
        What stands before each item: ``,``, ``or``, ``and``, ``/``, ``-``, ``?`` or blank.
    asked : list of bool
        Whether an item ends in a question mark.
    sentence : int
        The sentence it stands in.
    ends : dict of int to int
        Where an item that ends in a question mark ends.
    """

    elements: list[Element]
    sentence: int
    segments: list[list[Element]] = field(default_factory=list)
    joints: list[str] = field(default_factory=list)
    asked: list[bool] = field(default_factory=list)
    ends: dict[int, int] = field(default_factory=dict)

    def span(self, number: int) -> tuple[int, int]:
        """Return where an item begins and ends in the cell."""
        segment = self.segments[number]
        end = max(element.end for element in segment)
        return segment[0].start, self.ends.get(number, end)

    def joined(self, first: int, second: int) -> bool:
        """Return whether two items are joined by "and", "or", "/" or the like, not by a comma."""
        low, high = min(first, second), max(first, second)
        return low < high and all(
            self.joints[k] in ("or", "and", "/") for k in range(low + 1, high + 1)
        )

    def answer(self, number: int) -> str:
        """Return what answers the question that an item asks: "no", "yes", "unknown" or blank."""
        if not self.asked[number] or number + 1 >= len(self.segments):
            return ""
        words = [e for e in self.segments[number + 1] if e.kind == "word"]
        while (
            words
            and (words[0].known == "neutral" or "owner" in words[0].roles)
            and not (words[0].roles & {"post_no", "post_yes"})
        ):
            words = words[1:]
        if not words or any(e.exam_part or (e.term and e.term.group != "other") for e in words):
            return ""
        if len(words) > 2 and "post_no" not in words[0].roles:
            return ""
        for role, answer in (("post_no", "no"), ("post_yes", "yes"), ("unclear", "unknown")):
            if role in words[0].roles:
                words[0].used = True
                return answer
        return ""


def clauses(text: str, found: Sequence[Element]) -> Iterator[Clause]:
    """Return the clauses of a cell, each cut into its items."""
    sentence, current = 0, list[Element]()
    for element in found:
        if element.kind in ("stop", "arrow"):
            if current:
                yield _cut(text, Clause(current, sentence))
            current = []
            sentence += element.kind == "stop"
            continue
        if len(current) == _MOST_ELEMENTS:
            yield _cut(text, Clause(current, sentence))
            current = []
        begins = "stop" in element.roles or (element.key == "now" and _begins(current))
        if begins and current:
            yield _cut(text, Clause(current, sentence))
            current = []
        current.append(element)
    if current:
        yield _cut(text, Clause(current, sentence))


def _begins(current: Sequence[Element]) -> bool:
    """Return whether "now" begins a clause: something was said before it."""
    return any(e.term is not None or e.exam_part is not None or e.roles for e in current)


def _cut(text: str, clause: Clause) -> Clause:
    joint, segment = "", list[Element]()

    def close(asked: bool = False) -> None:
        nonlocal segment, joint
        if segment:
            for element in segment:
                element.seg = len(clause.segments)
            clause.segments.append(segment)
            clause.joints.append(joint)
            clause.asked.append(asked)
            segment, joint = [], ""
        elif asked and clause.segments:
            clause.asked[-1] = True

    for i, element in enumerate(clause.elements):
        element.seg = len(clause.segments)
        if element.kind == "query":
            glued = element.start > 0 and not text[element.start - 1].isspace()
            last = i + 1 == len(clause.elements)
            if glued or last:
                close(asked=True)
                clause.ends[len(clause.segments) - 1] = element.end
                joint = "?"
            else:
                segment.append(element)
            continue
        kind = _joint_of(clause.elements, i)
        if kind:
            close()
            joint = kind if joint in ("", ",") or kind != "," else joint
            continue
        segment.append(element)
    close()
    if not clause.segments:
        clause.segments, clause.joints, clause.asked = [list(clause.elements)], [""], [False]
    for element in clause.elements:
        # Separators at the end belong to the last item.
        element.seg = min(element.seg, len(clause.segments) - 1)
    return clause


def _joint_of(elements: Sequence[Element], i: int) -> str:
    """Return what an element joins as, or blank for one that is part of an item."""
    element = elements[i]
    if element.kind == "comma":
        return ","
    if element.kind == "sep":
        if element.key == "+" and _marks_presence(elements, i):
            return ""
        return "/" if element.key in "/\\" else "and" if element.key in "+&" else ","
    if element.kind == "dash":
        following = elements[i + 1] if i + 1 < len(elements) else None
        if following is None or following.roles & {"post_no", "post_yes", "normal", "absent"}:
            return ""
        if i and elements[i - 1].exam_part is not None and _is_sides(elements, i + 1):
            return ""
        return "-"
    if "join_or" in element.roles:
        return "or"
    return "and" if "join_and" in element.roles else ""


def _is_sides(elements: Sequence[Element], i: int) -> bool:
    """Return whether only sides and the like follow as far as the next separator."""
    for element in elements[i:]:
        if element.kind in ("comma", "sep", "dash") or element.roles & {"join_and", "join_or"}:
            return True
        if element.kind == "word" and element.known != "neutral":
            return False
    return True


def _marks_presence(elements: Sequence[Element], i: int) -> bool:
    """Return whether "+" is a result ("menace + OU") and joins nothing."""
    before = elements[i - 1] if i else None
    following = elements[i + 1] if i + 1 < len(elements) else None
    if before is None or not (before.exam_part is not None or before.known == "neutral"):
        return False
    return (
        following is None
        or following.kind != "word"
        or (following.known == "neutral" and following.exam_part is None and following.term is None)
    )


def long_ago(element: Element) -> bool:
    """Return whether an element dates something to more than 14 days before the cell."""
    if element.kind in ("ago", "date"):
        return element.value > PAST_DAYS
    if element.kind in ("year", "month"):
        return not element.value <= PAST_DAYS
    return "long_ago" in element.roles


def is_recent(clause: Clause, number: int) -> bool:
    """Return whether an item speaks of today or the night before."""
    return any(
        e.roles & {"recent"} or e.kind == "clock" or (e.kind == "ago" and e.value <= 1.5)
        for e in clause.segments[number]
    )


def is_flipped(clause: Clause, number: int) -> bool:
    """Return whether a count, date or time word makes an item a statement of its own."""
    return any(
        e.roles & {"recent", "yesterday", "often", "onset"}
        or e.kind in ("times", "span", "ago", "date", "clock", "year", "month", "grade", "number")
        for e in clause.segments[number]
    )


@cache
def words_of_list(name: str) -> frozenset[str]:
    """Return the folded words of one of the lists around signs."""
    words = table("sign_words")[name]["words"]
    return frozenset(token.key for word in words for token in tokens(word))


@cache
def being_words() -> frozenset[str]:
    """Return the folded words that "no" cannot govern."""
    return frozenset(
        token.key for word in table("signs")["words"]["being"] for token in tokens(word)
    )


def is_between(key: str) -> bool:
    """Return whether words may stand between a denial and what it denies."""
    return all(word in words_of_list("between") for word in key.split())


def is_being(element: Element) -> bool:
    """Return whether "no" cannot govern a term ("blind", "collapsed")."""
    return element.key.split()[0] in being_words()
