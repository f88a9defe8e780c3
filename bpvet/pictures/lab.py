"""A laboratory value alone as a picture: in the laboratory's own unit, its stages where they hold.

A trend is modelled in one unit and shown in that of the newest value. Stages are named as stages
only where kidney disease is recorded, else as what they would be. Potassium and total T4 have no
trend: they are drawn as recorded.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np

from bpvet.errors import NothingLeft
from bpvet.facts.analytes import analyte as analyte_of
from bpvet.facts.analytes import decimals
from bpvet.facts.cautions import licensed
from bpvet.facts.labs import DRAWN, factor
from bpvet.facts.signs.signs import status_shown
from bpvet.facts.sources import credit, fact
from bpvet.facts.stages import NEWER, Staging, staging
from bpvet.figures.pictures import (
    Band,
    CourseSpan,
    Level,
    Panel,
    SessionMarks,
    SignMark,
    TrendPicture,
)
from bpvet.models.kidney.rate import rate_of
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_panels import lab_panels, stage_levels
from bpvet.printing import number, probability, prose_date
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.labs.history import LabValue, lab_history
from bpvet.visits.signs.signs import day_of
from bpvet.visits.treatments.courses import courses

#: Months from which a doubling is not told as a time.
_NEVER = 600
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
    first, *below = picture.panels
    panel = replace(
        _scaled(first, scale),
        unit="" if unit == "ratio" else unit,
        levels=tuple(_levels(bounds, kidney)),
        guideline="" if bounds is None else _whose(bounds, kidney),
    )
    newest = _newest(trend, known, scale, level)
    said = [
        f"{panel.heading}: {_count(series.y.size)}, {prose_date(series.date[0])} to "
        f"{prose_date(series.date[-1])}{_in(unit)}; as of {prose_date(trend.as_of)}.",
        *_mixed(known, unit),
        panel.band.words if panel.band is not None else "",
        *_stages(bounds, kidney),
        *_rate(trend, level),
        *_hollow(panel.others),
        *_beside(picture.courses, picture.signs),
        panel.note,
        f"Priors: {trend.priors.source}.",
        licensed(),
    ]
    shown = np.concatenate([panel.sessions.mean, *(one.mean for one in panel.others)])
    low, high = (number(float(end), _digits(series.quantity, unit)) for end in _ends(shown))
    alt = [
        f"Line chart over time. {panel.heading}: {_count(shown.size)} between {low} and {high}"
        f"{_unit(unit)}, {prose_date(known[0].date)} to {prose_date(known[-1].date)}.",
        newest,
        *_rate(trend, level),
        *_beside(picture.courses, picture.signs),
    ]
    return replace(
        picture,
        panels=(panel, *below),
        caption=_joined(said),
        alt_text=_joined(alt),
        newest=newest,
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
    panels = [_judged(one) for one in lab_panels(records, animal).panels if one.quantity == analyte]
    if not panels:
        raise NothingLeft(f"{animal} has no value of {DRAWN[analyte]} that can be drawn.")
    name = animal_rows(records)[animal].name
    spans = tuple(
        CourseSpan(one.drug, one.dose, one.started_on, one.stopped_on, one.modelled)
        for one in courses(records, animal).spans
    )
    signs = tuple(_signs(records, animal))
    said = [
        *(_as_recorded(panel) for panel in panels),
        f"As of {prose_date(records.as_of)}; every mark stands on its own date, and nothing was "
        "converted.",
        *(_potassium_bounds() if analyte == "potassium" else ()),
        *_beside(spans, signs),
    ]
    who = f"{name} ({animal})" if name else animal
    return TrendPicture(
        title=f"{who}: {DRAWN[analyte]}",
        as_of=records.as_of,
        panels=tuple(panels),
        courses=spans,
        signs=signs,
        caption=_joined([*said, licensed()]),
        alt_text=_joined(["Chart over time.", *said]),
        newest=_newest_recorded(panels[-1], records.as_of),
    )


def _scaled(panel: Panel, scale: float) -> Panel:
    return replace(
        panel,
        sessions=_marks(panel.sessions, scale),
        others=tuple(_marks(one, scale) for one in panel.others),
        band=None if panel.band is None else _divided(panel.band, scale),
    )


def _divided(marks: _Marks, scale: float) -> _Marks:
    held = {
        part.name: getattr(marks, part.name) / scale
        for part in fields(marks)
        if getattr(getattr(marks, part.name), "dtype", np.dtype("U1")).kind == "f"
    }
    return replace(marks, **held)


def _marks(marks: SessionMarks, scale: float) -> SessionMarks:
    """Return marks in the laboratory's unit, and so what is written beside them."""
    if scale == 1.0:
        return marks
    texts = np.array([_relabelled(str(one), scale) for one in marks.label], dtype=np.str_)
    return replace(_divided(marks, scale), label=texts)


