"""The sections of an animal's page, a function each: head, what stands under the figure, folds."""

from __future__ import annotations

from html import escape

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.categories import guideline
from bpvet.frozen import replace
from bpvet.models.kidney.joint_trends import joint_trends
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_values import lab_values, usable_labs
from bpvet.reports.cards import card, cards
from bpvet.reports.clinic.blocks import facts_by_source
from bpvet.reports.markup import (
    Shown,
    bullets,
    folded,
    heading,
    lines,
    paragraph,
    prose,
    scrolling,
    table_html,
    tabled,
    tag,
    told_or_tabled,
)
from bpvet.reports.markup import together as unbroken
from bpvet.wording.en.kidney.joint import ABOUT, joint_statements
from bpvet.wording.en.pages.animal import recorded
from bpvet.wording.en.pages.animal.brief import THREE, three_sentences, told_lines
from bpvet.wording.en.pages.animal.cards import animal_cards
from bpvet.wording.en.pages.animal.kidneys import TOGETHER, joint_table
from bpvet.wording.en.pages.animal.methods import animal_facts, choices, priors_table
from bpvet.wording.en.pages.animal.numbers import (
    VARIABILITY,
    WITHOUT_MODEL,
    chances_table,
    estimates_table,
)
from bpvet.wording.en.pages.animal.questions import questions
from bpvet.wording.en.pages.animal.unused import unused_caption, unused_lines
from bpvet.wording.en.pages.heads import KNOW_NOW, UNCOUNTED, URGENT
from bpvet.wording.en.pages.identity import identity
from bpvet.wording.en.pages.letter import animal_words
from bpvet.wording.en.trend.statements import statements_on


