"""The topics of an audit's page: what each is called, and what stands where there is nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from bpvet.answers.audit.audit import AuditAnswer
from bpvet.facts.measuring import judgements
from bpvet.facts.sources import Fact, fact
from bpvet.facts.words import METHOD_WORDS
from bpvet.models.audit.audit import Audit
from bpvet.printing import number
from bpvet.wording.en.pages.shapes import Column, Table
from bpvet.wording.en.phrases import capital

#: What each topic is called, most useful first.
TOPIC_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "precision": "What would make a visit more precise",
        "protocol": "Was the protocol kept?",
        "order": "First reading against the rest",
        "digits": "End digits and repeats",
        "spread": "How far readings scatter",
        "operators": "Operators",
        "situations": "Home against clinic, calmed against awake",
        "cuffs": "Cuffs",
        "times": "Time of day",
    }
)
#: What stands in the place of a topic's sentences where there are none.
NOTHING_TOLD: Mapping[str, str] = MappingProxyType(
    {
        "spread": "No session had two readings or more.",
        "operators": "No operator is recorded, so operators cannot be compared.",
        "times": "No session has a time of day.",
    }
)
#: What stands in the place of a topic's figure where none can be drawn.
NOTHING_DRAWN: Mapping[str, str] = MappingProxyType(
    {
        "order": "No session had three readings or more.",
        "digits": "No reading could be checked.",
        "spread": "No method had sessions of two groups or more: there is nothing to compare.",
    }
)
HOW_AUDITED = (
    "First readings, drift and time of day are means within sessions or animals, with standard "
    "errors that keep the sessions of one animal together.",
    "End digits are tested by turning all readings of a session together, so that readings of one "
    "session are not counted as independent.",
    "Shares of sessions and readings have intervals by animal, since an animal's own are alike; "
    "readings per session are counts of all that was done, and have none.",
    "Scatter by group is shrunken to a common value, the more so the less is known of a group.",
    "Visit noise comes from neighbouring sessions of one animal under one condition.",
)


def topic_sentences(answer: AuditAnswer, topic: str) -> tuple[str, ...]:
    """Return the sentences of a topic, or the one that there is nothing to tell."""
    nothing = NOTHING_TOLD.get(topic)
    return tuple(answer.sections[topic]) or (() if nothing is None else (nothing,))


def choices(answer: AuditAnswer) -> Table:
    """Return the choices behind an audit."""
    audit = answer.audit
    rows = [
        ("Rule that chose the readings", audit.rule),
        ("Level of the intervals", f"{100 * audit.level:g} %"),
        ("Sessions and animals", f"{audit.sessions} and {audit.animals}"),
        *_operators(audit),
        ("Version", answer.version),
        ("Fingerprint of the records", audit.digest[:16]),
    ]
    return Table("Choices", (Column("Choice"), Column("Used")), rows, wide=False)


def _operators(audit: Audit) -> Iterator[tuple[str, str]]:
    for operators in audit.operators:
        if operators.sd is None:
            continue
        sd = operators.sd
        ends = "" if sd.upper is None else f" ({number(sd.lower)} to {number(sd.upper)})"
        yield (
            f"Operators, {METHOD_WORDS[operators.method]}",
            f"SD between operators {number(sd.estimate)} mmHg{ends}, between an "
            f"animal's sessions {number(operators.session_sd)} mmHg; p {number(operators.p, 3)}",
        )


def audit_facts(answer: AuditAnswer) -> Iterator[tuple[str, Fact]]:
    """Yield what each figure behind an audit is of, and the figure."""
    audit = answer.audit
    named: dict[str, str] = {}
    for item in (*audit.protocol, audit.decisions):
        if item.fact_id:
            named.setdefault(item.fact_id, capital(item.words))
    for cuff in audit.cuffs:
        named.setdefault(cuff.fact_id, f"Cuff ratio, {cuff.species or 'unknown species'}")
    for id, words in named.items():
        yield words, fact(id)
    yield from judgements("audit")
    yield from judgements("situation")
