"""The sections of an audit's page: its head, what to change first, and a function a topic."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from bpvet.answers.audit.audit import AuditAnswer
from bpvet.models.agreement.situation import Situational
from bpvet.models.audit.audit import NOT_TO_JUDGE
from bpvet.pictures import audit as audit_pictures
from bpvet.reports.cards import head
from bpvet.reports.cautions import cautions_shown
from bpvet.reports.clinic.parts import facts_by_source, pictured, said
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
    told,
)
from bpvet.wording.en.pages.heads import COMPUTED, SOURCES


def now(answer: AuditAnswer) -> Shown:
    """Return the head of the report: what was looked at, and what to know now."""
    return head(audit_head(answer))


def first(answer: AuditAnswer) -> Shown:
    """Return what to change first."""
    found = to_change(answer)
    if not found:
        return Shown(paragraph(NOTHING_FIRST), NOTHING_FIRST)
    return Shown(tag("ol", "".join(tag("li", prose(one)) for one in found)), lines(*found))


def findings(answer: AuditAnswer) -> Shown:
    """Return all that was found in one table, whose zero rows are one sentence."""
    found = everything(answer)
    return Shown(table_html(replace(found, notes=())) + bullets(found.notes), found.text)


def precision(answer: AuditAnswer) -> Shown:
    """Return what would make one visit's mean more precise, in mmHg."""
    words = said(answer.sections["precision"])
    return Shown(words.html + table_html(tables.precision_table(answer.audit)), words.text)


def protocol(answer: AuditAnswer) -> Shown:
    """Return readings a session, sessions that broke the protocol, and decisions."""
    words, audit = said(answer.sections["protocol"]), answer.audit
    counted = table_html(tables.taken_table(audit)) + table_html(tables.protocol_table(audit))
    return Shown(words.html + counted, words.text)


def order(answer: AuditAnswer) -> Shown:
    """Return the first reading against the rest, and drift within a session."""
    words = said(answer.sections["order"])
    drawn = pictured(audit_pictures.order_picture(answer.audit), NOTHING_DRAWN["order"])
    html = words.html + drawn.html + table_html(tables.order_table(answer.audit))
    return Shown(html, words.text)


def digits(answer: AuditAnswer) -> Shown:
    """Return end digits and identical repeats."""
    words = said(answer.sections["digits"])
    drawn = pictured(audit_pictures.digits_picture(answer.audit), NOTHING_DRAWN["digits"])
    html = words.html + drawn.html + table_html(tables.digit_table(answer.audit))
    return Shown(html, words.text)


def spread(answer: AuditAnswer) -> Shown:
    """Return the scatter of readings by method, operator, site and demeanour."""
    words = said(told(answer, "spread"))
    drawn = pictured(audit_pictures.spread_picture(answer.audit), NOTHING_DRAWN["spread"])
    html = words.html + drawn.html + table_html(tables.spread_table(answer.audit))
    return Shown(html, words.text)


def operators(answer: AuditAnswer) -> Shown:
    """Return operators with shrinkage and intervals, after the caution against judging people."""
    words = said(told(answer, "operators"))
    picture = audit_pictures.operators_picture(answer.audit)
    drawn = "" if picture is None else pictured(picture, "").html
    shown = words.html + drawn + table_html(tables.operator_table(answer.audit))
    return Shown(paragraph(NOT_TO_JUDGE) + shown, lines(NOT_TO_JUDGE, words.text))


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
    table = table_html(tables.situation_table(one.found))
    return Shown(title + words.html + drawn.html + table, words.text)


def cuffs(answer: AuditAnswer) -> Shown:
    """Return cuff width over limb circumference."""
    words = said(answer.sections["cuffs"])
    return Shown(words.html + table_html(tables.cuff_table(answer.audit)), words.text)


def times(answer: AuditAnswer) -> Shown:
    """Return how sessions differ by the time of day."""
    words = said(told(answer, "times"))
    return Shown(words.html + table_html(tables.time_table(answer.audit)), words.text)


#: What each topic is called, most useful first, and what shows it.
TOPICS: Mapping[str, Callable[[AuditAnswer], Shown]] = MappingProxyType(
    {
        TOPIC_WORDS[shown.__name__]: shown
        for shown in (
            *(precision, protocol, order, digits, spread),
            *(operators, situations, cuffs, times),
        )
    }
)


def topics(answer: AuditAnswer) -> Shown:
    """Return every topic with its sentences, figures and tables, each folded away on a screen."""
    parts = [fold(title, shown(answer), heads=False) for title, shown in TOPICS.items()]
    return Shown("".join(part.html for part in parts), lines(*(part.text for part in parts)))


def computed(answer: AuditAnswer) -> Shown:
    """Return what it rests on, and how it was computed."""
    words = (*answer.sections["basis"], *HOW_AUDITED)
    html = bullets(words) + table_html(choices(answer))
    return fold(COMPUTED, Shown(html, lines(*words)), heads=False)


def cautions(answer: AuditAnswer) -> Shown:
    """Return what must stand beside the numbers."""
    return cautions_shown(answer.cautions)


def sources(answer: AuditAnswer) -> Shown:
    """Return the facts behind the page with their sources."""
    return fold(SOURCES, facts_by_source(audit_facts(answer)), heads=False)