def _relabelled(label: str, scale: float) -> str:
    value, comma, rest = label.partition(", ")
    try:
        return f"{float(value) / scale:.3g}{comma}{rest}"
    except ValueError:
        return label


def _levels(bounds: Staging | None, kidney: Kidney) -> Iterator[Level]:
    for one in stage_levels(bounds):
        yield one if kidney.diagnosed else replace(one, name=f"would be {one.name}")


def _whose(bounds: Staging, kidney: Kidney) -> str:
    return (
        bounds.edition if kidney.diagnosed else f"{bounds.edition}, if kidney disease is diagnosed"
    )


def _stages(bounds: Staging | None, kidney: Kidney) -> Iterator[str]:
    if bounds is None:
        return
    kind = analyte_of(bounds.analyte).staged_as
    if kidney.diagnosis is not None:
        why = (
            f"drawn as stages because kidney disease is recorded (“{kidney.diagnosis.text}”, "
            f"{prose_date(kidney.diagnosis.on)})"
        )
    else:
        why = "if kidney disease is diagnosed"
    yield (
        f"Dotted lines: bounds of the {kind}s of the {bounds.edition} ({bounds.species}), {why}: "
        f"{bounds.words()}. {NEWER} One value does not make a {kind}."
    )


def _rate(trend: Trend, level: float) -> Iterator[str]:
    """Say how fast it changes, and in which time it doubles where it rises."""
    rate = rate_of(trend, level)
    if rate is None:
        return
    apart = "Apart from the drugs it" if trend.series.courses else "It"
    yield (
        f"{apart} changes by {number(rate.percent, 1)} % a month ({100 * level:.0f} % interval "
        f"{number(rate.lower, 1)} to {number(rate.upper, 1)}; a rise is "
        f"{probability(rate.p_rising)} likely)."
    )
    middle, soonest, latest = rate.doubling
    if analyte_of(trend.series.quantity).worse == "fall" or soonest >= _NEVER:
        return
    ends = f"{number(soonest, 0)} months at the fastest, {_slowest(latest)}"
    if rate.p_rising >= float(fact("project.verdict.sure").value or 1):
        yield f"At that rate it doubles in {number(middle, 0)} months ({ends})."
    else:
        yield f"Whether and when it doubles cannot be told yet: in {ends}."


def _slowest(months: float) -> str:
    return "perhaps never" if months >= _NEVER else f"{number(months, 0)} at the slowest"


def _mixed(known: Sequence[LabValue], unit: str) -> Iterator[str]:
    other = sum(1 for one in known if one.unit != unit and one.modelled is not None)
    if other:
        units = list(dict.fromkeys(one.unit for one in known if one.unit != unit))
        yield (
            f"Of the values {other} in {' and '.join(units)} {'is' if other == 1 else 'are'} drawn "
            f"in {unit}, joined by the standard factor."
        )


def _hollow(others: Sequence[SessionMarks]) -> Iterator[str]:
    names = "; ".join(one.name for one in others)
    if names:
        yield f"Hollow marks with arrows, not part of the trend: {names}."


def _beside(spans: Sequence[CourseSpan], signs: Sequence[SignMark]) -> Iterator[str]:
    if spans:
        given = "; ".join(_treatment(one) for one in spans)
        yield f"Treatment as written: {given}."
    if signs:
        seen = "; ".join(f"{one.label} on {prose_date(one.date)}" for one in signs)
        yield f"Signs: {seen}."


def _treatment(one: CourseSpan) -> str:
    end = "ongoing" if np.isnat(one.stopped_on) else f"to {prose_date(one.stopped_on)}"
    return f"{one.label} from {prose_date(one.started_on)}, {end}"


