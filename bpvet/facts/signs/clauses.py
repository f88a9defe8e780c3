"""How each sign of a cell is meant: present, denied, past, unclear, or no sign at all.

A cell is cut into clauses (full stops, line ends, "but", "now", "until", …), a clause into items
(commas, "/", "+", "and", "or", …). Within a clause it is told what denies, doubts, dates or plans
each term; the rules are those of grammar, none is made for one cell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.facts.signs.denials import mark_after, mark_denied
from bpvet.facts.signs.doubts import mark_questions, mark_unclear
from bpvet.facts.signs.exams import bind_states, exam_drafts
from bpvet.facts.signs.items import (
    Clause,
    Draft,
    Marks,
    clauses,
    is_being,
    is_flipped,
    long_ago,
)
from bpvet.facts.signs.lexicon import Term
from bpvet.facts.signs.terms import Element
from bpvet.facts.signs.times import counts_again, mark_past


def drafts(text: str, found: Sequence[Element]) -> list[Draft]:
    """Return the items of a cell, in its order.

    Parameters
    ----------
    text : str
        The cell.
    found : sequence of Element
        Its elements, as `bpvet.facts.signs.terms.elements` gives them.
    """
    made: list[Draft] = []
    before: list[Draft] = []
    sentence = -1
    for clause in clauses(text, found):
        here = _read(clause)
        if not any(draft.term for draft in here) and before:
            _look_back(clause, before, same_sentence=clause.sentence == sentence)
        made += here
        if any(draft.term for draft in here):
            before = [draft for draft in here if draft.term and draft.weight]
        sentence = clause.sentence
    return made


def _look_back(clause: Clause, before: Sequence[Draft], same_sentence: bool) -> None:
    """Let a clause without a sign ("resolved", "now fine", "o not sure") speak of the last one."""
    roles = {role for element in clause.elements for role in element.roles}
    persists = "persist" in roles
    gone = "past_after" in roles or any(e.kind == "ago" and long_ago(e) for e in clause.elements)
    content = sum(element.known == "" and element.kind == "word" for element in clause.elements)
    now_fine = clause.elements[0].key in ("now", "today") and "normal" in roles
    until = clause.elements[0].key in ("until", "til", "till")
    recent = is_flipped(clause, 0) and not gone and counts_again(clause.elements)
    for draft in before:
        if until and draft.reading == "denied":
            # "no fits until today"
            draft.reading = "unclear"
        if draft.reading == "past" and recent and content <= 1 and same_sentence:
            draft.reading = "present" if persists else "unclear"
        if draft.reading != "present" or draft.group == "other" or persists:
            continue
        if (gone and content <= 2) or (now_fine and same_sentence):
            draft.reading = "unclear" if draft.recent or draft.lately else "past"
        elif (
            "unclear" in roles
            and content == 0
            and not any(e.term is not None or e.exam_part is not None for e in clause.elements)
        ):
            draft.reading = "unclear"


def _read(clause: Clause) -> list[Draft]:
    _settle_seeing(clause)
    # Vague words ("episode of …", "strange …") are silent beside a plain term of their item.
    for segment in clause.segments:
        plain = any(
            e.term is not None and not e.term.vague and e.term.group != "other" for e in segment
        )
        for e in segment:
            if plain and e.term is not None and e.term.vague:
                e.term, e.known = None, "neutral"
    _settle_bleeding(clause)
    bind_states(clause)
    marks = {id(element): Marks() for element in clause.elements if element.term}
    mark_questions(clause, marks)
    mark_after(clause, marks)
    mark_denied(clause, marks)
    mark_unclear(clause, marks)
    mark_past(clause, marks)
    _mark_no_sign(clause, marks)
    made: list[tuple[int, Draft]] = []
    for element in clause.elements:
        if element.term is not None:
            made.append((element.start, _draft(clause, element, marks[id(element)])))
    made += [(draft.start, draft) for draft in exam_drafts(clause, bool(made))]
    items = {draft.seg for _, draft in made}
    made += [(draft.start, draft) for draft in _rest(clause, items)]
    return [draft for _, draft in sorted(made, key=lambda pair: pair[0])]


def _settle_seeing(clause: Clause) -> None:
    """Take "does not see" for a denial where it has an object, or where the owner does not see."""
    found = clause.elements
    for i, element in enumerate(found):
        if element.term is None or "neg" not in element.roles:
            continue
        owners = [e for e in found[:i] if e.known != "neutral" or "owner" in e.roles]
        by_owner = bool(owners) and "owner" in owners[-1].roles
        objects = [e for e in found[i + 1 :] if e.seg == element.seg and (e.term or e.exam_part)]
        if by_owner or objects:
            element.term = None


#: A bleeding or swelling that is the eye's where an eye is spoken of.
_IN_AN_EYE = {
    "other bleeding": Term("intraocular haemorrhage", "eye"),
    "swelling": Term("retinal oedema", "eye"),
}


def _settle_bleeding(clause: Clause) -> None:
    """Take a haemorrhage or oedema for the eye's where its item, or the label before, is an eye."""
    eye = -1
    for element in clause.elements:
        if element.exam_part is not None and element.exam_part.group == "eye":
            eye = element.seg
    for element in clause.elements:
        term = element.term
        if term is None or term.name not in _IN_AN_EYE or len(element.key.split()) > 1:
            continue
        near = [
            e
            for e in clause.elements
            if e.exam_part is not None and e.exam_part.group == "eye" and e.seg <= element.seg
        ]
        with_term = any(
            e.term is not None and e.term.group == "eye" and e.seg < element.seg
            for e in clause.elements
        )
        if any(e.seg == element.seg for e in near) or near or with_term or eye == element.seg:
            element.term = _IN_AN_EYE[term.name]


