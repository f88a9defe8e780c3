"""The rows of the records that no sentence of an answer speaks of, each with the reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.recorded import NotUsed
from bpvet.models.safety.safety import Safety
from bpvet.records.records import Records
from bpvet.visits.labs.history import LabValue
from bpvet.visits.labs.kidney_reaction import KidneyReaction
from bpvet.visits.seen import Kidneys
from bpvet.visits.treatments.courses import Treatments
from bpvet.visits.uncounted.later import DATED, NAMED
from bpvet.wording.en.kidney.events import lab_value


def not_used(
    records: Records,
    animal: str,
    found: Safety,
    treatments: Treatments,
    statements: Sequence[Statement],
) -> tuple[NotUsed, ...]:
    """Return the rows of signs, laboratory values and treatments that no sentence speaks of.

    Parameters
    ----------
    records, animal, treatments
        As `bpvet.models.safety.safety` takes them.
    found : Safety
    statements : sequence of Statement
        All that is told.
    """
    keys = {statement.key for statement in statements}
    rows = [
        *_signs_unused(found, statements),
        *_labs_unused(found.found.kidneys, keys),
        *_drugs_unused(found, treatments, statements),
        *_aside(records, animal),
    ]
    return tuple(sorted(rows, key=lambda row: (row.table, str(row.date), row.text)))


_WHY = {
    "denied": "it says that it is absent",
    "past": "it speaks of the past, or was answered since",
    "other": "it is no sign that these answers use",
}


def _signs_unused(found: Safety, statements: Sequence[Statement]) -> Iterator[NotUsed]:
    # An urgent line names every sign that it rests on.
    reported = {(sign.text, str(sign.seen_on)) for line in found.lines for sign in line.signs}
    reported |= {row for statement in statements for row in statement.tells}
    for sign in found.found.rows:
        if (sign.text, str(sign.seen_on)) in reported:
            continue
        reason = _WHY.get(sign.reading, "a newer row of the same sign is told")
        if sign.table != "observations":
            if sign.reading not in ("present", "unclear"):
                continue
            reason = "it stands in a note"
        yield NotUsed(sign.table, sign.seen_on, sign.text, reason)


def _labs_unused(kidneys: Kidneys, keys: set[str]) -> Iterator[NotUsed]:
    used = {id(value) for value in _told_values(kidneys, keys)}
    for analyte, values in kidneys.history.analytes.items():
        for value in values:
            if id(value) in used:
                continue
            reason = "it is shown under the figure and in its own trend"
            if value.modelled is None:
                reason = "its analyte or unit is not judged here"
            yield NotUsed("labs", value.date, f"{analyte} {lab_value(value)}", reason)


def _told_values(kidneys: Kidneys, keys: set[str]) -> Iterator[LabValue]:
    """Yield the values that urgent lines and `kidney_statements` name, by themselves."""
    if kidneys.acute is not None:
        yield from (kidneys.acute.first, kidneys.acute.second)
    if kidneys.potassium is not None:
        yield kidneys.potassium.value
    for reaction in kidneys.reactions:
        if reaction.is_reaction:
            yield from (reaction.before, reaction.after)
    if kidneys.weight is not None:
        yield from (kidneys.weight.highest, kidneys.weight.newest)
    if "kidney.protein" in keys:
        yield from kidneys.protein or ()
    if (
        "kidney.range" in keys
        and kidneys.stage.stage is not None
        and kidneys.stage.value is not None
    ):
        yield kidneys.stage.value
        if kidneys.stage.leaps and kidneys.stage.before is not None:
            yield kidneys.stage.before


def _drugs_unused(
    found: Safety, treatments: Treatments, statements: Sequence[Statement]
) -> Iterator[NotUsed]:
    reported = {what.casefold() for line in statements for what, _ in line.tells}
    # An urgent line on the kidneys names the drug that it lays the rise beside.
    events = (line.event for line in found.lines)
    reported |= {event.drug.casefold() for event in events if isinstance(event, KidneyReaction)}
    for course in treatments.courses:
        # Drugs that cannot be told apart are told of under one name.
        if course.drug.casefold() in reported:
            reported |= {drug.casefold() for drug in course.together_with}
    for span in treatments.spans:
        if span.drug.casefold() not in reported:
            text = f"{span.drug} {span.dose}".strip()
            why = "it is not known to move pressure"
            if span.modelled:
                why = "no series of pressures is told here that it could be judged by"
            yield NotUsed("treatments", span.started_on, text, why)


def _aside(records: Records, animal: str) -> Iterator[NotUsed]:
    for table, what in NAMED.items():
        rows = records.columns(table, animal)
        rows = rows.take(~rows.is_text("set_aside", "") | rows["future"])
        for day, text, why in zip(
            rows.days(DATED[table]), rows[what], rows["set_aside"], strict=True
        ):
            reason = why or f"it is dated after {records.as_of}"
            yield NotUsed(table, day, str(text), f"set aside: {reason}")
    for cancelled in records.cancelled_rows:
        if cancelled.animal == animal:
            yield NotUsed(cancelled.table, _day(cancelled.date), cancelled.text, cancelled.why)


def _day(written: str) -> np.datetime64:
    """Return the date of a cell that may hold anything; NaT where it does not begin with one."""
    try:
        return np.datetime64(date.fromisoformat(written[:10]), "D")
    except ValueError:
        return np.datetime64("NaT", "D")
