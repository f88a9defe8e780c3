"""What the records hold about one animal: sessions, readings, treatments, signs, labs."""

from __future__ import annotations

from dataclasses import replace

from bpvet.answers.parts import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_panels import lab_values, usable_labs
from bpvet.reports.markup import (
    Shown,
    folded,
    lines,
    prose,
    table_html,
    tabled,
    tag,
    told_or_tabled,
)
from bpvet.wording.en.pages.animal import recorded


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
    values = [one.staging for one in lab_values(records, animal)]
    stagings = [one for one in values if one is not None]
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
