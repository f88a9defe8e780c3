"""The owner's page in plain words: short sentences, read at a kitchen table.

A test holds the page to a readability grade of 6 or less. Nothing here says that all is well.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.owner.owner import OwnerAnswer, OwnerLast
from bpvet.facts.sources import credit, fact
from bpvet.facts.words import KEPT_OUT_CONDITIONS, SPECIES
from bpvet.frozen import dataclass
from bpvet.printing import number
from bpvet.visits.urgency import UrgentRule
from bpvet.wording.en.phrases import counted, day

PHONE = "Please phone the practice today."
#: What the owner is told of each urgent rule; what was measured, not what it may mean.
_WHY: dict[str, str] = {
    UrgentRule.SIGN_CURRENT: "A sign is on file that a vet must look at.",
    UrgentRule.LOW: "The last number was very low. It may be too low, or it may have been read "
    "wrong.",
    UrgentRule.ACUTE_KIDNEY: "Your vet wants to talk with you about a blood test.",
    UrgentRule.POTASSIUM: "Your vet wants to talk with you about a blood test.",
    UrgentRule.KIDNEY_REACTION: "Your vet wants to talk with you about a blood test.",
    UrgentRule.LOW_ON_TREATMENT: "The last number was low.",
    UrgentRule.SEVERE: "The last number was very high.",
    UrgentRule.SIGN_UNREAD: "There is a note on file that the vet needs to go through with you.",
    UrgentRule.SIGN_OPEN: "A sign was seen, and nobody has noted how it went on.",
}
#: Signs at which the owner phones at once (judgement of this project, after what the urgent rules
#: and the cautions name).
RED_FLAGS = (
    "Sudden blindness: your pet bumps into things",
    "Pupils that are wide and do not change in bright light",
    "A fit",
    "Wobbling, or a head held to one side",
    "Collapse, or being very weak",
    "Not eating",
    "Black stool",
)
RED_HEAD = "Phone now, day or night, if you see one of these"
RED_WAIT = "Do not wait for the next visit."
_BY = {"doppler": "a cuff and a small probe", "oscillometric": "a cuff and a monitor"}
_WHERE = {
    "clinic": "at the practice",
    "home": "at home",
    "calmed": "at the practice, after a drug to calm",
    "sedated": "at the practice, under a drug that brings sleep",
    "anaesthetised": "while asleep for a treatment",
}
#: Days from which a number is called old, and from which nobody can say what it is now.
_OLD, _YEAR = 90, 365
DIARY_HELP = (
    "Pick a calm time, and the same place each day.",
    "Put the cuff on where you were shown.",
    "Take five readings and write down all five, the first one too.",
    "Write down if the tablet was given or missed, and if you measured before or after it.",
    "Bring this page to the next visit.",
)
CREDIT_OWN = "The list of signs is our own, and so are the tips; ask your vet what to add."


@dataclass(frozen=True)
class Part:
    """A part of the owner's page: its heading, and sentences below it."""

    key: str
    head: str
    texts: tuple[str, ...]


def called(answer: OwnerAnswer) -> str:
    """Return what the animal is called on the page."""
    return answer.name or f"your {answer.species if answer.species in SPECIES else 'pet'}"


def phone_texts(answer: OwnerAnswer) -> tuple[str, ...]:
    """Return "please phone" and why, in plain words; nothing where nothing is urgent or asked."""
    if not answer.urgent and not answer.asks:
        return ()
    reasons = dict.fromkeys(_WHY[alarm.rule] for alarm in answer.urgent)
    if answer.asks:
        reasons[_WHY[UrgentRule.SIGN_UNREAD]] = None
    days = [
        alarm.on for alarm in answer.urgent if answer.as_of - alarm.on > np.timedelta64(_OLD, "D")
    ]
    old = (
        (f"This is on file since {day(min(days))}. We do not know how it went on.",) if days else ()
    )
    return (PHONE, *reasons, *old)


