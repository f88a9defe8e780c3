"""From a trend to its picture: frozen numbers and words, for `bpvet.figures.trend` to draw."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.categories import guideline
from bpvet.facts.words import KEPT_OUT_CONDITIONS, METHOD_WORDS, TREND_CONDITIONS
from bpvet.figures.pictures import (
    CourseSpan,
    Panel,
    ReadingMarks,
    SessionMarks,
    TrendPicture,
)
from bpvet.models.trend.outlook import category_withheld
from bpvet.models.trend.trend import Trend
from bpvet.pictures.band import doubts, trend_band
from bpvet.pictures.guides import guides
from bpvet.pictures.lab_panels import LabPanels, lab_panels
from bpvet.pictures.lab_rows import LabRows, lab_rows
from bpvet.pictures.signs import sign_marks, unmeasured_marks
from bpvet.pictures.tracks import drug_tracks
from bpvet.visits.labs.series import left_out
from bpvet.visits.readings import readings_used
from bpvet.visits.sessions import used_values
from bpvet.wording.en.pictures.drawn import TREND
from bpvet.wording.en.pictures.trend import (
    alt_text,
    bound_label,
    caption,
    group_name,
    heading,
    left_out_name,
    newest_words,
    notes,
    session_labels,
    title,
)


def trend_picture(
    trend: Trend,
    guideline_key: str = "acvim2018",
    level: float = 0.95,
    *,
    labs: bool = False,
    rows_of: Collection[str] | None = None,
) -> TrendPicture:
    """Return the picture of a trend.

    Parameters
    ----------
    trend : Trend
    guideline_key : str
        Key of the guideline whose categories are drawn (systolic only).
    level : float
        Probability of the outer band; the inner holds one half.
    labs : bool
        Whether the animal's laboratory values and weights stand under it as panels of their own;
        without, they are small rows.
    rows_of : collection of str, optional
        The analytes that get a small row; all by default.
    """
    series = trend.series
    whose = (trend.records, series.animal, series.quantity)
    below = lab_panels(*whose) if labs else LabPanels()
    rows = LabRows() if labs else lab_rows(*whose, only=rows_of)
    # A bridged series' other sessions, by method and condition.
    kinds = sorted(set(zip(series.methods.tolist(), series.conditions.tolist(), strict=True)))
    joined = tuple(
        _marks(trend, (series.methods == method) & (series.conditions == condition), joined=True)
        for method, condition in kinds
        if (method, condition) != (series.method, series.condition)
    )
    panel = _panel(trend, guideline_key, level, joined)
    signs = (
        *sign_marks(trend.records, series.animal, trend.as_of),
        *unmeasured_marks(trend.records, series.animal, series.date[-1]),
    )
    spans = tuple(
        CourseSpan(span.drug, span.dose, span.started_on, span.stopped_on, span.modelled)
        for span in trend.context.treatments.spans
    )
    return TrendPicture(
        title=title(trend),
        as_of=trend.as_of,
        panels=(panel, *below.panels),
        courses=spans,
        signs=signs,
        caption=_together(caption(trend, panel, joined, signs), below.caption, rows.caption),
        alt_text=_together(alt_text(trend, panel, level, signs), below.alt_text, rows.alt_text),
        newest=newest_words(trend, level),
        tracks=drug_tracks(spans, trend.as_of),
        rows=rows.rows,
    )


def _panel(
    trend: Trend, guideline_key: str, level: float, joined: tuple[SessionMarks, ...]
) -> Panel:
    """Return the trend's own panel; `joined` are its sessions by other methods."""
    series = trend.series
    systolic = series.quantity == "systolic"
    chosen = guideline(guideline_key, series.species or None) if systolic else None
    withheld = category_withheld(trend) if systolic else None
    # The sessions of the series; of a bridged one, those like the latest.
    alike = (series.methods == series.method) & (series.conditions == series.condition)
    shown, others = _marks(trend, alike), (*joined, *_other_sessions(trend))
    lowest = min(float(np.min(marks.mean)) for marks in (shown, *others) if marks.mean.size)
    across = guides(trend, chosen, withheld, lowest)
    readings = ReadingMarks.none()
    if not trend.logarithmic:
        frame = readings_used(trend.records, trend.context.rule, animal=series.animal)
        readings = _reading_marks(
            trend, frame[frame["session"].isin(trend.series.session)].reset_index(drop=True)
        )
    return Panel(
        heading=heading(trend),
        quantity=series.quantity,
        unit="" if series.unit == "ratio" else series.unit,
        sessions=shown,
        readings=readings,
        others=others,
        band=trend_band(trend, level),
        levels=across.levels,
        guideline=across.whose,
        target=across.target,
        floor=across.floor,
        note=" ".join([*notes(trend, withheld), *doubts(trend), across.note]).strip(),
        words=TREND,
    )


def _together(*texts: str) -> str:
    return " ".join(text for text in texts if text)


