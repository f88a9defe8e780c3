"""Around a clinic's cohort: who was counted and who not, and the animals at entry.

The flow adds up: what goes in is what is counted and what each step takes away, in animals, in
sessions and in rows of readings.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITY_WORDS, UNITS
from bpvet.frozen import dataclass
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.reasons import reason

#: Reasons for which rows of readings do not count, by their fate, in order.
FATE_WORDS = {
    "set aside": reason("cohort.set_aside"),
    "excluded": reason("cohort.excluded"),
    "no sound": reason("cohort.no_sound"),
    "left out": reason("cohort.left_out"),
}
NO_SESSION = reason("cohort.no_session")


@dataclass(frozen=True)
class Step:
    """What one reason takes away: animals left without a session, sessions, rows of readings."""

    reason: str
    animals: int
    sessions: int
    readings: int


@dataclass(frozen=True)
class Flow:
    """From the records to the fit.

    Parameters
    ----------
    animals_in, sessions_in, readings_in : int
        In the records; readings are rows, so that a mean of several readings is one.
    steps : tuple of Step
        What was not counted, in the order in which it was taken away.
    animals, sessions, readings : int
        Counted by the fit.
    numbers : int
        Numbers that the likelihood counts: every reading whose scatter is known, and one for a
        session of which the mean alone is known.
    """

    animals_in: int
    sessions_in: int
    readings_in: int
    steps: tuple[Step, ...]
    animals: int
    sessions: int
    readings: int
    numbers: int


def flow(study: ClinicCohort) -> Flow:
    """Return who was counted and who not, and why."""
    every, rows = study.every, study.rows
    steps = [
        Step(words, 0, 0, int((rows["fate"] == status).sum()))
        for status, words in FATE_WORDS.items()
    ]
    steps.append(Step(NO_SESSION, len(study.names) - every["animal"].nunique(), 0, 0))
    used = rows[rows["fate"] == "used"].merge(
        every[["animal", "session", "reason"]], on=["animal", "session"], how="left"
    )
    remaining = set(every["animal"].unique())
    left = every
    for why in _in_order(every["reason"]):
        left = left[left["reason"] != why]
        lost = remaining - set(left["animal"].unique())
        remaining -= lost
        sessions, readings = (int((frame["reason"] == why).sum()) for frame in (every, used))
        steps.append(Step(reason("cohort.session", why=why), len(lost), sessions, readings))
    counted = used[used["reason"] == ""]
    blank = reason("cohort.reading_without", quantity=QUANTITY_WORDS[study.quantity])
    steps.append(Step(blank, 0, 0, int((~counted["holds"]).sum())))
    return Flow(
        animals_in=len(study.names),
        sessions_in=len(every),
        readings_in=len(rows),
        steps=tuple(step for step in steps if step.animals or step.sessions or step.readings),
        animals=study.cohort.n_animals,
        sessions=study.cohort.n_sessions,
        readings=int(counted["holds"].sum()),
        numbers=study.cohort.n_readings,
    )


def _in_order(reasons: pd.Series[Any]) -> list[str]:
    """Return the reasons, conditions first in the house's order, then what lacks a value."""
    given = set(reasons.unique()) - {""}
    conditions = [
        str(reason("cohort.measured", condition=words)) for words in CONDITION_WORDS.values()
    ]
    first = [condition for condition in reversed(conditions) if condition in given]
    return first + sorted(given - set(first))


@dataclass(frozen=True)
class EntryRow:
    """One line of the table of animals at entry.

    Parameters
    ----------
    group : str
        ``all``, or a species.
    name, unit : str
        What the line is of.
    kind : str
        ``count``, ``mean (SD)`` or ``median (range)``.
    known : int
        Animals it is known of.
    value : float or None
        The count, mean or median.
    sd, least, most : float or None
        What stands in the brackets; None where it has no place, or cannot be given.
    """

    group: str
    name: str
    unit: str
    kind: str
    known: int
    value: float | None
    sd: float | None = None
    least: float | None = None
    most: float | None = None


def entry(study: ClinicCohort) -> tuple[EntryRow, ...]:
    """Return the animals at their first counted session, all and by species."""
    rows = study.counted
    each = rows.groupby("animal", sort=True)
    first = each.head(1).set_index("animal")
    span = each["months"].max() - each["months"].min()
    first = first.assign(sessions=each.size(), followed=span, ever=each["treated"].any())
    groups = [("all", first)]
    species = sorted(first["species"].unique())
    if len(species) > 1:
        groups += [(name, first[first["species"] == name]) for name in species]
    return tuple(row for name, animals in groups for row in _entry_rows(name, animals, study))


def _entry_rows(group: str, animals: pd.DataFrame, study: ClinicCohort) -> list[EntryRow]:
    group = group or reason("cohort.no_species")
    unit = UNITS[study.quantity]
    rows = [_count(group, "Animals", np.ones(len(animals), dtype=bool))]
    for sex in sorted(study.counted["sex"].unique()):
        name = sex.capitalize() if sex else reason("cohort.no_sex")
        rows.append(_count(group, name, animals["sex"] == sex))
    rows.append(_mean(group, "Age", "years", animals["age_years"]))
    name = reason("cohort.first_mean", quantity=QUANTITY_WORDS[study.quantity].capitalize())
    rows.append(_mean(group, name, unit, animals[study.quantity]))
    for method in sorted(study.counted["method"].unique()):
        name = reason("cohort.first_by", method=METHOD_WORDS[method])
        rows.append(_count(group, name, animals["method"] == method))
    rows.append(_count(group, reason("cohort.on_at_entry"), animals["treated"]))
    rows.append(_count(group, reason("cohort.on_ever"), animals["ever"]))
    rows.append(_median(group, reason("cohort.sessions_each"), "", animals["sessions"]))
    rows.append(_median(group, reason("cohort.followed"), "months", animals["followed"]))
    return rows


def _count(group: str, name: str, chosen: Any) -> EntryRow:
    return EntryRow(group, name, "", "count", len(chosen), float(np.count_nonzero(chosen)))


def _mean(group: str, name: str, unit: str, column: pd.Series[Any]) -> EntryRow:
    known = column.dropna()
    value = float(known.mean()) if len(known) else None
    sd = float(known.std(ddof=1)) if len(known) > 1 else None
    return EntryRow(group, name, unit, "mean (SD)", len(known), value, sd=sd)


def _median(group: str, name: str, unit: str, column: pd.Series[Any]) -> EntryRow:
    ends = {"least": float(column.min()), "most": float(column.max())}
    return EntryRow(
        group, name, unit, "median (range)", len(column), float(column.median()), **ends
    )
