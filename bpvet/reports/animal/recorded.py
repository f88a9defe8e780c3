"""What the records hold about one animal: sessions, readings, treatments, signs, labs."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.usual import SessionAnswer, session_answer
from bpvet.facts.analytes import short_name
from bpvet.facts.labs import unit_as_given
from bpvet.facts.signs.signs import understood
from bpvet.facts.stages import NEWER
from bpvet.facts.words import (
    LAB_QUANTITIES,
    METHOD_WORDS,
    QUANTITY_WORDS,
    READING_QUANTITIES,
)
from bpvet.models.trend.trend import Trend
from bpvet.pictures.lab_values import lab_values, usable_labs
from bpvet.printing import number
from bpvet.reports.markup import NONE, Column, Shown, folded, lines, paragraph, prose, table, tag
from bpvet.visits.readings import readings_used
from bpvet.visits.signs.signs import day_of
from bpvet.visits.treatments.spells import treatment_rows
from bpvet.wording.en.phrases import capital, counted

_BESIDE = (
    *("site", "side", "posture", "demeanour", "setting", "state", "operator", "instrument", "note"),
)
_SIZES = {
    "cuff_width_cm": "Cuff width, cm",
    "limb_circumference_cm": "Limb, cm",
    "cuff_above_heart_cm": "Cuff above heart, cm",
}


def sessions_table(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return every session of the animal, newest first; those outside the trend are set back.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    if answer.quantity in LAB_QUANTITIES:
        return _values_table(answer)
    own = set(trend.series.session.tolist())
    frame = trend.context.sessions.iloc[::-1]
    held = [session_answer(row, answer.quantity) for _, row in frame.iterrows()]
    inside = [number_ in own for number_ in frame["session"]]
    taken = _in_order(trend, answer.quantity)
    rows = [
        _session_row(one, yes, taken.get(int(number_), ""))
        for one, yes, number_ in zip(held, inside, frame["session"], strict=True)
    ]
    columns = (
        Column("Date"),
        Column("Method"),
        Column("Condition"),
        Column("Session"),
        Column("In the trend"),
        Column("Taken", True),
        Column("Used", True),
        Column(f"Mean, {answer.unit}", True),
        Column("SD", True),
        Column("Bound"),
        Column("Readings in order"),
        Column("Remarks"),
    )
    caption = (
        f"Every session, newest first: {QUANTITY_WORDS[answer.quantity]}; readings in brackets "
        "did not count"
    )
    marked = {place for place, yes in enumerate(inside) if not yes}
    ids = [f"session-{number_}" for number_ in frame["session"]]
    html = table(caption, columns, rows, wide=True, marked=marked, ids=ids)
    return Shown(html, lines(caption, *("  ".join(filter(None, row)) for row in rows)))


def _values_table(answer: TrendAnswer) -> Shown:
    """Return the single values of a laboratory series, newest first."""
    rows = [(str(one.date), number(one.mean, answer.decimals)) for one in reversed(answer.sessions)]
    caption = f"Every value, newest first: {QUANTITY_WORDS[answer.quantity]}"
    html = table(caption, (Column("Date"), Column(f"Value, {answer.unit}", True)), rows)
    return Shown(html, lines(caption, *("  ".join(row) for row in rows)))


def _in_order(trend: Trend, quantity: str) -> dict[int, str]:
    """Return the readings of each session in the order of taking; brackets around unused ones."""
    frame = readings_used(trend.records, trend.context.rule)
    frame = frame[(frame["animal"] == trend.series.animal) & (frame["session"] > 0)]
    if quantity not in frame:  # the difference of two
        return {}
    said: dict[int, list[str]] = {}
    for row in frame.sort_values(["session", "order"], kind="stable").to_dict("records"):
        silent = "no sound" if row["fate"] == "no sound" else ""
        shown = _value(row[quantity], str(row[f"{quantity}_bound"])) or silent
        if shown:
            used = row["fate"] in ("used", "no sound")
            said.setdefault(int(row["session"]), []).append(shown if used else f"({shown})")
    return {session: ", ".join(shown) for session, shown in said.items()}


def _session_row(one: SessionAnswer, inside: bool, taken: str) -> tuple[str, ...]:
    return (
        str(one.date),
        METHOD_WORDS[one.method],
        one.condition,
        one.label,
        "yes" if inside else "no",
        str(one.n_taken),
        str(one.n_used),
        number(one.mean, 0),
        number(one.sd, 1),
        one.bound,
        taken,
        "; ".join(one.flags),
    )


def readings_table(trend: Trend) -> Shown:
    """Return every reading of the animal with its fate, folded away; on paper, what did not count.

    Parameters
    ----------
    trend : Trend
    """
    frame = readings_used(trend.records, trend.context.rule)
    frame = frame[frame["animal"] == trend.series.animal]
    placed = frame[frame["session"] > 0].sort_values(["session", "order"], kind="stable")
    frame = pd.concat([placed, frame[frame["session"] == 0]])
    rows = [tuple(_reading_cells(row)) for row in frame.to_dict("records")]
    columns = (
        Column("Taken"),
        Column("Session", True),
        Column("Order", True),
        Column("Method"),
        Column("Fate"),
        Column("Why"),
        *(Column(capital(name).replace("_", " "), True) for name in READING_QUANTITIES),
        Column("Counted pulse", True),
        *(Column(head, True) for head in _SIZES.values()),
        *(Column(capital(name)) for name in _BESIDE),
        Column("Line in the file"),
    )
    caption = f"Every reading and what became of it ({len(rows)})"
    listed = table("Readings in the order of taking", columns, rows, wide=True)
    apart = list(_uncounted(frame))
    items = "".join(tag("li", prose(text)) for text in apart)
    html = folded(caption, listed) + tag("ul", items, class_="printed", hidden="hidden")
    return Shown(html, lines(caption, *apart))


def _uncounted(frame: pd.DataFrame) -> Iterator[str]:
    """Yield the readings that did not count, those of one reason together, for paper.

    The whole table is too wide for paper; what counted stands there with its session.
    """
    alike: dict[tuple[str, str], list[str]] = {}
    for row in frame[frame["fate"] != "used"].to_dict("records"):
        said = f"{_when(row)} {_value(row['systolic'], str(row['systolic_bound']))}".strip()
        if row["fate"] == "set aside":
            said = f"{row['file']} {row['line']}"
        alike.setdefault((str(row["fate"]), str(row["reason"])), []).append(said)
    for (fate, reason), held in alike.items():
        yield f"{capital(fate)}{f' ({reason})' if reason else ''}: {', '.join(held)}."


def _reading_cells(row: dict[Hashable, Any]) -> Iterator[str]:
    yield _when(row)
    for name in ("session", "order"):
        yield str(row[name]) if row[name] else NONE
    yield METHOD_WORDS.get(str(row["method"]), str(row["method"]))
    yield str(row["fate"])
    yield str(row["reason"])
    for name in READING_QUANTITIES:
        yield _value(row[name], str(row[f"{name}_bound"]))
    yield _value(row["counted_pulse"])
    for name in _SIZES:
        yield _value(row[name])
    for name in _BESIDE:
        yield str(row[name])
    yield f"{row['file']} {row['line']}"


def _when(row: dict[Hashable, Any]) -> str:
    """Return date and, where one was given, time of a reading."""
    if pd.isna(row["date"]):
        return NONE
    taken = pd.Timestamp(row["taken_at"] if row["timed"] else row["date"])
    return taken.strftime("%Y-%m-%d %H:%M" if row["timed"] else "%Y-%m-%d")


def _value(value: Any, bound: str = "") -> str:
    """Return a number as written, with what it is a bound of; blank where there is none."""
    shown = "" if pd.isna(value) else f"{value:.10g}"
    return " ".join(part for part in (bound, shown) if part)


def treatments(trend: Trend) -> Shown:
    """Return the animal's treatments as the clinic wrote them.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.treatments, "started_on")
    given = treatment_rows(frame, trend.as_of)
    modelled = {(row.file, row.line) for row in given if row.modelled}
    rows = [
        (
            str(row["drug"]),
            _date(row["started_on"]),
            _stop(row["stopped_on"], trend.as_of),
            dose_written(row),
            str(row["purpose"]),
            "yes" if (row["file"], row["line"]) in modelled else "no",
            str(row["note"]),
            str(row["set_aside"]),
        )
        for row in frame.to_dict("records")
    ]
    heads = (
        *("Drug", "From", "To", "Dose as written", "Purpose", "In the trend"),
        *("Note", "Set aside"),
    )
    return _listing("Treatments as written", heads, rows, "No treatment is recorded.")


