"""What doubts a sign: question marks, "possible", "vs", "not sure"; answers to questions."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.facts.signs.items import (
    ALARM,
    Clause,
    Marks,
    is_flipped,
)
from bpvet.facts.signs.terms import Element

#: Words of doubt that stand for both of their neighbours.
_BOTH_SIDES = {"vs", "versus", "or just", "y/n", "yes/no", "y n", "yes or no", "either", "ie"}


#: Words of doubt that reach over commas to the end of their clause.
_FAR = {
    *("not sure", "unsure", "can not tell", "can not say", "can not be sure", "dd", "ddx", "dds"),
    *("ddxs", "diferential", "diferentials", "not certain", "r/o", "rule out", "can not rule out"),
    *("can not exclude", "might", "might of", "may have", "wonder", "wonders", "to rule out"),
}


def mark_questions(clause: Clause, marks: dict[int, Marks]) -> None:
    for number, segment in enumerate(clause.segments):
        answer = clause.answer(number)
        if clause.asked[number]:
            for element in segment:
                if element.term is not None and answer:
                    marks[id(element)].denied |= answer == "no"
                    marks[id(element)].unclear |= answer == "unknown"
                elif element.term is not None:
                    marks[id(element)].unclear = True
        doubt = [i for i, element in enumerate(segment) if element.kind == "query"]
        if not doubt:
            continue
        after = [e for e in segment[doubt[0] + 1 :] if e.kind == "word" and e.known != "neutral"]
        for element in segment[doubt[0] + 1 :]:
            if element.term is not None:
                marks[id(element)].unclear = True
        harmless = bool(after) and (
            (after[0].term is not None and after[0].term.group in ALARM)
            or after[0].key in _OF_CAUSE
            or after[0].known == "drug"
            or bool(after[0].roles & {"plan", "often", "onset"})
        )
        if not harmless:
            for element in segment[: doubt[0]]:
                if element.term is not None:
                    marks[id(element)].unclear = True


#: Words after a question mark that ask about a sign's cause or course, not about the sign.
_OF_CAUSE = {
    *("cause", "due", "why", "reason", "duration", "ref", "refer", "referal", "recheck", "rck"),
    *("how", "long", "etiologi", "secondari", "idiopatic", "source", "htn", "hipertension"),
    *("hipertensive", "start", "stop", "increase", "bloods", "scan", "echo", "mri", "iris", "age"),
    *("worse", "beter", "trauma", "pts", "euthanasia", "plan", "further", "stress"),
} - {"stress"}


def mark_unclear(clause: Clause, marks: dict[int, Marks]) -> None:
    found = clause.elements
    for i, element in enumerate(found):
        if "unclear" not in element.roles or element.used:
            continue
        ahead = [
            e
            for e in found[i + 1 :]
            if e.term is not None and (e.seg == element.seg or clause.joined(element.seg, e.seg))
        ]
        if element.key in _FAR:
            ahead = [e for e in found[i + 1 :] if e.term is not None]
        ahead = [e for e in ahead if not (e.seg != element.seg and is_flipped(clause, e.seg))]
        negated = any("neg" in e.roles and e.seg == element.seg and not e.used for e in found[:i])
        for e in ahead:
            if not (negated and marks[id(e)].denied):
                marks[id(e)].unclear = True
        same = any(e.seg == element.seg for e in ahead)
        if not same or element.key in _BOTH_SIDES:
            behind = [e for e in found[:i] if e.term is not None and e.seg == element.seg]
            if not behind and not any(
                e.term is not None or e.exam_part is not None for e in clause.segments[element.seg]
            ):
                behind = [
                    e for e in found[:i] if e.term is not None and e.seg == _last_seg(found[:i])
                ]
            if element.key in _BOTH_SIDES and not behind:
                behind = [e for e in found[:i] if e.term is not None][-1:]
            for e in behind:
                if not marks[id(e)].denied:
                    marks[id(e)].unclear = True


def _last_seg(found: Sequence[Element]) -> int:
    return max((e.seg for e in found if e.term is not None), default=-1)
