"""The answers of a trend as sentences that a tired vet reads once and understands.

Each says the number, its interval, the date, the method and the guideline's name; "cannot tell
yet" where that is the truth. What is urgent comes first, and withholds what could reassure beside
it. Nothing here advises a drug or a dose, nor to begin, stop or go on with one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bpvet.answers.control_words import category, recheck, share, target
from bpvet.answers.drug_words import drugs
from bpvet.answers.parts import TrendAnswer
from bpvet.answers.recorded_words import context, signs, species
from bpvet.answers.statement import Statement
from bpvet.answers.usual_words import (
    companions,
    following,
    others,
    slope,
    surprise,
    usual,
)


def urgent(answer: TrendAnswer) -> Iterator[Statement]:
    """What cannot wait for any trend."""
    for one in answer.urgent:
        yield Statement(f"urgent.{one.rule}", f"Urgent: {one.text}")


def kidney(answer: TrendAnswer) -> Iterator[Statement]:
    """What the laboratory values say, made where their history is at hand."""
    yield from answer.kidney_statements


#: Topics in the order in which a report tells them.
TOPICS: dict[str, Callable[[TrendAnswer], Iterator[Statement]]] = {
    "urgent": urgent,
    "species": species,
    "usual": usual,
    "target": target,
    "category": category,
    "recheck": recheck,
    "signs": signs,
    "kidney": kidney,
    "drugs": drugs,
    "context": context,
    "slope": slope,
    "surprise": surprise,
    "next_session": following,
    "share": share,
    "companions": companions,
    "others": others,
}


def statements_on(answer: TrendAnswer, topic: str) -> tuple[Statement, ...]:
    """Return the statements on one of `TOPICS`; empty where there is nothing to say."""
    return tuple(TOPICS[topic](answer))


def sentence(answer: TrendAnswer, topic: str) -> str:
    """Return the sentences on one of `TOPICS`; blank where there is nothing to say."""
    return " ".join(one.text for one in statements_on(answer, topic))


def statements(answer: TrendAnswer) -> tuple[Statement, ...]:
    """Return every statement of the answer, the urgent first; each drug has its own."""
    joined = " (Joined series.)" if answer.bridged else ""
    return tuple(
        Statement(one.key, f"{one.text}{joined}")
        for topic in TOPICS
        for one in statements_on(answer, topic)
    )
