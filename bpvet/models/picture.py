"""From a trend to its picture: frozen numbers and words, for `bpvet.figures.trend` to draw."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.sources import AS_REMEMBERED, fact
from bpvet.facts.stages import staging
from bpvet.facts.words import (
    CONDITION_WORDS,
    KEPT_OUT_CONDITIONS,
    METHOD_WORDS,
    QUANTITY_WORDS,
    TREND_CONDITIONS,
)
from bpvet.figures.pictures import (
    Band,
    CourseSpan,
    GuideLine,
    Level,
    Panel,
    ReadingMarks,
    SessionMarks,
    SignMark,
    TrendPicture,
)
from bpvet.models.lab_panels import LabPanels, lab_panels, stage_levels
from bpvet.models.outlook import category_withheld, surprise, target_for
from bpvet.models.picture_words import alt_text, band_words, caption, heading
from bpvet.printing import number
from bpvet.visits.readings import readings_used
from bpvet.visits.sessions import used_values

if TYPE_CHECKING:
    from bpvet.models.trend import Trend

_DAY = np.timedelta64(1, "D")
#: Dates at which the band is drawn, besides those of the sessions and of treatment changes.
_GRID = 160
_INNER = 0.5


def trend_picture(
    trend: Trend, guideline_key: str = "acvim2018", level: float = 0.95, *, labs: bool = False
) -> TrendPicture:
    """Return the picture of a trend.

    Parameters
    ----------
    trend : Trend
    guideline_key : str
        Key of the guideline whose categories are shaded (systolic only).
    level : float
        Probability of the outer band; the inner holds one half.
    labs : bool
        Whether the animal's laboratory values and weights stand under it, where there are any.
    """
    series = trend.series
    systolic = series.quantity == "systolic"
    chosen = guideline(guideline_key, series.species or None) if systolic else None
    withheld = category_withheld(trend) if systolic else None
    levels, graded = _levels(trend, None if withheld is not None else chosen)
    joined = _joined_sessions(trend)
    marks, others = ReadingMarks.none(), (*joined, *_other_sessions(trend))
    below = LabPanels()
    if labs:
        below = lab_panels(trend.records, series.animal, without=series.quantity)
    if not trend.logarithmic:
        marks = _reading_marks(trend, _readings_frame(trend))
    panel = Panel(
        heading=heading(trend),
        quantity=series.quantity,
        unit=series.unit,
        sessions=_own_sessions(trend),
        readings=marks,
        others=others,
        band=_band(trend, level),
        levels=levels,
        guideline=graded,
        target=None if chosen is None else _target_line(trend, chosen),
        note="; ".join(_notes(trend, withheld)),
    )
    signs = _signs(trend)
    return TrendPicture(
        title=_title(trend),
        as_of=trend.as_of,
        panels=(panel, *below.panels),
        courses=_spans(trend),
        signs=signs,
        caption=f"{caption(trend, panel, joined, signs, level)} {below.caption}".rstrip(),
        alt_text=f"{alt_text(trend, level)} {below.alt_text}".rstrip(),
    )


def _title(trend: Trend) -> str:
    animals = trend.records.animals.set_index("animal")
    name = str(animals["name"].get(trend.series.animal, ""))
    who = f"{name} ({trend.series.animal})" if name else trend.series.animal
    return f"{who}: {QUANTITY_WORDS[trend.series.quantity]}"


def _own_sessions(trend: Trend) -> SessionMarks:
    """Return the sessions of the series; of a bridged one, those like the latest."""
    series = trend.series
    own = (series.methods == series.method) & (series.conditions == series.condition)
    return _marks(trend, own)


def _joined_sessions(trend: Trend) -> tuple[SessionMarks, ...]:
    """Return a bridged series' other sessions, by method and condition."""
    series = trend.series
    kinds = sorted(set(zip(series.methods.tolist(), series.conditions.tolist(), strict=True)))
    return tuple(
        _marks(trend, (series.methods == method) & (series.conditions == condition), ", joined")
        for method, condition in kinds
        if (method, condition) != (series.method, series.condition)
    )


