"""The answers of a trend as sentences that a tired vet reads once and understands.

Each says the number, its interval, the date, the method and the guideline's name; "cannot tell
yet" where that is the truth. What is urgent comes first, and withholds what could reassure beside
it. Nothing here advises a drug or a dose, nor to begin, stop or go on with one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bpvet.answers.statement import Statement
from bpvet.answers.trend.result import TrendAnswer
from bpvet.frozen import replace
from bpvet.models.safety.safety import Safety
from bpvet.records.records import Records
from bpvet.visits.treatments.courses import Treatments
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.assumptions import assumptions, cautions
from bpvet.wording.en.trend.control import category, recheck, share, target
from bpvet.wording.en.trend.drugs import drugs
from bpvet.wording.en.trend.recorded import context, signs, species
from bpvet.wording.en.trend.uncounted import uncounted
from bpvet.wording.en.trend.unused import not_used
from bpvet.wording.en.trend.usual import (
    companions,
    following,
    others,
    slope,
    surprise,
    usual,
)


def urgent(answer: TrendAnswer) -> Iterator[Statement]:
    """What cannot wait for any trend."""
    yield from urgent_statements(answer.urgent)


def kidney(answer: TrendAnswer) -> Iterator[Statement]:
    """What the laboratory values say, made where their history is at hand."""
    yield from answer.kidney_statements


#: Topics in the order in which a report tells them.
TOPICS: dict[str, Callable[[TrendAnswer], Iterator[Statement]]] = {
    "urgent": urgent,
    "uncounted": uncounted,
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
    return " ".join(line.text for line in statements_on(answer, topic))


def statements(answer: TrendAnswer) -> tuple[Statement, ...]:
    """Return every statement of the answer, the urgent first; each drug has its own."""
    joined = " (Joined series.)" if answer.bridged else ""
    return tuple(
        replace(
            line,
            text=f"{line.text}{joined}",
            short=f"{line.short}{joined}" if line.short else "",
            outside=f"{line.outside}{joined}" if line.outside else "",
        )
        for topic in TOPICS
        for line in statements_on(answer, topic)
    )


def worded(
    answer: TrendAnswer, records: Records, found: Safety, treatments: Treatments
) -> TrendAnswer:
    """Return the answer with all that is told of it, and the rows of which nothing is told.

    Parameters
    ----------
    answer : TrendAnswer
        Its numbers and codes.
    records, found, treatments
        As `bpvet.wording.en.trend.unused.not_used` takes them.
    """
    answer = replace(answer, assumptions=assumptions(answer), cautions=cautions(answer))
    lines = statements(answer)
    return replace(
        answer,
        statements=lines,
        sentences=tuple(line.text for line in lines),
        not_used=not_used(records, answer.animal, found, treatments, lines),
    )