def dose_written(row: Mapping[Hashable, Any]) -> str:
    """Return dose, unit and product of a row of treatment as they are written."""
    dose = " ".join(part for part in (str(row["dose"]), str(row["dose_unit"])) if part)
    return "; ".join(part for part in (dose, str(row["product"])) if part)


def signs(trend: Trend) -> Shown:
    """Return the animal's recorded signs and how each was understood, newest first.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.observations, "seen_on").iloc[::-1]
    rows = [
        (
            _date(row["seen_on"]),
            str(row["sign"]),
            str(row["status"]),
            understood(str(row["sign"]), str(row["status"]), day_of(row["seen_on"])),
            str(row["note"]),
            str(row["set_aside"]),
        )
        for row in frame.to_dict("records")
    ]
    heads = ("Seen on", "Sign", "Status", "Understood as", "Note", "Set aside")
    return _listing("Signs, newest first", heads, rows, "No sign is recorded.")


def labs(trend: Trend) -> Shown:
    """Return the animal's laboratory values in the units given, one row a date, and the stages.

    Parameters
    ----------
    trend : Trend
    """
    frame = usable_labs(trend.records, trend.series.animal)
    if not len(frame):
        return Shown("", "")
    units = [unit_as_given(a, u) for a, u in zip(frame["analyte"], frame["unit"], strict=True)]
    frame = frame.assign(unit=np.array(units, dtype=object))
    kinds = dict.fromkeys(zip(frame["analyte"], frame["unit"], strict=True))
    named = [(analyte_words(analyte), unit) for analyte, unit in kinds]
    heads = [f"{analyte}, {unit}".rstrip(", ") for analyte, unit in named]
    rows = []
    for date, day in reversed(list(frame.groupby("sampled_on"))):
        held: dict[tuple[str, str], list[str]] = {}
        names = ("analyte", "unit", "value", "value_bound")
        for analyte, unit, value, bound in zip(*(day[name] for name in names), strict=True):
            held.setdefault((analyte, unit), []).append(_value(value, str(bound)))
        rows.append((_date(date), *(", ".join(held.get(kind, ())) for kind in kinds)))
    columns = (Column("Sampled on"), *(Column(head, True) for head in heads))
    caption = "Laboratory values as recorded, newest first"
    html = table(caption, columns, rows, wide=True)
    notes = list(_stage_notes(trend))
    shown = lines(caption, *("  ".join(filter(None, row)) for row in rows), *notes)
    return Shown(html + "".join(map(paragraph, notes)), shown)


def _stage_notes(trend: Trend) -> Iterator[str]:
    """Yield the stages that are sourced for what was measured, one sentence an edition."""
    values = lab_values(trend.records, trend.series.animal)
    found = [one.staging for one in values if one.staging is not None]
    for edition in dict.fromkeys(one.edition for one in found):
        said = "; ".join(
            f"{short_name(one.analyte)}, {one.unit}: {one.words()}"
            for one in found
            if one.edition == edition
        )
        yield (
            f"Stages of the {edition} ({found[0].species}): {said}. One value does not establish a "
            f"stage. {NEWER} Values are in the units given; none was converted."
        )


def analyte_words(analyte: str) -> str:
    """Return the name of what was measured, as it is written in a table."""
    return capital(short_name(analyte))


def findings(answer: TrendAnswer) -> Shown:
    """Return what the record check says about this animal's records.

    Parameters
    ----------
    answer : TrendAnswer
    """
    found = answer.findings
    if not found:
        said = "The record check found nothing about this animal's records."
        return Shown(paragraph(said), said)
    rows = [
        (
            one.file if one.line is None else f"{one.file}, line {one.line}",
            one.column,
            one.value,
            one.reason,
            one.mend,
        )
        for one in found
    ]
    columns = tuple(Column(head) for head in ("Where", "Column", "Value", "What was found", "Mend"))
    caption = f"{capital(counted(len(found), 'finding'))} about this animal's records"
    return Shown(table(caption, columns, rows, wide=True), lines(caption, *map(str, found)))


def own_rows(trend: Trend, frame: pd.DataFrame, by: str) -> pd.DataFrame:
    """Return the animal's rows of a table that a report may speak of, in order of date.

    Parameters
    ----------
    trend : Trend
    frame : DataFrame
        One of the tables of the records.
    by : str
        Its column of dates.
    """
    own = frame[(frame["animal"] == trend.series.animal) & ~frame["future"].astype(bool)]
    return own.sort_values(by, kind="stable")


def _date(value: Any) -> str:
    return "" if pd.isna(value) else str(np.datetime64(value, "D"))


def _stop(value: Any, as_of: np.datetime64) -> str:
    """Return the last day of a treatment; a later one than `as_of` is not known then."""
    ends = _date(value)
    return ends if ends and np.datetime64(ends) <= as_of else "no stop recorded"


def _listing(
    caption: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], none: str
) -> Shown:
    """Return rows of text as a table, or the sentence that there are none."""
    if not rows:
        return Shown(paragraph(none), none)
    html = table(caption, tuple(map(Column, heads)), rows, wide=True)
    return Shown(html, lines(caption, *("  ".join(filter(None, row)) for row in rows)))