def now(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the head of a report: identity, what is urgent, and four answers of one verdict each.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    who, urgent = _identity(trend, answer), [finding.text for finding in answer.urgent]
    made = [card(tile, unbroken(tile.detail), ":") for tile in animal_cards(trend, answer)]
    alarm = heading(2, URGENT) + "".join(paragraph(text) for text in urgent)
    # Before any number: what may be newer than it, and could not be used.
    uncounted = [statement.text for statement in statements_on(answer, "uncounted")]
    without = heading(2, UNCOUNTED) + "".join(map(paragraph, uncounted))
    html = "".join(
        (
            tag("header", who.html, class_="who animal"),
            tag("section", alarm, class_="urgent") if urgent else "",
            tag("section", without) if uncounted else "",
            tag("h2", KNOW_NOW, class_="unseen"),
            cards(made, "now first"),
        )
    )
    alarms = (f"{URGENT}: {text}" for text in urgent)
    return Shown(html, lines(who.text, *alarms, *uncounted, *(tile.text for tile in made)))


def _identity(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return whose report it is and what it rests on."""
    whose = identity(trend.records, answer)
    id = animal_words(whose.id)
    where = f"{whose.clinic}." if whose.clinic else ""
    known = " ".join(filter(None, (f"{id}. {whose.known}", where, whose.left)))
    known = paragraph(known, "known") + " " + paragraph(whose.basis, "basis")
    html = tag("h1", tag("span", escape(whose.name), class_="name")) + known
    text = lines(whose.name, id, whose.known, whose.clinic, whose.left, whose.basis)
    return Shown(html, text)


def brief(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return what is to be read with the figure.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    three, items = three_sentences(answer), list(told_lines(trend, answer))
    rows = "".join(
        tag("li", tag("strong", prose(f"{lead}.")) + unbroken(f" {detail}".rstrip()))
        for lead, detail in items
    )
    html = heading(2, THREE) + "".join(map(paragraph, three)) + tag("ul", rows, class_="told")
    return Shown(tag("section", html, class_="brief"), lines(*three, *(" ".join(o) for o in items)))


def answers(answer: TrendAnswer) -> Shown:
    """Return every sentence of the answer under its question."""
    answered = list(questions(answer))
    parts = (
        tag("section", heading(3, question) + "".join(map(paragraph, texts)))
        for question, texts in answered
    )
    text = lines(*(sentence for question, texts in answered for sentence in (question, *texts)))
    return Shown(tag("div", "".join(parts), class_="answers"), text)


def numbers(answer: TrendAnswer) -> Shown:
    """Return the numbers behind the sentences: estimates, probabilities, and variability.

    Parameters
    ----------
    answer : TrendAnswer
    """
    estimates, chances = estimates_table(answer), chances_table(answer)
    html = table_html(estimates) + table_html(chances)
    html += scrolling(VARIABILITY, answer.variability._repr_html_())
    text = lines(estimates.text, *("  ".join(row) for row in chances.rows))
    return Shown(tag("div", html, class_="numbers"), text)


def companions(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return what leans on no model of the trend: a trend by ranks and two control charts.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer: names the level of the intervals.
    """
    beside = trend.companions(level=answer.level)
    html = scrolling(WITHOUT_MODEL, beside._repr_html_())
    return Shown(tag("div", html, class_="numbers"), lines(WITHOUT_MODEL, repr(beside)))


def sessions_table(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return every session of the animal, newest first; those outside the trend are set back.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    return tabled(recorded.sessions_table(trend, answer))


def readings_table(trend: Trend) -> Shown:
    """Return every reading of the animal with its fate, folded away; on paper, what did not count.

    Parameters
    ----------
    trend : Trend
    """
    found = recorded.readings_table(trend)
    caption, apart = recorded.every_reading(found), found.notes
    items = "".join(tag("li", prose(text)) for text in apart)
    listed = table_html(replace(found, notes=()))
    html = folded(caption, listed) + tag("ul", items, class_="printed", hidden="hidden")
    return Shown(html, lines(caption, *apart))


def treatments(trend: Trend) -> Shown:
    """Return the animal's treatments as the clinic wrote them.

    Parameters
    ----------
    trend : Trend
    """
    return told_or_tabled(recorded.treatments_table(trend))


def signs(trend: Trend) -> Shown:
    """Return the animal's recorded signs and how each was understood, newest first.

    Parameters
    ----------
    trend : Trend
    """
    return told_or_tabled(recorded.signs_table(trend))


def labs(trend: Trend) -> Shown:
    """Return the animal's laboratory values in the units given, one row a date, and the stages.

    Parameters
    ----------
    trend : Trend
    """
    records, animal = trend.records, trend.series.animal
    values = [value.staging for value in lab_values(records, animal)]
    stagings = [staging for staging in values if staging is not None]
    return told_or_tabled(recorded.labs_table(usable_labs(records, animal), stagings) or "")


def findings(answer: TrendAnswer) -> Shown:
    """Return what the record check says about this animal's records.

    Parameters
    ----------
    answer : TrendAnswer
    """
    found = recorded.findings_table(answer)
    if isinstance(found, str):
        return told_or_tabled(found)
    return Shown(table_html(found), lines(found.caption, *map(str, answer.findings)))


def together(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return pressure fitted together with each laboratory value: sentences and a table.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer: names the level of the intervals.
    """
    found = joint_trends(trend, answer.level)
    if not found:
        return Shown("", "")
    texts = [ABOUT, *(statement.text for statement in joint_statements(found))]
    table = joint_table(found, answer.level)
    html = heading(3, TOGETHER) + "".join(map(paragraph, texts)) + table_html(table)
    # On a screen alone, as all tables of numbers: paper holds the record itself on four pages.
    return Shown(tag("div", html, class_="numbers"), lines(*texts, table.text))


def not_used(answer: TrendAnswer) -> Shown:
    """Return the rows that no sentence speaks of, folded away, a line a table and reason.

    A folded list is not printed, so it stands there a second time, for paper alone.

    Parameters
    ----------
    answer : TrendAnswer
    """
    texts, caption = unused_lines(answer), unused_caption(answer)
    if not texts:
        return Shown("", "")
    items = "".join(tag("li", prose(text)) for text in texts)
    html = folded(caption, tag("ul", items))
    # Its name stands on paper too, where the summary does not.
    html += tag("ul", tag("li", prose(f"{caption}:")) + items, class_="printed", hidden="hidden")
    return Shown(html, lines(caption, *texts))


def computed(answer: TrendAnswer) -> Shown:
    """Return how the report was computed and what it assumes.

    Parameters
    ----------
    answer : TrendAnswer
    """
    chosen = choices(answer)
    html = bullets(answer.assumptions) + table_html(chosen) + table_html(priors_table(answer))
    return Shown(html, lines(*answer.assumptions, *(": ".join(row) for row in chosen.rows)))


def sources(answer: TrendAnswer) -> Shown:
    """Return the guideline and every source used, with the figures taken from each.

    Parameters
    ----------
    answer : TrendAnswer
    """
    first = guideline(answer.guideline).source
    return facts_by_source(dict(animal_facts(answer)).items(), first, linked=True)
