"""The kidneys in an animal's report: pressure and laboratory values together."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.analytes import short_name
from bpvet.models.kidney.joint import Joint
from bpvet.models.kidney.joint_trends import joint_trends
from bpvet.models.trend.trend import Trend
from bpvet.printing import number
from bpvet.reports.markup import Column, Shown, heading, lines, paragraph, table, tag
from bpvet.wording.en.kidney.joint import ABOUT, joint_statements
from bpvet.wording.en.phrases import capital, percent


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
    caption = f"Changes and correlations, with {percent(answer.level)} intervals"
    columns = (
        Column("Of"),
        Column("Estimate", True),
        Column("Lower", True),
        Column("Upper", True),
        Column("Unit"),
    )
    rows = [row for one in found for row in _rows(one)]
    head = heading(3, "Pressure and laboratory values together")
    html = head + "".join(map(paragraph, texts)) + table(caption, columns, rows, wide=True)
    # On a screen alone, as all tables of numbers: paper holds the record itself on four pages.
    html = tag("div", html, class_="numbers")
    return Shown(html, lines(*texts, caption, *("  ".join(row) for row in rows)))


def _rows(one: Joint) -> Iterator[tuple[str, str, str, str, str]]:
    name = short_name(one.marker.series.quantity)
    for what, mixture, unit in (
        (f"{capital(name)}, change apart from drugs", one.slope_marker, "% in 30 days"),
        (f"Pressure beside {name}, the same", one.slope_pressure, "mmHg in 30 days"),
    ):
        low, high = mixture.interval(one.level)
        numbers = (number(float(part), 1) for part in (mixture.mean, low, high))
        yield (what, *numbers, unit)  # type: ignore[misc]
    mean, low, high = one.correlation
    yield (
        f"Correlation of {name} and pressure",
        *(number(part, 2) for part in (mean, low, high)),  # type: ignore[misc]
        "",
    )