_NOT_HIMSELF = Term("not himself", "weak", True)


def _draft(clause: Clause, element: Element, marks: Marks) -> Draft:
    term = element.term
    assert term is not None
    if term.name == "bright" and (marks.denied or marks.past) and not marks.plan:
        # "no longer responsive", "not playing": what is denied was good.
        term, reading = _NOT_HIMSELF, "unclear"
    elif marks.plan or marks.another:
        reading = "other"
    elif marks.unclear:
        reading = "unclear"
    elif marks.denied:
        reading = "denied"
    elif marks.persist:
        reading = "present"
    elif marks.past:
        reading = "past"
    elif marks.dated:
        reading = "unclear"
    else:
        reading = "unclear" if term.vague else "present"
    start, end = clause.span(element.seg)
    return Draft(
        min(start, element.start),
        max(end, element.end),
        term.name,
        term.group,
        reading,
        element.seg,
        marks.recent,
        marks.persist,
        lately=marks.lately,
        plain=reading == "other",
    )


def _rest(clause: Clause, items: set[int]) -> Iterator[Draft]:
    """Items without a term: unread where a word of them is in no list."""
    for number, segment in enumerate(clause.segments):
        words = [element for element in segment if element.kind == "word"]
        terms = [element.term for element in words if element.term is not None]
        reported = any(term.group != "other" for term in terms) or (number in items and not terms)
        if reported or not words:
            continue
        start, end = clause.span(number)
        unknown = [
            element
            for element in words
            if not element.known
            or (
                element.known == "pattern"
                and not element.roles
                and element.exam_part is None
                and element.term is None
            )
        ]
        if any(element.exam_part is not None for element in words) or (terms and not unknown):
            continue
        if unknown:
            yield Draft(start, end, "", "", "unread", number)
        else:
            doubted = any(e.kind == "query" or "unclear" in e.roles for e in segment)
            doubted |= clause.asked[number]
            reading = "unclear" if doubted else "other"
            group = "" if doubted else "other"
            yield Draft(start, end, "", group, reading, number, plain=True, weight=0)


def _mark_no_sign(clause: Clause, marks: dict[int, Marks]) -> None:
    found = clause.elements
    planned, planner = -1, ""
    for i, element in enumerate(found):
        if "plan" in element.roles and not element.used:
            doubted = any("unclear" in e.roles for e in found[:i])
            if not doubted and planned < 0:
                planned, planner = element.seg, element.key
        term = element.term
        if term is None:
            continue
        mark = marks[id(element)]
        flipped = is_flipped(clause, element.seg)
        if planned >= 0 and not (flipped and element.seg != planned):
            # "if excited, collapses" is no warning.
            bare_if = planner == "if" and element.seg != planned
            bare_if &= not clause.joined(planned, element.seg)
            mark.unclear |= bare_if
            mark.plan |= not bare_if
        following = found[i + 1] if i + 1 < len(found) else None
        if following is not None and "plan_after" in following.roles:
            mark.plan = True
        mark.another |= _is_anothers(clause, found, i)
        # "owner blind": the owner, or as the owner says? And of whom does a witness speak?
        mark.unclear |= i > 0 and "owner" in found[i - 1].roles and is_being(element)
        mark.unclear |= any(_is_witness(found, at) for at in range(i))


_AFTER_SUBJECT = {
    *("a", "an", "the", "had", "has", "have", "is", "was", "got", "also", "now", "been"),
}


#: Who may tell of this animal as well as have a sign themselves, and what they do then: "husband
#: says she is blind".
_PEOPLE = {
    *("neighbour", "neighbours", "neighbor", "friend", "friends", "wife", "husband", "son"),
    *("daughter", "grandmother", "grandma", "grandad", "grandfather", "partner", "parents"),
    *("parent", "breeder", "aunt", "uncle", "cousin", "girlfriend", "boyfriend", "lady"),
    *("mother", "father", "sister", "brother", "owners mother", "owner's mother"),
}
_TELLS = {
    *("say", "says", "said", "saying", "think", "thinks", "thought", "believes", "reckons"),
    *("report", "reports", "reported", "state", "states", "stated", "mentions", "mentioned"),
    *("notice", "notices", "noticed", "noted", "see", "sees", "saw", "witnessed", "found"),
    *("call", "calls", "called", "phoned", "rang", "ringing", "texted", "emailed"),
    *("worried", "concerned", "tells", "told", "feels", "describes", "described"),
}


def _is_witness(found: Sequence[Element], at: int) -> bool:
    """Return whether a person stands there who tells of the animal."""
    after = found[at + 1].key.split(" ")[0] if at + 1 < len(found) else ""
    return found[at].key in _PEOPLE and after in _TELLS


def _is_anothers(clause: Clause, found: Sequence[Element], i: int) -> bool:
    element = found[i]
    for at, e in enumerate(found):
        near = e.seg == element.seg or clause.joined(e.seg, element.seg)
        if near and "another" in e.roles and not _is_witness(found, at):
            return True
    j = i - 1
    while j >= 0 and found[j].key in _AFTER_SUBJECT:
        j -= 1
    return (
        0 <= j < i - 1
        and "owner" in found[j].roles
        and found[j + 1].key in ("had", "has", "have", "is", "was", "got")
    )