def _newest(trend: Trend, known: Sequence[LabValue], scale: float, level: float) -> str:
    """Return the newest value, a bound too, its age, and where the usual value lies."""
    series, one = trend.series, known[-1]
    digits = _digits(series.quantity, one.unit)
    sign = {"at least": "> ", "at most": "< "}.get(one.bound, "")
    given = (
        f"Newest: {sign}{one.value:g}{_unit(one.unit)} on {prose_date(one.date)} "
        f"({_age(trend.as_of, one.date)}), {_doses(trend, one.date)}."
    )
    low, high = (number(float(end) / scale, digits) for end in trend.latest.interval(level))
    middle = number(float(trend.latest.mean) / scale, digits)
    then = "then" if series.date[-1] == one.date else f"on {prose_date(series.date[-1])}"
    said = f"{given} Usual value {then} {middle} ({low} to {high} with {100 * level:.0f} %)"
    if series.date[0] == series.date[-1]:
        return f"{said}."
    before = number(float(trend.at(series.date[0]).mean) / scale, digits)
    return f"{said}; at the first value, {prose_date(series.date[0])}, {before}."


def _doses(trend: Trend, day: np.datetime64) -> str:
    """Return the pressure drugs of a day with their doses as written."""
    spans = [one for one in trend.context.treatments.spans if one.modelled and one.on(day)]
    named = [f"{one.drug} {one.dose}".strip() for one in spans]
    return f"on {', '.join(named)}" if named else "no blood-pressure drug on record that day"


def _age(as_of: np.datetime64, date: np.datetime64) -> str:
    days = int((as_of - date) / np.timedelta64(1, "D"))
    return {0: "today", 1: "yesterday"}.get(days, f"{number(days, 0)} days ago")


def _digits(quantity: str, unit: str) -> int:
    return decimals(quantity, unit)


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
    levels = (
        Level("low", -np.inf, low),
        Level("", low, repeat),
        Level("repeat", repeat, high),
        Level("high", high, np.inf),
    )
    return replace(panel, levels=levels, guideline=credit(fact("kidney.potassium.high")))


def _potassium_bounds() -> Iterator[str]:
    low, repeat, high = (fact(f"kidney.potassium.{name}") for name in ("low", "repeat", "high"))
    yield (
        f"Bounds, dotted where they come into view: below {low.value:g} and above {high.value:g} "
        f"mmol/L a vet looks at once, from {repeat.value:g} on it is repeated ({credit(high)}). "
        "Haemolysis and some breeds raise it falsely."
    )


def _as_recorded(panel: Panel) -> str:
    values, dates = panel.sessions.mean, panel.sessions.date
    unit = _unit(panel.unit)
    listed = [
        f"{({'at least': '> ', 'at most': '< '}).get(str(bound), '')}{value:g}{unit} on "
        f"{prose_date(date)}"
        for value, bound, date in zip(values, panel.sessions.bound, dates, strict=True)
    ]
    if len(listed) == 1:
        return f"{panel.heading}, one value as recorded, not modelled: {listed[0]}."
    low, high = _ends(values)
    return (
        f"{panel.heading}, {len(listed)} values as recorded, not modelled, between {low:g} and "
        f"{high:g}{unit}: the first {listed[0]}, the newest {listed[-1]}."
    )


def _newest_recorded(panel: Panel, as_of: np.datetime64) -> str:
    date, bound = panel.sessions.date[-1], str(panel.sessions.bound[-1])
    sign = {"at least": "> ", "at most": "< "}.get(bound, "")
    value = f"{sign}{panel.sessions.mean[-1]:g}{_unit(panel.unit)}"
    return f"Newest: {value} on {prose_date(date)} ({_age(as_of, date)})."


def _signs(records: Records, animal: str) -> Iterator[SignMark]:
    rows = records.observations
    rows = rows[(rows["animal"] == animal) & (rows["set_aside"] == "")]
    rows = rows.sort_values("seen_on", kind="stable")
    for sign, status, seen in zip(rows["sign"], rows["status"], rows["seen_on"], strict=True):
        day = np.datetime64(seen, "D")
        if day <= records.as_of:
            shown = status_shown(sign, status, day_of(day))
            words = sign if shown in ("", "present") else f"{sign} ({shown})"
            yield SignMark(day, words)


def _ends(values: np.ndarray) -> tuple[float, float]:
    return float(np.min(values)), float(np.max(values))


def _count(count: int) -> str:
    return "one value" if count == 1 else f"{count} values"


def _unit(unit: str) -> str:
    return "" if unit in ("", "ratio") else f" {unit}"


def _in(unit: str) -> str:
    return "" if unit == "ratio" else f", in {unit}"


def _joined(parts: Sequence[str]) -> str:
    return " ".join(filter(None, parts))
