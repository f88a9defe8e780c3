"""When a sign was: past, or present for all that is said of its going ("still", "not resolved")."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.facts.signs.items import (
    Clause,
    Marks,
    is_between,
    is_recent,
    long_ago,
)
from bpvet.facts.signs.terms import Element
from bpvet.facts.sources import table

#: A sign that a date alone does not make one of the past.
_SELDOM_ENDS = "blindness"


def mark_past(clause: Clause, marks: dict[int, Marks]) -> None:
    found = clause.elements
    for i, element in enumerate(found):
        term = element.term
        if term is None:
            continue
        mark = marks[id(element)]
        segment = clause.segments[element.seg]
        at = next(k for k, e in enumerate(segment) if e is element)
        mark.recent = is_recent(clause, element.seg) or _dated_recent(clause, element.seg)
        mark.lately = any("yesterday" in e.roles for e in segment)
        mark.persist |= _persists(clause, element, at)
        if _past_before(clause, found, i) or _past_after(clause, segment, at):
            mark.past = True
        if _dated(clause, element, at) and not is_lasting(term.name):
            # A blind animal seldom sees again: without a word of that its date does not end it.
            if term.name == _SELDOM_ENDS:
                mark.dated = True
            else:
                mark.past = True
        # A date, and no day to count from.
        mark.unclear |= any(e.kind == "date" and e.value != e.value for e in segment)
        following = element.seg + 1
        if mark.past and following < len(clause.segments) and not mark.persist:
            rest = clause.segments[following]
            # "history of seizures, last one today"
            is_gone = any(e.roles & {"past_after", "normal"} for e in rest)
            bare = not any(e.term or e.exam_part for e in rest) and not is_gone
            lately = is_recent(clause, following) or any("yesterday" in e.roles for e in rest)
            mark.persist |= bare and lately and counts_again(rest)
    _mark_gone(clause, marks)


def _dated_recent(clause: Clause, number: int) -> bool:
    """Return whether an item without a sign ("…, today at nine") dates the one before it."""
    for k in range(number + 1, len(clause.segments)):
        segment = clause.segments[k]
        if any(e.term is not None or e.exam_part is not None for e in segment):
            return False
        if any(e.roles & {"neg", "post_no", "normal"} or e.key in _AT_PRESENT for e in segment):
            continue
        if is_recent(clause, k):
            return True
    return False


#: What says of a part of the body that its sign is gone.
_AS_BEFORE = "back to normal"
#: Words for now that as well say what is there instead.
_AT_PRESENT = {"now", "currentli", "at present", "atm", "presentli", "at the moment"}


def counts_again(elements: Sequence[Element]) -> bool:
    """Return whether an item says "one", "the last", "again" of a sign named before it."""
    return any(
        e.roles & {"often", "persist"} or e.kind == "times" or e.key in ("last", "latest")
        for e in elements
    ) and not any(e.roles & {"neg", "post_no"} for e in elements)


def _persists(clause: Clause, element: Element, at: int) -> bool:
    segment = clause.segments[element.seg]
    for k, neighbour in enumerate(segment):
        if "persist" in neighbour.roles and not (
            k > at and any(e.term is not None for e in segment[at + 1 : k])
        ):
            return True
    return any(
        "persist" in e.roles and clause.joined(e.seg, element.seg)
        for e in clause.elements
        if e.seg < element.seg
    )


def _past_before(clause: Clause, found: Sequence[Element], i: int) -> bool:
    """Return whether "history of" or "old" stands directly before a term or its list."""
    j = i - 1
    while j >= 0:
        here = found[j]
        if "past_before" in here.roles:
            if here.key == "old":
                older = found[j - 1] if j else None
                return j == i - 1 and (older is None or older.kind not in ("age", "span", "number"))
            labelled = j + 1 < len(found) and found[j + 1].kind == "colon"
            term = found[i].term
            lasts = term is not None and is_lasting(term.name)
            return not labelled and not lasts
        if (
            (here.kind == "word" and here.known == "neutral" and not here.roles & {"recent"})
            or (here.roles & {"often", "unclear", "between", "onset", "owner"} and not here.term)
            or (is_between(here.key) and here.term is None)
            or here.kind in ("times", "grade", "number", "year")
        ):
            pass
        elif here.roles & {"join_and", "join_or"} or (here.kind == "sep" and here.key in "/+&"):
            if j and found[j - 1].term is None:
                return False
        elif here.term is not None and here.seg < found[i].seg:
            if not clause.joined(here.seg, found[i].seg):
                return False
        else:
            return False
        j -= 1
    return False


def _past_after(clause: Clause, segment: Sequence[Element], at: int) -> bool:
    for k in range(at + 1, len(segment)):
        here = segment[k]
        if "past_after" in here.roles:
            following = segment[k + 1] if k + 1 < len(segment) else None
            return following is None or not (
                following.term is not None or following.known == "drug"
            )
        if here.term is not None:
            return False
    return False


#: Words after which a date is that of a beginning.
_BEGUN = {
    *("since", "from", "started", "starting", "began", "begun", "onset", "dx", "dxd", "diagnosed"),
    *("diagnosis", "first noticed", "first seen", "ever since"),
}


def _dated(clause: Clause, element: Element, at: int) -> bool:
    """Return whether a date long before the cell stands beside a term and is no onset."""
    segment = clause.segments[element.seg]
    candidates = list(enumerate(segment))
    for k, neighbour in candidates:
        if not long_ago(neighbour):
            continue
        earlier = [e for e in segment[:k] if e.known != "neutral" or e.roles]
        begun = any(e.key in _BEGUN for e in earlier)
        if begun or (earlier and "onset" in earlier[-1].roles and earlier[-1].key != "x"):
            continue
        return True
    following = element.seg + 1
    if following < len(clause.segments):
        rest = clause.segments[following]
        return bool(rest) and long_ago(rest[0]) and not any(e.term for e in rest)
    return False


def is_lasting(name: str) -> bool:
    """Return whether a disease lasts once it is there, so that its date does not end it."""
    return name in table("signs")["lasting"]


def _mark_gone(clause: Clause, marks: dict[int, Marks]) -> None:
    """Let an item without a term ("…, fully resolved") speak of those before it."""
    for number, segment in enumerate(clause.segments):
        if number == 0 or any(e.term is not None for e in segment):
            continue
        gone = any("past_after" in e.roles for e in segment)
        if not gone or any("persist" in e.roles for e in segment) or is_recent(clause, number):
            continue
        if any(
            e.exam_part is not None and e.exam_part.group not in ("eye",) for e in segment
        ) and not any(e.key == _AS_BEFORE for e in segment):
            continue
        last = max((e.seg for e in clause.elements if e.term and e.seg < number), default=-1)
        for e in clause.elements:
            if e.term is None or e.seg >= number:
                continue
            if e.seg == last or clause.joined(e.seg, last):
                if marks[id(e)].recent:
                    continue
                marks[id(e)].past = True
                # Gone since yesterday may come back today.
                marks[id(e)].unclear |= marks[id(e)].lately
