"""The head of an audit's page: what was looked at, and four answers in a glance."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bpvet.facts.words import METHOD_WORDS
from bpvet.printing import number, probability
from bpvet.wording.en.pages.shapes import Card, Head
from bpvet.wording.en.phrases import capital, counted, day, interval

if TYPE_CHECKING:
    from bpvet.answers.audit.audit import AuditAnswer
    from bpvet.models.audit.audit import Audit

#: Of its notebook and its page.
AUDIT_TITLE = "The quality of measuring"


def audit_head(answer: AuditAnswer) -> Head:
    """Return the head of the report: what was looked at, and what to know now.

    Parameters
    ----------
    answer : AuditAnswer
    """
    audit = answer.audit
    basis = (
        f"Records as of {day(audit.as_of)}. Systolic pressure, "
        f"{counted(audit.sessions, 'awake session')} of {counted(audit.animals, 'animal')}; "
        f"rule {audit.rule} chose the readings. It describes measuring and is not for judging "
        "people."
    )
    cards = (_helps(audit), _kept(audit), _first(audit), _decisions(audit))
    return Head(AUDIT_TITLE, basis, cards)


def _helps(audit: Audit) -> Card:
    question = "What would help most?"
    if not audit.precision:
        detail = "No animal was seen twice, near in time, by one method under one condition."
        return Card(question, "Not known", detail)
    most = max(audit.precision, key=lambda precision: precision.pairs)
    best = most.changes[0]
    detail = (
        f"{capital(best.words)}. By {METHOD_WORDS[most.method]}, one visit's mean lies about the "
        f"usual pressure with an SD of {number(most.now.estimate)} mmHg now, "
        f"{number(best.sd.estimate)} then"
    )
    gain = best.gain
    if gain.lower is not None and gain.upper is not None:
        detail += f"; the gain's {interval(audit.level, gain.lower, gain.upper, 1)}"
    return Card(question, f"{number(gain.estimate)} mmHg to gain", f"{detail}.")


def _kept(audit: Audit) -> Card:
    question = "Was the protocol kept?"
    few = [item for item in audit.protocol if item.key == "not_enough"]
    count, n = sum(item.count for item in few), sum(item.n for item in few)
    breaches = [item for item in audit.protocol if item.key in ("few", "inconsistent", "falling")]
    parts = [
        f"{item.words} ({METHOD_WORDS[item.method]}): {item.count}"
        for item in breaches
        if item.count
    ]
    detail = f"{count} of {n} sessions had fewer used readings than the guideline asks for."
    if parts:
        detail += f" Also: {'; '.join(parts)}."
    lead = "By all sessions" if not count else f"Enough readings in {probability(1 - count / n)}"
    return Card(question, lead, detail)


def _first(audit: Audit) -> Card:
    question = "Is the first reading different?"
    known = [effects for effects in audit.order if effects.first_minus_rest.lower is not None]
    if not known:
        return Card(question, "Not known", "Too few sessions of three readings or more.")
    most = max(known, key=lambda effects: effects.sessions)
    gap = most.first_minus_rest
    lower, upper, size = gap.lower or 0.0, gap.upper or 0.0, gap.estimate or 0.0
    detail = (
        f"First minus rest by {METHOD_WORDS[most.method]}: {number(size)} mmHg; "
        f"{interval(audit.level, lower, upper, 1)}."
    )
    if lower <= 0 <= upper:
        return Card(question, "Not clearly", detail)
    return Card(
        question, f"{number(abs(size), 0)} mmHg {'higher' if size > 0 else 'lower'}", detail
    )


def _decisions(audit: Audit) -> Card:
    question, tally = "Did decisions rest on one session?", audit.decisions
    if not tally.n:
        return Card(question, "None recorded", "No pressure-acting drug was started or changed.")
    detail = (
        "Starts and changes of a pressure-acting drug that rested on one session or none. The "
        "guideline asks for a second session first, unless it is urgent."
    )
    return Card(question, f"{tally.count} of {tally.n}", detail)