def _marks(trend: Trend, which: np.ndarray, said: str = "") -> SessionMarks:
    series = trend.series
    first = int(np.flatnonzero(which)[0])
    method, condition = str(series.methods[first]), str(series.conditions[first])
    sd = np.sqrt(_variance(trend))[which]
    mean = trend.observed[which]
    name = f"{_method(method)}, {CONDITION_WORDS[condition]}{said}"
    if trend.logarithmic:
        name, method, sd = METHOD_WORDS[method], "", np.full(mean.size, np.nan)
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
        label=_labels(trend)[which],
    )


def _variance(trend: Trend) -> np.ndarray:
    series = trend.series
    variance = np.full(series.y.size, np.nan)
    known = series.scatter_known & (series.k > 1)
    variance[known] = series.ss[known] / (series.k[known] - 1)
    return variance


def _labels(trend: Trend) -> np.ndarray:
    """Name the first visit, and the newest session where it was a surprise."""
    series = trend.series
    labels = np.full(series.y.size, "", dtype="<U20")
    if trend.first_visit is not None and series.visit[0] == 0 and series.y.size > 1:
        labels[0] = "first visit"
    found = surprise(trend)
    if found is not None:
        if found.tail <= float(fact("project.verdict.very_unusual").value or 0):
            labels[-1] = "very unusual"
        elif found.tail <= float(fact("project.verdict.unusual").value or 0):
            labels[-1] = "unusual"
    return labels


def _readings_frame(trend: Trend) -> pd.DataFrame:
    """Return the readings of the sessions of the series, with their session's date."""
    frame = readings_used(trend.records, trend.context.rule)
    frame = frame[frame["animal"] == trend.series.animal]
    return frame[frame["session"].isin(trend.series.session)].reset_index(drop=True)


def _reading_marks(trend: Trend, frame: pd.DataFrame) -> ReadingMarks:
    quantity = trend.series.quantity
    used = used_values(frame, quantity)
    if quantity == "pulse_pressure":
        written, bound = (frame["systolic"] - frame["diastolic"]).to_numpy(dtype=float), None
    else:
        written = frame[quantity].to_numpy(dtype=float)
        bound = frame[f"{quantity}_bound"].to_numpy(dtype=object)
    fate = frame["fate"].to_numpy(dtype=object)
    value = np.where(fate == "used", used, written)
    single = (frame["summary_n"] == 0).to_numpy(dtype=bool)
    keep = single & ~np.isnan(value)
    bounds = np.full(len(frame), "", dtype=object) if bound is None else bound
    bounds = np.where(np.isin(bounds, ("at least", "at most")), bounds, "")
    return ReadingMarks(
        date=frame["date"].to_numpy(dtype="datetime64[D]")[keep],
        value=value[keep],
        fate=fate[keep].astype(str),
        bound=bounds[keep].astype(str),
    )


def _other_sessions(trend: Trend) -> tuple[SessionMarks, ...]:
    """Return the sessions by other methods or under other conditions, kept-out ones included."""
    if trend.logarithmic:
        return ()
    series, table = trend.series, trend.context.sessions
    quantity = series.quantity
    rest = table[~table["session"].isin(series.session) & table[quantity].notna()]
    order = {one: i for i, one in enumerate((*TREND_CONDITIONS, *KEPT_OUT_CONDITIONS))}
    groups = sorted(
        rest.groupby(["method", "condition"]), key=lambda one: (one[0][0], order[str(one[0][1])])
    )
    return tuple(
        SessionMarks(
            name=f"{_method(str(method))}, {CONDITION_WORDS[str(condition)]}",
            method=str(method),
            condition=str(condition),
            date=rows["date"].to_numpy(dtype="datetime64[D]"),
            mean=rows[quantity].to_numpy(dtype=float),
            low=(rows[quantity] - rows[f"{quantity}_sd"]).to_numpy(dtype=float),
            high=(rows[quantity] + rows[f"{quantity}_sd"]).to_numpy(dtype=float),
            n=rows[f"{quantity}_n"].to_numpy(dtype=np.int64),
            bound=_one_bound(rows[f"{quantity}_bound"]),
            label=np.full(len(rows), "", dtype="<U1"),
        )
        for (method, condition), rows in groups
    )