def owner_parts(answer: OwnerAnswer) -> tuple[Part, ...]:
    """Return what the page tells between "please phone" and the signs to phone at."""
    return (
        Part("was", "Where it was", tuple(_was(answer))),
        Part("next", "The next visit", tuple(_next(answer))),
        Part("tablets", "The tablets", _tablets(answer)),
    )


def _was(answer: OwnerAnswer) -> Iterator[str]:
    last = answer.last
    if last is None:
        yield f"There is no blood pressure of {called(answer)} on file."
        yield "So we do not know what it is."
        return
    yield _number(last)
    if last.high is not None:
        yield "It is the top number: the push of the blood as the heart beats."
    yield _how(last)
    if not _awake(last):
        yield "So we do not know what it is when awake."
    if answer.partly:
        yield "More was written down that day, and we could not use it."
    yield from _age(last)
    if answer.may_be_newer:
        yield "There may be a newer visit that this page does not know of. Ask your vet."
    elif not answer.urgent:
        # Beside what is urgent nothing stands that could reassure.
        yield "One day is not every day. Your vet looks at all the visits."


def _number(last: OwnerLast) -> str:
    on = f"On {day(last.date)}"
    if last.high is None or last.low is None:
        return f"{on} no number could be read."
    low, high = _bounded(last.low, last.low_bound), _bounded(last.high, last.high_bound)
    if low == high:
        return f"{on} the blood pressure was {high}."
    return f"{on} the blood pressure was between {low} and {high}."


def _bounded(value: float, bound: str) -> str:
    more = {"at least": " or more", "at most": " or less"}.get(bound, "")
    return f"{number(value, 0)}{more}"


def _how(last: OwnerLast) -> str:
    where = " and ".join(dict.fromkeys(_WHERE[condition] for condition in last.conditions))
    by = ", then ".join(_BY[method] for method in last.methods)
    return f"It was taken {where}, with {by}."


def _awake(last: OwnerLast) -> bool:
    """Return whether a session of that date may stand for an animal that is awake."""
    return not set(last.conditions) <= set(KEPT_OUT_CONDITIONS)


def _is_unknown(answer: OwnerAnswer) -> bool:
    """Return whether there is nothing that is known, and new, for a far day to rest on."""
    last = answer.last
    return last is None or last.high is None or not _awake(last) or answer.may_be_newer


def _age(last: OwnerLast) -> Iterator[str]:
    if last.days_ago > _YEAR:
        yield "That is more than a year ago. Nobody can say what it is now."
    elif last.days_ago > _OLD:
        yield f"That is {counted(last.days_ago // 30, 'month')} ago. It may not be the same now."


def _next(answer: OwnerAnswer) -> Iterator[str]:
    again, name = answer.recheck, called(answer)
    if answer.urgent or answer.asks:
        yield "First phone today. You will be told when to come."
    elif again.latest is None:
        yield "Your vet will tell you when to come."
    elif _is_unknown(answer):
        # Nothing is known that a far window could rest on.
        yield f"Please phone to set a day to measure {name}."
    elif again.overdue_days:
        yield f"The next visit was due by {day(again.latest)}. That day has passed."
        yield f"Please phone to book a visit for {name}."
    elif again.earliest is None or again.earliest <= answer.as_of:
        yield f"Please come by {day(again.latest)}."
    elif again.earliest == again.latest:
        yield f"Please come on {day(again.latest)}."
    else:
        yield f"Please come between {day(again.earliest)} and {day(again.latest)}."


def _tablets(answer: OwnerAnswer) -> tuple[str, ...]:
    advice = ("Only your vet changes the tablets.", "If one was missed, write it down and tell us.")
    return advice if answer.treated else (f"If {called(answer)} is given tablets:", *advice)


def owner_credit() -> str:
    """Return whose protocol the diary follows, and whose list of signs it is."""
    return f"Five readings: {credit(fact('protocol.n.enough'))}. {CREDIT_OWN}"
