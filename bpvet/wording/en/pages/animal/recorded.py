"""What the records hold about one animal: sessions, readings, treatments, signs, labs."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.usual import SessionAnswer, every_session
from bpvet.facts.analytes import short_name
from bpvet.facts.labs import unit_as_given
from bpvet.facts.signs.signs import understood
from bpvet.facts.stages import NEWER, Staging
from bpvet.facts.words import (
    LAB_QUANTITIES,
    METHOD_WORDS,
    QUANTITY_WORDS,
    READING_QUANTITIES,
    Fate,
)
from bpvet.models.trend.trend import Trend
from bpvet.printing import number
from bpvet.visits.readings import TOLD, readings_used
from bpvet.visits.signs.signs import day_of
from bpvet.visits.treatments.spells import treatment_rows
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import capital, counted

_TEXTS = {
    "site": "Site",
    "side": "Side",
    "posture": "Posture",
    "demeanour": "Demeanour",
    "setting": "Setting",
    "state": "State",
    "operator": "Operator",
    "instrument": "Instrument",
    "note": "Note",
}
_SIZES = {
    "cuff_width_cm": "Cuff width, cm",
    "limb_circumference_cm": "Limb, cm",
    "cuff_above_heart_cm": "Cuff above heart, cm",
}


def sessions_table(trend: Trend, answer: TrendAnswer) -> Table:
    """Return every session of the animal, newest first; those outside the trend are set back.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    if answer.quantity in LAB_QUANTITIES:
        return _values_table(answer)
    in_series = set(trend.series.session.tolist())
    numbers, sessions = zip(*every_session(trend, answer.quantity), strict=True)
    inside = [number_ in in_series for number_ in numbers]
    taken = _in_order(trend, answer.quantity)
    rows = [
        _session_row(session, yes, taken.get(number_, ""))
        for session, yes, number_ in zip(sessions, inside, numbers, strict=True)
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
    marked = {index for index, yes in enumerate(inside) if not yes}
    ids = [f"session-{number_}" for number_ in numbers]
    return Table(caption, columns, rows, marked=marked, ids=ids)


def _values_table(answer: TrendAnswer) -> Table:
    """Return the single values of a laboratory series, newest first."""
    rows = [
        (str(value.date), number(value.mean, answer.decimals))
        for value in reversed(answer.sessions)
    ]
    caption = f"Every value, newest first: {QUANTITY_WORDS[answer.quantity]}"
    heads = (Column("Date"), Column(f"Value, {answer.unit}", True))
    return Table(caption, heads, rows, wide=False)


def _in_order(trend: Trend, quantity: str) -> dict[int, str]:
    """Return the readings of each session in the order of taking; brackets around unused ones."""
    frame = readings_used(trend.records, trend.context.rule, animal=trend.series.animal)
    if quantity not in frame:  # the difference of two
        return {}
    frame = frame.loc[frame["session"] > 0, list(TOLD)]
    by_session: dict[int, list[str]] = {}
    for row in frame.sort_values(["session", "order"], kind="stable").to_dict("records"):
        silent = "no sound" if row["fate"] == "no sound" else ""
        shown = _value(row[quantity], str(row[f"{quantity}_bound"])) or silent
        if shown:
            used = row["fate"] in ("used", "no sound")
            by_session.setdefault(int(row["session"]), []).append(shown if used else f"({shown})")
    return {session: ", ".join(shown) for session, shown in by_session.items()}


def _session_row(session: SessionAnswer, inside: bool, taken: str) -> tuple[str, ...]:
    return (
        str(session.date),
        METHOD_WORDS[session.method],
        session.condition,
        session.label,
        "yes" if inside else "no",
        str(session.n_taken),
        str(session.n_used),
        number(session.mean, 0),
        number(session.sd, 1),
        session.bound,
        taken,
        "; ".join(session.flags),
    )


def readings_table(trend: Trend) -> Table:
    """Return every reading of the animal with its fate; below it, which did not count.

    Parameters
    ----------
    trend : Trend
    """
    frame = readings_used(trend.records, trend.context.rule, animal=trend.series.animal)
    placed = frame[frame["session"] > 0].sort_values(["session", "order"], kind="stable")
    frame = pd.concat([placed, frame[frame["session"] == 0]])[[*TOLD, *_SIZES, *_TEXTS]]
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
        *map(Column, _TEXTS.values()),
        Column("Line in the file"),
    )
    return Table("Readings in the order of taking", columns, rows, tuple(_uncounted(frame)))


def every_reading(found: Table) -> str:
    """Return under which words the table of readings is folded away."""
    return f"Every reading and what became of it ({len(found.rows)})"


def _uncounted(frame: pd.DataFrame) -> Iterator[str]:
    """Yield the readings that did not count, those of one reason together, for paper.

    The whole table is too wide for paper; what counted stands there with its session.
    """
    alike: dict[tuple[str, str], list[str]] = {}
    for row in frame[frame["fate"] != "used"].to_dict("records"):
        reading = f"{_when(row)} {_value(row['systolic'], str(row['systolic_bound']))}".strip()
        if row["fate"] == "set aside":
            reading = f"{row['file']} {row['line']}"
        alike.setdefault((str(row["fate"]), str(row["reason"])), []).append(reading)
    for (status, reason), readings in alike.items():
        yield f"{capital(status)}{f' ({reason})' if reason else ''}: {', '.join(readings)}."


