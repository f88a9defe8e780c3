"""The head of an agreement's page: what was compared, and four answers in a glance."""

from __future__ import annotations

from bpvet.answers.agreement.agreement import AgreementAnswer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import NO_REFERENCE
from bpvet.models.agreement.result import Agreement
from bpvet.printing import number, probability
from bpvet.records.records import Records
from bpvet.wording.en.agreement.agreement import APART
from bpvet.wording.en.pages.shapes import Card, Head
from bpvet.wording.en.phrases import capital, counted, day, interval, listed


def agreement_head(answer: AgreementAnswer, records: Records) -> Head:
    """Return the head of the report: what was compared, and what to know now.

    Parameters
    ----------
    answer : AgreementAnswer
    records : Records
        Those that it is made from.
    """
    agree = answer.agreement
    data = agree.data
    title = f"{capital(data.labels[1])} against {data.labels[0]}"
    which = NO_REFERENCE if agree.reference is None else f"one is a reference ({agree.reference})"
    basis = (
        f"Records as of {day(str(records.as_of))}. {capital(QUANTITY_WORDS[data.quantity])}, "
        f"{data.source}: {data.first.size} {data.points_are} of "
        f"{counted(len(data.animals), 'animal')}. {capital(which)}."
    )
    return Head(
        title, basis, (_exchangeable(agree), _higher(agree), _apart(agree), _repeats(agree))
    )


def _exchangeable(agree: Agreement) -> Card:
    question, unit = "Can they be read as one?", agree.data.unit
    reach = max(abs(_value(agree.lower)), abs(_value(agree.upper)))
    share = agree.within[10]
    within = (
        f"{probability(share.single.estimate)} of single readings are expected within 10 {unit}. "
        "Follow an animal by one method."
    )
    if reach > APART:
        return Card(question, "Not reading by reading", within)
    return Card(question, f"Within {number(reach, 0)} {unit}", f"In 95 % of cases. {within}")


def _higher(agree: Agreement) -> Card:
    bias, unit = agree.bias, agree.data.unit
    question = "Which reads higher?"
    first, second = agree.data.labels
    detail = f"{capital(second)} minus {first}, on average: {number(bias.estimate)} {unit}"
    if bias.lower is None or bias.upper is None:
        return Card(question, "Not clear", f"{detail}.")
    detail = f"{detail}; {interval(agree.level, bias.lower, bias.upper, 1)}."
    if bias.lower <= 0 <= bias.upper:
        return Card(question, "Not clear", detail)
    higher = second if _value(bias) > 0 else first
    lead = f"{capital(higher)}, by {number(abs(_value(bias)), 0)} {unit}"
    return Card(question, lead, detail)


def _apart(agree: Agreement) -> Card:
    lower, upper = agree.lower, agree.upper
    better = agree.limits(intervals="better")
    lead = f"{number(lower.estimate, 0)} to {number(upper.estimate, 0)} {agree.data.unit}"
    ends = " and ".join(
        f"{number(limit.lower, 0)} to {number(limit.upper, 0)}"
        for limit in better
        if limit.lower is not None
    )
    doubt = f" The limits themselves are uncertain: {ends}." if ends else ""
    return Card("How far apart are single readings?", lead, f"In 95 % of cases.{doubt}")


def _repeats(agree: Agreement) -> Card:
    question, unit = "How well does each repeat itself?", agree.data.unit
    known = [
        f"{label} {number(agree.repeatability[name].estimate, 0)}"
        for name, label in zip(agree.methods, agree.data.labels, strict=True)
        if agree.repeatability[name].estimate is not None
    ]
    if not known:
        return Card(question, "Not clear", "No reading was repeated.")
    detail = (
        "In 95 % of cases two readings of one animal by one method at one visit are less than "
        "this apart."
    )
    return Card(question, f"{capital(listed(known))} {unit}", detail)


def _value(estimate: Estimate) -> float:
    return float(estimate.estimate or 0.0)
