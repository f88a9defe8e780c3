"""Kidney values, and pressure beside one of them, as panels on one axis of dates."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from bpvet.errors import CallError, FitError
from bpvet.figures.pictures import TrendPicture
from bpvet.frozen import replace
from bpvet.models.kidney.joint import Joint
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.fit import fit_trend
from bpvet.pictures.answered import answered_picture, recorded_labs, with_urgent
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.labs.events import STAGED
from bpvet.wording.en.pictures import kidney as words


def kidney_picture(kidney: Kidney) -> TrendPicture:
    """Return an animal's kidney values over time, what is urgent of the animal first.

    A panel a marker: its values, the band of its trend where it has one, and the stages' bounds.

    Raises
    ------
    CallError
        Where it is part of an answer, which holds no records, or no value can be drawn.
    """
    records = kidney.records
    if records is None:
        raise CallError("an answer holds no values: bpvet.kidney(records, animal) has the figure.")
    found = [_marker(records, kidney, analyte) for analyte in STAGED]
    drawn = [picture for picture in found if picture is not None]
    if not drawn:
        raise CallError(f"{kidney.animal} has no kidney value that can be drawn.")
    who = _who(records, kidney.animal)
    return _stacked(drawn, words.kidney_title(who), words.kidney_newest(kidney))


def joint_picture(joint: Joint) -> TrendPicture:
    """Return pressure and a laboratory value one below the other, what is urgent first."""
    drawn = [
        answered_picture(trend, trend.answer(level=joint.level), rows_of=())
        for trend in (joint.pressure, joint.marker)
    ]
    who = _who(joint.marker.records, joint.marker.series.animal)
    return _stacked(
        drawn, words.joint_title(who, joint), words.joint_newest(joint), words.JOINT_NOTE
    )


def _marker(records: Records, kidney: Kidney, analyte: str) -> TrendPicture | None:
    """Return the picture of one analyte: its trend, its values alone, or None without any."""
    try:
        trend = fit_trend(records, kidney.animal, quantity=analyte)
    except (CallError, FitError):
        try:
            return recorded_labs(records, kidney.animal, analyte)
        except CallError:
            return None
    answer = trend.answer(level=kidney.level, edition=kidney.edition)
    return answered_picture(trend, answer, rows_of=())


def _stacked(
    pictures: Sequence[TrendPicture], title: str, newest: str, note: str = ""
) -> TrendPicture:
    """Return pictures of one animal as one, the panels of the first on top."""
    panels = tuple(chain.from_iterable(picture.panels for picture in pictures))
    urgent = pictures[0].urgent
    whole = replace(pictures[0], title=title, panels=panels, newest=newest, urgent=())
    whole = replace(
        whole, caption=words.stacked_caption(whole, note), alt_text=words.stacked_alt_text(whole)
    )
    return with_urgent(whole, urgent)


def _who(records: Records, animal: str) -> str:
    row = animal_rows(records).get(animal)
    return words.who_words(animal, "" if row is None else row.name)
