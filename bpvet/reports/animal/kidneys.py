"""The kidneys in an animal's report: pressure and laboratory values together."""

from __future__ import annotations

from bpvet.answers.parts import TrendAnswer
from bpvet.models.kidney.joint_trends import joint_trends
from bpvet.models.trend.trend import Trend
from bpvet.reports.markup import Shown, heading, lines, paragraph, table_html, tag
from bpvet.wording.en.kidney.joint import ABOUT, joint_statements
from bpvet.wording.en.pages.animal.kidneys import TOGETHER, joint_table


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
    texts = [ABOUT, *(one.text for one in joint_statements(found))]
    table = joint_table(found, answer.level)
    html = heading(3, TOGETHER) + "".join(map(paragraph, texts)) + table_html(table)
    # On a screen alone, as all tables of numbers: paper holds the record itself on four pages.
    return Shown(tag("div", html, class_="numbers"), lines(*texts, table.text))
