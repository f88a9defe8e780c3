"""The sections of an audit's page: its head, what to change first, and a function a topic."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from bpvet.answers.audit.audit import AuditAnswer
from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.frozen import replace
from bpvet.models.agreement.situation import Situational
from bpvet.models.audit.audit import NOT_TO_JUDGE, Audit
from bpvet.pictures import audit as audit_pictures
from bpvet.reports.cards import head
from bpvet.reports.clinic.blocks import facts_by_source, pictured, reported
from bpvet.reports.markup import (
    Shown,
    bullets,
    fold,
    heading,
    lines,
    paragraph,
    prose,
    table_html,
    tag,
)
from bpvet.wording.en.agreement.situation import AGAINST, situational_sentences
from bpvet.wording.en.pages.audit import tables
from bpvet.wording.en.pages.audit.findings import NOTHING_FIRST, everything, to_change
from bpvet.wording.en.pages.audit.head import audit_head
from bpvet.wording.en.pages.audit.topics import (
    HOW_AUDITED,
    NOTHING_DRAWN,
    TOPIC_WORDS,
    audit_facts,
    choices,
    topic_sentences,
)
from bpvet.wording.en.pages.heads import COMPUTED, SOURCES
from bpvet.wording.en.pages.shapes import Table


def now(answer: AuditAnswer) -> Shown:
    """Return the head of the report: what was looked at, and what to know now."""
    return head(audit_head(answer))


def first(answer: AuditAnswer) -> Shown:
    """Return what to change first."""
    found = to_change(answer)
    if not found:
        return Shown(paragraph(NOTHING_FIRST), NOTHING_FIRST)
    return Shown(tag("ol", "".join(tag("li", prose(text)) for text in found)), lines(*found))


def findings(answer: AuditAnswer) -> Shown:
    """Return all that was found in one table, whose zero rows are one sentence."""
    found = everything(answer)
    return Shown(table_html(replace(found, notes=())) + bullets(found.notes), found.text)


def _topic(
    answer: AuditAnswer,
    topic: str,
    *made: Callable[[Audit], Table | None],
    draws: Callable[[Audit], AuditPicture | None] | None = None,
) -> Shown:
    """Return a topic: its sentences, its figure where it has one, and its tables."""
    words, audit = reported(topic_sentences(answer, topic)), answer.audit
    drawn = "" if draws is None else pictured(draws(audit), NOTHING_DRAWN[topic]).html
    return Shown(words.html + drawn + "".join(table_html(make(audit)) for make in made), words.text)


def operators(answer: AuditAnswer) -> Shown:
    """Return operators with shrinkage and intervals, after the caution against judging people."""
    words = reported(topic_sentences(answer, "operators"))
    picture = audit_pictures.operators_picture(answer.audit)
    drawn = "" if picture is None else pictured(picture, "").html
    shown = words.html + drawn + table_html(tables.operator_table(answer.audit))
    return Shown(paragraph(NOT_TO_JUDGE) + shown, lines(NOT_TO_JUDGE, words.text))


def situations(answer: AuditAnswer) -> Shown:
    """Return the situational effect: home against clinic, and calmed against awake."""
    parts = [_situation(situation) for situation in answer.audit.situations]
    return Shown("".join(piece.html for piece in parts), lines(*(piece.text for piece in parts)))


def _situation(situation: Situational) -> Shown:
    words = reported(situational_sentences(situation))
    title = heading(3, AGAINST[situation.condition])
    if situation.found is None:
        return Shown(title + words.html, words.text)
    drawn = pictured(audit_pictures.situation_picture(situation.found), "")
    table = table_html(tables.situation_table(situation.found))
    return Shown(title + words.html + drawn.html + table, words.text)


#: What shows each topic, most useful first.
_SHOWN: Mapping[str, Callable[[AuditAnswer], Shown]] = {
    "precision": lambda answer: _topic(answer, "precision", tables.precision_table),
    "protocol": lambda answer: _topic(
        answer, "protocol", tables.taken_table, tables.protocol_table
    ),
    "order": lambda answer: _topic(
        answer, "order", tables.order_table, draws=audit_pictures.order_picture
    ),
    "digits": lambda answer: _topic(
        answer, "digits", tables.digit_table, draws=audit_pictures.digits_picture
    ),
    "spread": lambda answer: _topic(
        answer, "spread", tables.spread_table, draws=audit_pictures.spread_picture
    ),
    "operators": operators,
    "situations": situations,
    "cuffs": lambda answer: _topic(answer, "cuffs", tables.cuff_table),
    "times": lambda answer: _topic(answer, "times", tables.time_table),
}
#: The same by what each is called.
TOPICS = MappingProxyType({TOPIC_WORDS[topic]: shown for topic, shown in _SHOWN.items()})


def topics(answer: AuditAnswer) -> Shown:
    """Return every topic with its sentences, figures and tables, each folded away on a screen."""
    parts = [fold(title, shown(answer), heads=False) for title, shown in TOPICS.items()]
    return Shown(
        "".join(section.html for section in parts), lines(*(section.text for section in parts))
    )


def computed(answer: AuditAnswer) -> Shown:
    """Return what it rests on, and how it was computed."""
    words = (*answer.sections["basis"], *HOW_AUDITED)
    html = bullets(words) + table_html(choices(answer))
    return fold(COMPUTED, Shown(html, lines(*words)), heads=False)


def sources(answer: AuditAnswer) -> Shown:
    """Return the facts behind the page with their sources."""
    return fold(SOURCES, facts_by_source(audit_facts(answer)), heads=False)
