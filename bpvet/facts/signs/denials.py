"""What denies a sign: words before it ("no", "without"), and answers after it ("- N").

A denial before a term reaches it and every following one as far as the last "or" of its clause;
what comes later is unclear, unless a count, date or time word makes it a statement of its own.
"""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.facts.signs.items import (
    Clause,
    Marks,
    is_being,
    is_between,
    is_flipped,
)
from bpvet.facts.signs.terms import Element

#: Words that deny nouns: a predicate after a comma begins a new statement.
_NOUN_NEGATIONS = {
    "no",
    "without",
    "w/o",
    "nil",
    "denies",
    "denied",
    "zero",
    "0",
    "ø",
    "no evidence of",
}


def mark_after(clause: Clause, marks: dict[int, Marks]) -> None:
    """Denials that follow their term ("seizures - N", "RD ruled out", "sz/collapse: none")."""
    found = clause.elements
    # Whether each term is followed by its "no" ("sz no collapse no").
    answers = [e for e in found if e.term is not None or "post_no" in e.roles]
    kinds = ["T" if e.term is not None else "N" for e in answers]
    all_after = len(kinds) > 1 and "".join(kinds) == "TN" * (len(kinds) // 2)
    for i, element in enumerate(found):
        if element.term is None or element.used:
            continue
        colon = False
        j = i + 1
        while j < len(found):
            here = found[j]
            if here.kind in ("colon", "dash", "query"):
                colon |= here.kind != "query"
            elif here.key == "(" and j + 1 < len(found) and "post_no" in found[j + 1].roles:
                colon = True
            elif (
                (here.kind == "word" and here.known == "neutral" and not here.roles & _ANSWERS)
                or here.kind in ("grade", "times")
                or "owner" in here.roles
            ):
                pass
            else:
                break
            j += 1
        if colon and found[j - 1].kind == "dash" and (j == len(found) or not _is_word(found[j])):
            # "collapse -, seizures -" are results; a single dash may be anything.
            marks[id(element)].denied = _dashes(found) > 1
            marks[id(element)].unclear = _dashes(found) == 1
        if j == len(found) or "post_no" not in found[j].roles or found[j].used:
            continue
        answer = found[j]
        alone = answer.key in ("no", "n", "nil", "never", "0", "zero", "none", "ø")
        following = found[j + 1] if j + 1 < len(found) else None
        if answer.key == "fre" or answer.key == "free":
            if j != i + 1:
                continue
        elif (
            alone and not colon and not all_after and following is not None and _goes_on(following)
        ):
            continue
        answer.used = True
        marks[id(element)].denied = True
        _deny_list_before(clause, i, colon, marks)


def _is_word(element: Element) -> bool:
    return element.kind in ("word", "number", "times", "span", "query", "ago")


def _dashes(found: Sequence[Element]) -> int:
    """Return how many dashes end their item."""
    return sum(
        e.kind == "dash" and (i + 1 == len(found) or not _is_word(found[i + 1]))
        for i, e in enumerate(found)
    )


_ANSWERS = frozenset({"post_no"})


def _goes_on(element: Element) -> bool:
    """Return whether a word goes on to something that "no" before it may deny."""
    return (
        element.kind in ("word", "query")
        and "stop" not in element.roles
        and not element.roles & {"recent", "yesterday", "onset", "owner", "join_and", "join_or"}
    )


def _deny_list_before(clause: Clause, i: int, colon: bool, marks: dict[int, Marks]) -> None:
    """Deny the terms joined to a denied one before it ("sz/collapse: none")."""
    found = clause.elements
    j = i - 1
    while j >= 0:
        here = found[j]
        if here.term is not None:
            marks[id(here)].denied = True
        elif here.kind == "comma":
            if not colon:
                return
        elif (
            here.kind == "word"
            and (here.known == "neutral" or here.roles & {"join_or", "join_and"})
        ) or (here.kind == "sep" and here.key in "/+&"):
            pass
        else:
            return
        j -= 1


def mark_denied(clause: Clause, marks: dict[int, Marks]) -> None:
    found = clause.elements
    i = 0
    while i < len(found):
        element = found[i]
        if not _denies(element) or element.used or element.term is not None:
            if element.used and "neg" in element.roles:
                _mark_beside_parts(clause, i, marks)
            i += 1
            continue
        first, gap = _first_denied(found, i)
        if first is None:
            _mark_beside_parts(clause, i, marks)
            i += 1
            continue
        marks[id(found[first])].unclear |= gap
        marks[id(found[first])].denied = True
        i = _deny_list_after(clause, i, first, marks)


#: Words of another term that only say of what kind the denied one is.
_ADJECTIVES = {"hipertensive", "htn", "hipertension", "doppler", "senior"}


def _denies(element: Element) -> bool:
    """Return whether words stand before what they deny; "not seen any" may stand so too."""
    before = element.key.startswith(("not ", "no ", "never ", "none "))
    return "neg" in element.roles or ("post_no" in element.roles and before)


def _first_denied(found: Sequence[Element], i: int) -> tuple[int | None, bool]:
    """Return the place of the term that a negation denies; whether strange words are between."""
    gap = 0
    for j in range(i + 1, len(found)):
        element = found[j]
        if element.term is not None and element.key not in _ADJECTIVES:
            return j, gap > 0
        if (
            element.kind in ("comma", "sep", "dash", "colon", "query")
            or element.exam_part is not None
        ):
            if (
                element.exam_part is not None
                and element.known == "pattern"
                and "between" in element.key
            ):
                continue
            return None, False
        if element.roles & {"join_or", "join_and", "stop"} or "neg" in element.roles:
            return None, False
        if element.kind != "word" or element.known == "neutral" or element.roles:
            continue
        if is_between(element.key):
            continue
        gap += 1
        if gap > 3:
            return None, False
    return None, False


def _mark_beside_parts(clause: Clause, i: int, marks: dict[int, Marks]) -> None:
    """Deny terms joined to a part that is denied ("no ocular or neuro signs")."""
    found = clause.elements
    parts = [e for e in found[i + 1 :] if e.exam_part is not None]
    if not parts or parts[0].seg != found[i].seg or parts[0].exam_part is None:
        return
    for e in found[i + 1 :]:
        joints = clause.joints[parts[0].seg + 1 : e.seg + 1]
        if e.term is None or not joints or not set(joints) <= {"or", "/"}:
            continue
        if parts[0].exam_part.faculty:
            marks[id(e)].unclear = True
        else:
            marks[id(e)].denied = True


def _deny_list_after(clause: Clause, i: int, first: int, marks: dict[int, Marks]) -> int:
    """Deny what follows as far as the last "or"; later terms are unclear. Return where it ends."""
    found = clause.elements
    negation = found[i].key
    end = len(found)
    for j in range(first + 1, len(found)):
        if ("neg" in found[j].roles and not found[j].used) or found[j].roles & {"past_before"}:
            end = j
            break
    last_or, reach = first, found[first].seg
    for j in range(first + 1, end - 1):
        joins = "join_or" in found[j].roles or (found[j].kind == "sep" and found[j].key == "/")
        # An "or" between other words ("slow or absent") ends no list of terms.
        if joins and any(e.term is not None for e in clause.segments[found[j + 1].seg]):
            last_or, reach = j, found[j + 1].seg
    term = found[first].term
    lone = negation in _NOUN_NEGATIONS and (term is None or not term.vague)
    for j in range(first + 1, end):
        element = found[j]
        if element.term is None:
            continue
        inside = element.seg <= reach
        flipped = is_flipped(clause, element.seg)
        new_statement = lone and element.seg != found[first].seg and is_being(element)
        last = element.seg == reach
        if inside and not (flipped and not last) and not new_statement:
            if element.seg == found[first].seg and last_or <= first:
                marks[id(element)].unclear = True
            else:
                marks[id(element)].denied = True
        elif inside and new_statement and not flipped:
            marks[id(element)].unclear = True
        elif flipped or new_statement:
            # A new statement: the negation is over.
            return j
        elif element.term.group != "other":
            marks[id(element)].unclear = True
    return end