def _one_bound(bound: Any) -> np.ndarray:
    """Return bounds that an arrow can show; one either way is told in the text."""
    text = np.asarray(bound, dtype=object)
    return np.where(np.isin(text, ("at least", "at most")), text, "").astype(str)


def _method(method: str) -> str:
    return "Doppler" if method == "doppler" else METHOD_WORDS[method]


def _band(trend: Trend, level: float) -> Band:
    """Return the bands on a grid that holds every session and every change of treatment."""
    series = trend.series
    first, last = series.date[0], series.date[-1]
    span = int((last - first) / _DAY)
    step = max(1, span // _GRID)
    changes = [one.started_on for one in series.courses] + [
        one.stopped_on for one in series.courses
    ]
    inside = [day for day in changes if not np.isnat(day) and first <= day <= last]
    grid = np.arange(first, last + _DAY, step * _DAY)
    dates = np.unique(np.concatenate([grid, series.date, np.array(inside, dtype="datetime64[D]")]))
    usual = trend.at(dates)
    inner, outer = usual.interval(_INNER), usual.interval(level)
    return Band(
        date=dates,
        centre=np.atleast_1d(usual.mean),
        low_inner=np.atleast_1d(inner[0]),
        high_inner=np.atleast_1d(inner[1]),
        low_outer=np.atleast_1d(outer[0]),
        high_outer=np.atleast_1d(outer[1]),
        words=band_words(trend, level),
        inner=_INNER,
        outer=level,
    )


def _levels(trend: Trend, chosen: Guideline | None) -> tuple[tuple[Level, ...], str]:
    """Return the levels to shade and whose they are: categories, or stages of a kidney value."""
    series = trend.series
    if chosen is not None:
        levels = tuple(Level(one.name, one.low, one.high) for one in chosen.categories)
        return levels, _named(chosen)
    staged = staging(series.quantity, series.species, series.unit)
    return stage_levels(staged), "" if staged is None else staged.edition


def _named(chosen: Guideline) -> str:
    source = guideline(chosen.categories_from)
    remembered = any(fact(one.fact_id).remembered for one in source.categories)
    return f"{source.name}; {AS_REMEMBERED}" if remembered else source.name


def _target_line(trend: Trend, chosen: Guideline) -> GuideLine | None:
    value, kind = target_for(trend, chosen)
    if kind == "raised":
        return None
    whose = "set for this animal" if kind == "own" else "of the guideline"
    return GuideLine(value, f"target {number(value, 0)}, {whose}")


def _notes(trend: Trend, withheld: str | None) -> list[str]:
    joined = "Methods or conditions are joined through an estimated difference"
    notes = [joined] if trend.bridged else []
    return [*notes, f"No categories are shown: {withheld}"] if withheld else notes


def _spans(trend: Trend) -> tuple[CourseSpan, ...]:
    return tuple(
        CourseSpan(span.drug, span.dose, span.started_on, span.stopped_on, span.modelled)
        for span in trend.context.treatments.spans
    )


def _signs(trend: Trend) -> tuple[SignMark, ...]:
    rows = trend.records.observations
    rows = rows[(rows["animal"] == trend.series.animal) & (rows["set_aside"] == "")]
    seen = rows["seen_on"].to_numpy(dtype="datetime64[D]")
    words = [
        sign if status == "present" else f"{sign} ({status})"
        for sign, status in zip(rows["sign"], rows["status"], strict=True)
    ]
    order = [int(i) for i in np.argsort(seen, kind="stable") if seen[i] <= trend.as_of]
    return tuple(SignMark(seen[i], words[i]) for i in order)
