"""Every answer of a trend: as sentences under plain headings, and as a table of numbers."""

from __future__ import annotations

from bpvet.answers.parts import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.reports.markup import Shown, heading, lines, paragraph, scrolling, table_html, tag
from bpvet.wording.en.pages.animal.numbers import (
    VARIABILITY,
    WITHOUT_MODEL,
    chances_table,
    estimates_table,
)
from bpvet.wording.en.pages.animal.questions import questions


def answers(answer: TrendAnswer) -> Shown:
    """Return every sentence of the answer under its question."""
    told = list(questions(answer))
    parts = (
        tag("section", heading(3, question) + "".join(map(paragraph, texts)))
        for question, texts in told
    )
    text = lines(*(one for question, texts in told for one in (question, *texts)))
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
