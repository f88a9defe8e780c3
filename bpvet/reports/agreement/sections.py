"""The sections of an agreement's page, a function each."""

from __future__ import annotations

from bpvet.answers.agreement.agreement import AgreementAnswer
from bpvet.pictures.agreement import agreement_picture
from bpvet.records.records import Records
from bpvet.reports.cards import head
from bpvet.reports.clinic.blocks import facts_by_source, pictured, reported
from bpvet.reports.markup import Shown, lines, paragraph, table_html
from bpvet.wording.en.pages.agreement import tables
from bpvet.wording.en.pages.agreement.head import agreement_head


def now(answer: AgreementAnswer, records: Records) -> Shown:
    """Return the head of the report: what was compared, and what to know now."""
    return head(agreement_head(answer, records))


def figure(answer: AgreementAnswer) -> Shown:
    """Return the figure: differences against means, and one method against the other."""
    return pictured(agreement_picture(answer.agreement), "")


def answers(answer: AgreementAnswer) -> Shown:
    """Return what the numbers say, in sentences."""
    return reported(answer.sections["answers"])


def numbers(answer: AgreementAnswer) -> Shown:
    """Return every statistic with its interval, and how the interval was made."""
    found, agree = tables.statistics_table(answer), answer.agreement
    beside = "".join(map(paragraph, tables.plain_figures(agree)))
    html = table_html(found) + table_html(tables.components_table(agree)) + beside
    return Shown(html, found.caption)


def animals(answer: AgreementAnswer) -> Shown:
    """Return the animals by both methods, in the order of the records."""
    found = tables.animals_table(answer)
    return Shown(table_html(found), found.caption)


def criteria(answer: AgreementAnswer) -> Shown:
    """Return the guideline's criteria, item by item, and what they are worth."""
    words = reported(answer.sections["criteria"])
    return Shown(table_html(tables.criteria_table(answer)) + words.html, words.text)


def offset(answer: AgreementAnswer) -> Shown:
    """Return what a trend that joins both methods may take from here."""
    words = reported(answer.sections["bridged"])
    return Shown(words.html + table_html(tables.offset_table(answer)), words.text)


def computed(answer: AgreementAnswer) -> Shown:
    """Return what it rests on, how it was computed, and the choices made."""
    words, chosen = reported(answer.sections["basis"]), tables.choices(answer)
    return Shown(words.html + table_html(chosen), lines(words.text, *chosen.notes))


def sources(answer: AgreementAnswer) -> Shown:
    """Return the facts behind the page with their sources."""
    return facts_by_source(tables.agreement_facts(answer.agreement))
