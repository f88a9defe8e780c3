"""The questions that an animal's page answers, each with its sentences."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.words import LAB_QUANTITIES
from bpvet.wording.en.trend.statements import TOPICS, statements_on

#: The topics' headings; what is urgent stands at the head of the report.
HEADINGS = {
    "species": "Which species?",
    "usual": "How high is it usually?",
    "target": "Is it at target?",
    "category": "In which category?",
    "signs": "Which signs are on record?",
    "kidney": "What do the kidney values say?",
    "drugs": "Did the drug work?",
    "context": "What else may move it?",
    "slope": "Is it creeping up?",
    "surprise": "Was the newest one a surprise?",
    "recheck": "When to measure again?",
    "next_session": "What will the next one read?",
    "share": "How much of the time was it at target?",
    "companions": "What if it is calculated differently?",
    "others": "Which other sessions are there?",
}

#: The same where the quantity is a laboratory value or a weight.
LAB_HEADINGS = {
    "drugs": "How did it do on the drug?",
    "slope": "Is it changing?",
}

#: The same where there is no target, but a raised range.
RAISED_HEADINGS = {
    "target": "Is it raised?",
    "share": "How much of the time was it below the raised range?",
}


def questions(answer: TrendAnswer) -> Iterator[tuple[str, list[str]]]:
    """Yield each question that is answered, and its sentences."""
    for topic in TOPICS:
        texts = [statement.text for statement in statements_on(answer, topic)]
        if topic in HEADINGS and texts:
            yield _question(answer, topic), texts


def _question(answer: TrendAnswer, topic: str) -> str:
    if answer.target.kind == "raised" and topic in RAISED_HEADINGS:
        return RAISED_HEADINGS[topic]
    labs = LAB_HEADINGS if answer.quantity in LAB_QUANTITIES else {}
    return labs.get(topic, HEADINGS[topic])
