"""Examinations in a cell: what was looked at, and whether it was normal, absent or reduced."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from bpvet.facts.signs.items import Clause, Draft
from bpvet.facts.signs.terms import Element
from bpvet.facts.sources import table

_STATES = ("equivocal", "reduced", "absent", "normal")
#: Denials that stand before what they deny, unless they end their item.
_BEFORE_ONLY = {"no", "not", "non", "without", "w/o", "never", "denies", "ø", "neither", "nor"}
#: Terms that are a state where they stand beside what was examined ("menace weak").
_ALSO_STATES = {"weak", "dul", "dull", "slugish", "depresed", "slow", "flat", "low", "down", "bad"}
_NO_LONGER = {"no longer", "no more", "not any longer"}
EXAMINATION = {
    "eye": "eye examination",
    "brain": "nerve examination",
    "brain_other": "nerve examination",
    "heart": "heart examination",
    "kidney": "kidney examination",
    "weak": "strength",
    "bleeding": "bleeding",
}


def bind_states(clause: Clause) -> None:
    """Give each part and faculty of a clause its state; what is used up is marked so."""
    for segment in clause.segments:
        _bind_segment(segment)
    _spread(clause)


def _state_of(element: Element) -> str:
    return next((state for state in _STATES if state in element.roles), "")


def _bind_segment(segment: Sequence[Element]) -> None:
    open_parts: list[Element] = []
    pending, holder = "", None
    for i, element in enumerate(segment):
        if element.exam_part is not None and element.term is None:
            if pending:
                element.state, pending = pending, ""
                if holder is not None:
                    holder.used = True
                continue
            if element.exam_part.good:
                element.state = "normal"
                continue
            open_parts.append(element)
            continue
        if element.term is not None and not (
            open_parts and element.key in _ALSO_STATES and open_parts[-1].exam_part
        ):
            open_parts, pending = [], ""
            continue
        state = _state_of(element)
        last = not any(e.kind == "word" and e.known != "neutral" for e in segment[i + 1 :])
        before_only = element.key in _BEFORE_ONLY and not last
        if "past_before" in element.roles and element.key in _NO_LONGER:
            pending, holder = "absent", element
            continue
        if "neg" in element.roles and before_only:
            pending, holder = "denied", element
            continue
        if element.kind == "dash" or (element.kind == "sep" and element.key == "+"):
            state = "absent" if element.kind == "dash" and last else state
            state = "normal" if element.kind == "sep" else state
        if "post_no" in element.roles and open_parts and not state:
            state = "absent"
        if not state:
            if element.kind == "word" and element.known not in ("neutral",) and not element.roles:
                pending = pending if pending == "denied" and element.known != "" else ""
            continue
        if open_parts:
            for waiting in open_parts:
                waiting.state = state
            open_parts, element.used = [], True
            if element.term is not None:
                element.term = None
        else:
            pending, holder = (
                ("denied" if "neg" in element.roles and state == "absent" else state),
                element,
            )
            if "absent" in element.roles:
                pending = "absent"


def _spread(clause: Clause) -> None:
    """Let a list of parts share the state that stands at its end, or else at its beginning."""
    segments = clause.segments
    for number in range(len(segments) - 2, -1, -1):
        parts = _bare_parts(segments[number])
        if not parts:
            continue
        state = _first_state(segments[number + 1])
        if state and clause.joints[number + 1] in (",", "and", "or", "/", "-", "?"):
            for element in parts:
                element.state = state
    for number in range(1, len(segments)):
        parts = _bare_parts(segments[number])
        states = [e.state for e in segments[number - 1] if e.exam_part is not None and e.state]
        if parts and states and clause.joints[number] in ("and", "or", "/", ","):
            for element in parts:
                element.state = states[-1]


def _bare_parts(segment: Sequence[Element]) -> list[Element]:
    """Return the parts of an item that holds nothing else and gives no state."""
    for e in segment:
        if e.exam_part is not None and e.term is None and not e.state:
            continue
        if e.kind in ("colon", "dash", "grade") or e.known == "neutral" or e.roles == {"owner"}:
            continue
        return []
    return [e for e in segment if e.exam_part is not None]


def _first_state(segment: Sequence[Element]) -> str:
    for e in segment:
        if e.exam_part is not None:
            return e.state
        if e.term is not None:
            return ""
        state = _state_of(e)
        if state and e.key not in _BEFORE_ONLY:
            e.used = True
            return state
        if e.kind == "word" and e.known not in ("neutral", "pattern"):
            return ""
    return ""


def exam_drafts(clause: Clause, others: bool) -> Iterator[Draft]:
    """Return the items of what was examined.

    Parameters
    ----------
    clause : Clause
        After `bind_states`.
    others : bool
        Whether the clause names a sign.
    """
    planned = False
    for number, segment in enumerate(clause.segments):
        start, end = clause.span(number)
        doubted = clause.asked[number] or any(
            e.kind == "query" or ("unclear" in e.roles and not e.used) for e in segment
        )
        answer = clause.answer(number)
        planned |= not doubted and any(e.roles & {"plan", "another"} for e in segment)
        for i, element in enumerate(segment):
            exam_part = element.exam_part
            if exam_part is None or element.term is not None:
                continue
            measured = _measured(segment, i)
            exam = EXAMINATION[exam_part.group]
            if measured is not None:
                if measured[1]:
                    yield Draft(start, end, measured[0], measured[1], "present", number, exam=True)
                else:
                    yield Draft(start, end, measured[0], "other", "other", number)
                continue
            name, reading = _reading(element, exam)
            kept = any("persist" in e.roles and e.key.startswith("not ") for e in segment)
            if not reading and exam_part.faculty and kept:
                # "vision not recovered"
                name, reading = f"reduced {exam_part.name}", "present"
            if not reading:
                bare = not others and not any(
                    e.kind == "word"
                    and e.exam_part is None
                    and e.known not in ("neutral",)
                    and e.key not in ("of",)
                    for e in segment
                )
                doubted |= any("persist" in e.roles for e in segment)
                if not planned and any(e.kind == "word" and not e.known for e in segment):
                    yield Draft(start, end, "", "", "unread", number)
                elif planned or not (bare or doubted):
                    yield Draft(start, end, exam, "other", "other", number, weight=0)
                else:
                    yield Draft(start, end, exam, exam_part.group, "unclear", number, bare=True)
                continue
            gone = any(e.roles & {"past_after", "past_before"} and not e.used for e in segment)
            kept = any("persist" in e.roles for e in segment)
            if planned:
                reading = "other"
            elif doubted and answer != "no":
                reading = "unclear"
            elif reading == "present" and gone and not kept:
                reading = "past"
            yield Draft(start, end, name, exam_part.group, reading, number, exam=True)


def _reading(element: Element, exam: str) -> tuple[str, str]:
    exam_part, state = element.exam_part, element.state
    assert exam_part is not None
    if state == "normal":
        return exam, "denied"
    if state == "equivocal":
        return exam, "unclear"
    if state in ("denied", "absent"):
        if not exam_part.faculty:
            unsure = state == "absent" and exam_part.name in ("pupils", "retina")
            return exam, "unclear" if unsure else "denied"
        name = "blindness" if exam_part.name == "vision" else f"absent {exam_part.name}"
        return name, "present"
    if state == "reduced":
        if exam_part.faculty:
            return (
                "reduced vision" if exam_part.name == "vision" else f"reduced {exam_part.name}",
                "present",
            )
        return f"abnormal {exam_part.name}", "unclear" if exam_part.name == "eyes" else "present"
    return exam, ""


def _measured(segment: Sequence[Element], i: int) -> tuple[str, str] | None:
    """Return the name of a value written beside its analyte, and its group if it is high."""
    listed: dict[str, Any] = table("signs")["measured"]
    for name, rule in listed.items():
        if segment[i].key not in rule["words"]:
            continue
        for following in segment[i + 1 : i + 4]:
            if following.kind == "number":
                return name, rule["group"] if _high(rule, following.value) else ""
            if following.kind == "word" and following.known not in ("neutral",):
                break
    return None


def _high(rule: dict[str, Any], value: float) -> bool:
    small = float(rule.get("small_below", 0.0))
    bound = float(rule["small_above"]) if value < small else float(rule["above"])
    return value >= bound
