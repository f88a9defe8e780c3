"""A trend's picture with what is urgent first: in caption and alternative text, and as a mark."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer, unseen_answer
from bpvet.errors import CallError, NothingLeft
from bpvet.figures.pictures import TrendPicture, Window
from bpvet.frozen import replace
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab import lab_picture, recorded_picture
from bpvet.pictures.trend import trend_picture
from bpvet.records.records import Records
from bpvet.wording.en.safety.recheck import next_visit
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.statements import statements_on


def answered_picture(
    trend: Trend,
    answer: TrendAnswer | None = None,
    *,
    labs: bool = False,
    rows_of: Collection[str] | None = None,
) -> TrendPicture:
    """Return the picture of a trend, what is urgent first.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer, optional
        Its answer: names the guideline and the level that are drawn; made if it is left out.
    labs : bool
        Whether the animal's laboratory values and weights stand under it, where there are any.
    rows_of : collection of str, optional
        The analytes that get a small row; all by default.
    """
    answer = trend.answer() if answer is None else answer
    picture = trend_picture(trend, answer.guideline, answer.level, labs=labs, rows_of=rows_of)
    if trend.logarithmic:
        picture = lab_picture(picture, trend, answer.kidney, answer.level)
    picture = replace(picture, window=_window(answer))
    return with_urgent(picture, [statement.text for statement in statements_on(answer, "urgent")])


def with_urgent(picture: TrendPicture, urgent: Sequence[str]) -> TrendPicture:
    """Return a picture with what is urgent first, in its caption and alternative text."""
    if not urgent:
        return picture
    first = " ".join(urgent)
    return replace(
        picture,
        urgent=tuple(urgent),
        caption=f"{first} {picture.caption}".rstrip(),
        alt_text=f"{first} {picture.alt_text}".rstrip(),
    )


def recorded_labs(
    records: Records, animal: str, analyte: str, guideline: str = "acvim2018"
) -> TrendPicture:
    """Return the picture of values that have no trend, what is urgent of the animal first.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    analyte : str
        One of `bpvet.facts.analytes.recorded_only`.
    guideline : str
        Key of the guideline that what is urgent is judged by.
    """
    try:
        answer: TrendAnswer | UnseenAnswer = fit_trend(records, animal).answer(guideline=guideline)
    except NothingLeft as error:
        answer = unseen_answer(records, animal, str(error), guideline)
    urgent = [statement.text for statement in urgent_statements(answer.urgent)]
    try:
        picture = recorded_picture(records, animal, analyte)
    except NothingLeft as error:
        raise CallError(" ".join([*urgent, str(error)])) from None
    return with_urgent(picture, urgent)


def _window(answer: TrendAnswer) -> Window | None:
    """Return when to measure again, as the picture draws it; None where no window is given."""
    again = answer.recheck
    if again.latest is None:
        return None
    earliest = np.datetime64("NaT") if again.earliest is None else again.earliest
    return Window(earliest, again.latest, next_visit(again))