def _reading_cells(row: dict[Hashable, Any]) -> Iterator[str]:
    yield _when(row)
    for name in ("session", "order"):
        yield str(row[name]) if row[name] else NONE
    yield METHOD_WORDS.get(str(row["method"]), str(row["method"]))
    yield str(row["fate"])
    yield str(row["reason"])
    aside = row["fate"] == Fate.SET_ASIDE
    for name in READING_QUANTITIES:
        yield _value(row[name], "" if aside else str(row[f"{name}_bound"]))
    yield _value(row["counted_pulse"])
    for name in _SIZES:
        yield _value(row[name])
    for name in _TEXTS:
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
    return " ".join(word for word in (bound, shown) if word)


def treatments_table(trend: Trend) -> Table | str:
    """Return the animal's treatments as the clinic wrote them.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, "treatments", "started_on")
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
    dose = " ".join(word for word in (str(row["dose"]), str(row["dose_unit"])) if word)
    return "; ".join(word for word in (dose, str(row["product"])) if word)


def signs_table(trend: Trend) -> Table | str:
    """Return the animal's recorded signs and how each was understood, newest first.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, "observations", "seen_on").iloc[::-1]
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


def labs_table(frame: pd.DataFrame, stagings: Sequence[Staging]) -> Table | None:
    """Return the animal's laboratory values in the units given, one row a date, and the stages.

    Parameters
    ----------
    frame : DataFrame
        Its usable rows of the table of laboratory values, by date.
    stagings : sequence of Staging
        The stages that are sourced for what was measured.
    """
    if not len(frame):
        return None
    units = [unit_as_given(a, u) for a, u in zip(frame["analyte"], frame["unit"], strict=True)]
    frame = frame.assign(unit=np.array(units, dtype=object))
    kinds = dict.fromkeys(zip(frame["analyte"], frame["unit"], strict=True))
    named = [(analyte_words(analyte), unit) for analyte, unit in kinds]
    heads = [f"{analyte}, {unit}".rstrip(", ") for analyte, unit in named]
    rows = []
    for date, day in reversed(list(frame.groupby("sampled_on"))):
        by_kind: dict[tuple[str, str], list[str]] = {}
        names = ("analyte", "unit", "value", "value_bound")
        for analyte, unit, value, bound in zip(*(day[name] for name in names), strict=True):
            by_kind.setdefault((analyte, unit), []).append(_value(value, str(bound)))
        rows.append((_date(date), *(", ".join(by_kind.get(kind, ())) for kind in kinds)))
    columns = (Column("Sampled on"), *(Column(head, True) for head in heads))
    caption = "Laboratory values as recorded, newest first"
    return Table(caption, columns, rows, tuple(_stage_notes(stagings)))


def _stage_notes(found: Sequence[Staging]) -> Iterator[str]:
    """Yield the stages, one sentence an edition."""
    for edition in dict.fromkeys(staging.edition for staging in found):
        stages = "; ".join(
            f"{short_name(staging.analyte)}, {staging.unit}: {staging.words()}"
            for staging in found
            if staging.edition == edition
        )
        yield (
            f"Stages of the {edition} ({found[0].species}): {stages}. One value does not establish "
            f"a stage. {NEWER} Values are in the units given; none was converted."
        )


def analyte_words(analyte: str) -> str:
    """Return the name of what was measured, as it is written in a table."""
    return capital(short_name(analyte))


def findings_table(answer: TrendAnswer) -> Table | str:
    """Return what the record check says about this animal's records.

    Parameters
    ----------
    answer : TrendAnswer
    """
    found = answer.findings
    if not found:
        return "The record check found nothing about this animal's records."
    rows = [
        (
            finding.file if finding.line is None else f"{finding.file}, line {finding.line}",
            finding.column,
            finding.value,
            finding.reason,
            finding.mend,
        )
        for finding in found
    ]
    columns = tuple(Column(head) for head in ("Where", "Column", "Value", "What was found", "Mend"))
    caption = f"{capital(counted(len(found), 'finding'))} about this animal's records"
    return Table(caption, columns, rows)


def own_rows(trend: Trend, table: str, by: str) -> pd.DataFrame:
    """Return the animal's rows of a table that a report may speak of, in order of date.

    Parameters
    ----------
    trend : Trend
    table : str
        One of the records.
    by : str
        Its column of dates.
    """
    rows = trend.records.rows_of(table, trend.series.animal)
    rows = rows[~rows["future"].astype(bool)]
    return rows.sort_values(by, kind="stable")


def _date(value: Any) -> str:
    return "" if pd.isna(value) else str(np.datetime64(value, "D"))


def _stop(value: Any, as_of: np.datetime64) -> str:
    """Return the last day of a treatment; a later one than `as_of` is not known then."""
    ends = _date(value)
    return ends if ends and np.datetime64(ends) <= as_of else "no stop recorded"


def _listing(
    caption: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], none: str
) -> Table | str:
    """Return rows of text as a table, or the sentence that there are none."""
    return Table(caption, tuple(map(Column, heads)), rows) if rows else none
