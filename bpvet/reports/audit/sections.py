"""The topics of an audit's page: sentences, figures and tables, a function for each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from bpvet.answers.audit.audit import AuditAnswer
from bpvet.facts.measuring import judgements
from bpvet.facts.sources import Fact, fact
from bpvet.facts.words import METHOD_WORDS
from bpvet.maths.agreement.comparison import Estimated
from bpvet.models.agreement.situation import Situational
from bpvet.models.audit.audit import NOT_TO_JUDGE
from bpvet.pictures import audit as audit_pictures
from bpvet.printing import number
from bpvet.reports.audit.tables import (
    cuff_table,
    digit_table,
    operator_table,
    order_table,
    precision_table,
    protocol_table,
    situation_table,
    spread_table,
    taken_table,
    time_table,
)
from bpvet.reports.cautions import cautions_shown
from bpvet.reports.clinic.parts import facts_by_source, pictured, said
from bpvet.reports.markup import (
    Column,
    Shown,
    bullets,
    folded,
    heading,
    lines,
    paragraph,
    table,
)
from bpvet.wording.en.agreement.situation import AGAINST, situational_sentences
from bpvet.wording.en.phrases import capital


def precision(answer: AuditAnswer) -> Shown:
    """Return what would make one visit's mean more precise, in mmHg."""
    words = said(answer.sections["precision"])
    return Shown(words.html + precision_table(answer.audit), words.text)


def protocol(answer: AuditAnswer) -> Shown:
    """Return readings a session, sessions that broke the protocol, and decisions."""
    words, audit = said(answer.sections["protocol"]), answer.audit
    return Shown(words.html + taken_table(audit) + protocol_table(audit), words.text)


def order(answer: AuditAnswer) -> Shown:
    """Return the first reading against the rest, and drift within a session."""
    words = said(answer.sections["order"])
    without = "No session had three readings or more."
    drawn = pictured(audit_pictures.order_picture(answer.audit), without)
    return Shown(words.html + drawn.html + order_table(answer.audit), words.text)


def digits(answer: AuditAnswer) -> Shown:
    """Return end digits and identical repeats."""
    words = said(answer.sections["digits"])
    drawn = pictured(audit_pictures.digits_picture(answer.audit), "No reading could be checked.")
    return Shown(words.html + drawn.html + digit_table(answer.audit), words.text)


def spread(answer: AuditAnswer) -> Shown:
    """Return the scatter of readings by method, operator, site and demeanour."""
    words = said(answer.sections["spread"] or ("No session had two readings or more.",))
    without = "No method had sessions of two groups or more: there is nothing to compare."
    drawn = pictured(audit_pictures.spread_picture(answer.audit), without)
    return Shown(words.html + drawn.html + spread_table(answer.audit), words.text)


def operators(answer: AuditAnswer) -> Shown:
    """Return operators with shrinkage and intervals, after the caution against judging people."""
    nobody = "No operator is recorded, so operators cannot be compared."
    words = said(answer.sections["operators"] or (nobody,))
    picture = audit_pictures.operators_picture(answer.audit)
    drawn = "" if picture is None else pictured(picture, "").html
    html = paragraph(NOT_TO_JUDGE) + words.html + drawn + operator_table(answer.audit)
    return Shown(html, lines(NOT_TO_JUDGE, words.text))


def situations(answer: AuditAnswer) -> Shown:
    """Return the situational effect: home against clinic, and calmed against awake."""
    parts = [_situation(one) for one in answer.audit.situations]
    return Shown("".join(part.html for part in parts), lines(*(part.text for part in parts)))


def _situation(one: Situational) -> Shown:
    words = said(situational_sentences(one))
    title = heading(3, AGAINST[one.condition])
    if one.found is None:
        return Shown(title + words.html, words.text)
    drawn = pictured(audit_pictures.situation_picture(one.found), "")
    return Shown(title + words.html + drawn.html + situation_table(one.found), words.text)


def cuffs(answer: AuditAnswer) -> Shown:
    """Return cuff width over limb circumference."""
    words = said(answer.sections["cuffs"])
    return Shown(words.html + cuff_table(answer.audit), words.text)


def times(answer: AuditAnswer) -> Shown:
    """Return how sessions differ by the time of day."""
    words = said(answer.sections["times"] or ("No session has a time of day.",))
    return Shown(words.html + time_table(answer.audit), words.text)


#: What each topic is called, most useful first, and what shows it.
TOPICS: Mapping[str, Callable[[AuditAnswer], Shown]] = MappingProxyType(
    {
        "What would make a visit more precise": precision,
        "Was the protocol kept?": protocol,
        "First reading against the rest": order,
        "End digits and repeats": digits,
        "How far readings scatter": spread,
        "Operators": operators,
        "Home against clinic, calmed against awake": situations,
        "Cuffs": cuffs,
        "Time of day": times,
    }
)


def topics(answer: AuditAnswer) -> Shown:
    """Return every topic with its sentences, figures and tables, each folded away on a screen."""
    parts = [(title, shown(answer)) for title, shown in TOPICS.items()]
    html = "".join(folded(title, part.html, "printed") for title, part in parts)
    return Shown(html, lines(*(f"{title}\n{part.text}" for title, part in parts)))


def computed(answer: AuditAnswer) -> Shown:
    """Return what it rests on, and how it was computed."""
    audit = answer.audit
    rows = [
        ("Rule that chose the readings", audit.rule),
        ("Level of the intervals", f"{100 * audit.level:g} %"),
        ("Sessions and animals", f"{audit.sessions} and {audit.animals}"),
        *(
            (f"Operators, {METHOD_WORDS[one.method]}", _operators_by(one.p, one.session_sd, one.sd))
            for one in audit.operators
            if one.sd is not None
        ),
        ("Version", answer.version),
        ("Fingerprint of the records", audit.digest[:16]),
    ]
    words = (*answer.sections["basis"], *_HOW)
    html = bullets(words) + table("Choices", (Column("Choice"), Column("Used")), rows)
    return Shown(folded("How it was computed", html, "printed"), lines(*words))


def _operators_by(p: float | None, session_sd: float | None, sd: Estimated) -> str:
    from_to = "" if sd.upper is None else f" ({number(sd.lower)} to {number(sd.upper)})"
    return (
        f"SD between operators {number(sd.estimate)} mmHg{from_to}, between an animal's sessions "
        f"{number(session_sd)} mmHg; p {number(p, 3)}"
    )


def cautions(answer: AuditAnswer) -> Shown:
    """Return what must stand beside the numbers."""
    return cautions_shown(answer.cautions)


def sources(answer: AuditAnswer) -> Shown:
    """Return the facts behind the page with their sources."""
    held = facts_by_source(_facts(answer))
    return Shown(folded("Sources", held.html, "printed"), held.text)


def _facts(answer: AuditAnswer) -> Iterator[tuple[str, Fact]]:
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


_HOW = (
    "First readings, drift and time of day are means within sessions or animals, with standard "
    "errors that keep the sessions of one animal together.",
    "End digits are tested by turning all readings of a session together, so that readings of one "
    "session are not counted as independent.",
    "Shares of sessions and readings have intervals by animal, since an animal's own are alike; "
    "readings per session are counts of all that was done, and have none.",
    "Scatter by group is shrunken to a common value, the more so the less is known of a group.",
    "Visit noise comes from neighbouring sessions of one animal under one condition.",
)