def _marks(trend: Trend, which: np.ndarray, joined: bool = False) -> SessionMarks:
    series = trend.series
    first = int(np.flatnonzero(which)[0])
    method, condition = str(series.methods[first]), str(series.conditions[first])
    sd = np.sqrt(_variance(trend))[which]
    mean = trend.observed[which]
    if trend.logarithmic:
        name, method, sd = METHOD_WORDS[method], "", np.full(mean.size, np.nan)
    else:
        name = group_name(method, condition, joined)
    return SessionMarks(
        name=name,
        method=method,
        condition=condition,
        date=series.date[which],
        mean=mean,
        low=mean - sd,
        high=mean + sd,
        n=np.minimum(series.k[which], 999).astype(np.int64),
        bound=_one_bound(series.bound[which]),
        label=np.array(session_labels(trend, _one_bound(series.bound).tolist()), dtype=np.str_)[
            which
        ],
        session=np.maximum(series.session[which], 0),
    )


def _variance(trend: Trend) -> np.ndarray:
    series = trend.series
    variance = np.full(series.y.size, np.nan)
    known = series.scatter_known & (series.k > 1) & series.plain
    variance[known] = series.ss[known] / (series.k[known] - 1)
    return variance


def _bound_labels(bound: Any, mean: pd.Series) -> np.ndarray:
    """Return what letters sessions that are known as bounds alone."""
    pairs = zip(_one_bound(bound), mean.to_numpy(dtype=float), strict=True)
    return np.array([bound_label(sign, value) for sign, value in pairs])


def _reading_marks(trend: Trend, frame: pd.DataFrame) -> ReadingMarks:
    quantity = trend.series.quantity
    used = used_values(frame, quantity)
    if quantity == "pulse_pressure":
        written, bound = (frame["systolic"] - frame["diastolic"]).to_numpy(dtype=float), None
    else:
        written = frame[quantity].to_numpy(dtype=float)
        bound = frame[f"{quantity}_bound"].to_numpy(dtype=object)
    status = frame["fate"].to_numpy(dtype=object)
    value = np.where(status == "used", used, written)
    single = (frame["summary_n"] == 0).to_numpy(dtype=bool)
    keep = single & ~np.isnan(value)
    bounds = np.full(len(frame), "", dtype=object) if bound is None else bound
    bounds = np.where(np.isin(bounds, ("at least", "at most")), bounds, "")
    return ReadingMarks(
        date=frame["date"].to_numpy(dtype="datetime64[D]")[keep],
        value=value[keep],
        fate=status[keep].astype(str),
        bound=bounds[keep].astype(str),
        session=np.maximum(frame["session"].to_numpy(dtype=np.int64)[keep], 0),
    )


def _other_sessions(trend: Trend) -> tuple[SessionMarks, ...]:
    """Return the sessions by other methods or under other conditions, kept-out ones included."""
    if trend.logarithmic:
        return _left_out(trend)
    series, table = trend.series, trend.context.sessions
    quantity = series.quantity
    rest = table[~table["session"].isin(series.session) & table[quantity].notna()]
    order = {kind: i for i, kind in enumerate((*TREND_CONDITIONS, *KEPT_OUT_CONDITIONS))}
    groups = sorted(
        rest.groupby(["method", "condition"]),
        key=lambda group: (group[0][0], order[str(group[0][1])]),
    )
    return tuple(
        SessionMarks(
            name=group_name(str(method), str(condition)),
            method=str(method),
            condition=str(condition),
            date=rows["date"].to_numpy(dtype="datetime64[D]"),
            mean=rows[quantity].to_numpy(dtype=float),
            low=(rows[quantity] - rows[f"{quantity}_sd"]).to_numpy(dtype=float),
            high=(rows[quantity] + rows[f"{quantity}_sd"]).to_numpy(dtype=float),
            n=rows[f"{quantity}_n"].to_numpy(dtype=np.int64),
            bound=_one_bound(rows[f"{quantity}_bound"]),
            label=_bound_labels(rows[f"{quantity}_bound"], rows[quantity]),
            session=rows["session"].to_numpy(dtype=np.int64),
        )
        for (method, condition), rows in groups
    )


def _left_out(trend: Trend) -> tuple[SessionMarks, ...]:
    """Return the laboratory values that are no part of the trend and have a place in its unit."""
    found = left_out(trend.records, trend.series.animal, trend.series.quantity)
    shown = [(lab, lab.modelled) for lab, _ in found if lab.modelled is not None]
    if not shown:
        return ()
    unknown = np.full(len(shown), np.nan)
    return (
        SessionMarks(
            name=left_out_name(all(lab.bound for lab, _ in shown)),
            method="",
            condition="",
            date=np.array([lab.date for lab, _ in shown], dtype="datetime64[D]"),
            mean=np.array([value for _, value in shown], dtype=np.float64),
            low=unknown,
            high=unknown.copy(),
            n=np.ones(len(shown), dtype=np.int64),
            bound=np.array([lab.bound for lab, _ in shown], dtype=str),
            label=np.full(len(shown), "", dtype="<U1"),
        ),
    )


def _one_bound(bound: Any) -> np.ndarray:
    """Return bounds that an arrow can show; one either way is told in the text."""
    text = np.asarray(bound, dtype=object)
    return np.where(np.isin(text, ("at least", "at most")), text, "").astype(str)
