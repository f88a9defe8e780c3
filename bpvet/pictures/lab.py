"""A laboratory value alone as a picture: in the laboratory's own unit, its stages where they hold.

A trend is modelled in one unit and shown in that of the newest value. Stages are named as stages
only where kidney disease is recorded, else as what they would be. Potassium and total T4 have no
trend: they are drawn as recorded.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from bpvet.errors import NothingLeft
from bpvet.facts.labs import DRAWN, factor
from bpvet.facts.sources import credit, fact
from bpvet.facts.stages import staging
from bpvet.figures.pictures import Band, CourseSpan, Level, Panel, SessionMarks, TrendPicture
from bpvet.frozen import field_names, replace
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_panels import lab_panels, stage_levels
from bpvet.pictures.signs import sign_marks
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.labs.history import lab_history
from bpvet.visits.treatments.courses import courses
from bpvet.wording.en.pictures.lab import (
    POTASSIUM_LEVELS,
    LabWords,
    RecordedWords,
    recorded_title,
)
from bpvet.wording.en.pictures.trend import session_labels

_Marks = TypeVar("_Marks", SessionMarks, Band)


def lab_picture(picture: TrendPicture, trend: Trend, kidney: Kidney, level: float) -> TrendPicture:
    """Return the picture of a laboratory value's trend in the laboratory's own unit.

    Parameters
    ----------
    picture : TrendPicture
        As `bpvet.pictures.trend.trend_picture` makes it, in the unit that is modelled.
    trend : Trend
        Of a laboratory value or of weight.
    kidney : Kidney
        Whether kidney disease is recorded, and the edition of the stages.
    level : float
        Probability of the outer band and of the interval of the change.
    """
    series = trend.series
    known = lab_history(trend.records, series.animal).of(series.quantity, trend.as_of)
    unit = known[-1].unit
    scale = factor(series.quantity, unit) or 1.0
    bounds = staging(series.quantity, series.species, unit, kidney.edition)
    texts = LabWords(trend, kidney, known, scale, bounds, level)
    first, *below = picture.panels
    panel = replace(
        _scaled(first, trend, scale),
        unit="" if unit == "ratio" else unit,
        levels=tuple(
            replace(band, name=texts.level_name(band.name)) for band in stage_levels(bounds)
        ),
        guideline=texts.whose,
    )
    return replace(
        picture,
        panels=(panel, *below),
        caption=texts.caption(panel, picture.courses, picture.signs),
        alt_text=texts.alt_text(panel, picture.courses, picture.signs),
        newest=texts.newest,
    )


def recorded_picture(records: Records, animal: str, analyte: str) -> TrendPicture:
    """Return the picture of values that have no trend, as recorded, a panel a unit.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    analyte : str
        One of `facts.analytes.recorded_only`.

    Raises
    ------
    NothingLeft
        Where the animal has no value of it.
    """
    panels = [
        _judged(panel) for panel in lab_panels(records, animal).panels if panel.quantity == analyte
    ]
    if not panels:
        raise NothingLeft(f"{animal} has no value of {DRAWN[analyte]} that can be drawn.")
    spans = tuple(
        CourseSpan(span.drug, span.dose, span.started_on, span.stopped_on, span.modelled)
        for span in courses(records, animal).spans
    )
    signs = sign_marks(records, animal, records.as_of)
    texts = RecordedWords(analyte, tuple(panels), spans, signs, records.as_of)
    return TrendPicture(
        title=recorded_title(animal, animal_rows(records)[animal].name, analyte),
        as_of=records.as_of,
        panels=tuple(panels),
        courses=spans,
        signs=signs,
        caption=texts.caption,
        alt_text=texts.alt_text,
        newest=texts.newest,
    )


def _scaled(panel: Panel, trend: Trend, scale: float) -> Panel:
    """Return a panel in the laboratory's unit, and so what is written beside its marks."""
    if scale == 1.0:
        return panel
    labels = session_labels(trend, panel.sessions.bound.tolist(), scale)
    return replace(
        panel,
        sessions=replace(_divided(panel.sessions, scale), label=np.array(labels, dtype=np.str_)),
        others=tuple(_divided(marks, scale) for marks in panel.others),
        band=None if panel.band is None else _divided(panel.band, scale),
    )


def _divided(marks: _Marks, scale: float) -> _Marks:
    arrays = {
        name: getattr(marks, name) / scale
        for name in field_names(marks)
        if getattr(getattr(marks, name), "dtype", np.dtype("U1")).kind == "f"
    }
    return replace(marks, **arrays)


def _judged(panel: Panel) -> Panel:
    """Return a panel of potassium with the bounds that are judged here; others as they are."""
    if panel.quantity != "potassium" or panel.unit not in ("mmol/L", "mEq/L"):
        return panel
    low, repeat, high = (
        float(fact(f"kidney.potassium.{name}").value or np.nan)
        for name in ("low", "repeat", "high")
    )
    values = panel.sessions.mean
    if np.min(values) >= low and np.max(values) < repeat:
        # None of the bounds comes into view.
        return panel
    ends = (-np.inf, low, repeat, high, np.inf)
    levels = tuple(map(Level, POTASSIUM_LEVELS, ends[:-1], ends[1:]))
    return replace(panel, levels=levels, guideline=credit(fact("kidney.potassium.high")))
