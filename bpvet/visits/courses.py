"""From rows of treatment to courses: spells on one drug, and changes of dose on top.

DEVELOPERS.md, "The model". Only pressure-acting drugs become courses; others are drawn and named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.records.findings import Finding, shown
from bpvet.records.records import Records
from bpvet.visits.doses import parse_dose
from bpvet.visits.spells import (
    Row,
    Spell,
    distinct_starts,
    ended,
    finding_at,
    spells_of,
    treatment_rows,
    unknown_drug,
)


@dataclass(frozen=True, eq=False)
class Course:
    """One coefficient of a trend: a spell on one drug, or a change of its dose on top.

    Parameters
    ----------
    drug : str
        Generic name; drugs that cannot be told apart (same start, stop and tau) are joined
        by " + ".
    kind : str
        ``base`` or ``increment``.
    started_on, stopped_on : datetime64[D]
        First day, and last day or NaT while it is ongoing at `as of`.
    tau_days : float
        Time constant of rise and decay, days.
    spell : int
        Index of the spell; a base and its increments share it.
    dose : str
        Dose as written in the records.
    known_drug : bool
        False where the drug is not in the drug table (tau is then the default).
    together_with : tuple of str
        Drugs folded into this one coefficient.
    spells : tuple of int
        Every spell that this coefficient is part of: more than one where spells cannot be told
        apart.
    """

    drug: str
    kind: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    tau_days: float
    spell: int
    dose: str
    known_drug: bool
    together_with: tuple[str, ...] = ()
    spells: tuple[int, ...] = ()


@dataclass(frozen=True)
class Span:
    """A row of treatment as it is drawn.

    Parameters
    ----------
    drug : str
        Generic name where it is known, else as written.
    dose : str
        As written, with its unit.
    started_on, stopped_on : datetime64[D]
        First and last day; NaT while it is ongoing at `as of`.
    modelled : bool
        Whether the row is part of a course.
    """

    drug: str
    dose: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    modelled: bool


@dataclass(frozen=True)
class OtherDrug:
    """A row of a drug that is named and drawn but never modelled.

    Parameters
    ----------
    drug, kind : str
        Generic name and kind of drug (calming, thyroid, steroid, diet, …).
    started_on, stopped_on : datetime64[D]
        First and last day; NaT while it is ongoing at `as of`.
    dose : str
        As written, with its unit.
    moves_pressure : bool
        Whether it may move pressure: its start and stop are then a change of conditions.
    """

    drug: str
    kind: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    dose: str
    moves_pressure: bool


@dataclass(frozen=True, eq=False)
class Treatments:
    """What one animal was given, as the trend and the figure need it.

    Parameters
    ----------
    courses : tuple of Course
        Coefficients of the trend in order of start; what cannot be told apart is one.
    others : tuple of OtherDrug
        In order of start.
    findings : tuple of Finding
        What had to be decided, and what would settle it.
    spans : tuple of Span
        Every row that is drawn, in order of start.
    """

    courses: tuple[Course, ...]
    others: tuple[OtherDrug, ...]
    findings: tuple[Finding, ...]
    spans: tuple[Span, ...]


def courses(records: Records, animal: str) -> Treatments:
    """Return one animal's courses, its other drugs, and what had to be decided.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id as it stands in the records.

    Returns
    -------
    Treatments
        Empty where the animal has no usable row of treatment.
    """
    table = records.treatments
    rows = treatment_rows(table[table["animal"] == animal], records.as_of)
    return _treatments(rows)


def all_courses(records: Records) -> dict[str, Treatments]:
    """Return the courses of every animal that has a usable row of treatment, read in one pass.

    Parameters
    ----------
    records : Records

    Returns
    -------
    dict
        `Treatments` by animal; an animal without rows is not in it.
    """
    rows = treatment_rows(records.treatments, records.as_of)
    rows.sort(key=lambda row: row.animal)
    return {
        animal: _treatments(list(group))
        for animal, group in groupby(rows, key=lambda row: row.animal)
    }


def treated_on(
    treatments: dict[str, Treatments], animal: NDArray[Any], date: NDArray[np.datetime64]
) -> NDArray[np.bool_]:
    """Return whether a modelled course is on at each date.

    A course is on from the day after its start (a session on the start date comes before the
    first dose) to its last day.

    Parameters
    ----------
    treatments : dict
        As from `all_courses`.
    animal : (n,) array of str
        Animal of each date.
    date : (n,) datetime64[D]

    Returns
    -------
    (n,) array of bool
    """
    on = np.zeros(len(date), dtype=bool)
    spells = [
        (name, course.started_on, course.stopped_on)
        for name, given in treatments.items()
        for course in given.courses
        if course.kind == "base"
    ]
    if not spells or not len(date):
        return on
    code, names = pd.factorize(np.asarray(animal, dtype=object))
    index = {name: position for position, name in enumerate(names)}
    kept = [spell for spell in spells if spell[0] in index]
    owner = np.array([index[name] for name, _, _ in kept], dtype=np.int64)
    start = np.array([started for _, started, _ in kept], dtype="datetime64[D]")
    stop = np.array([stopped for _, _, stopped in kept], dtype="datetime64[D]")
    # One number line for all animals: each has a stretch longer than any date.
    stretch = 10_000_000
    key = code * stretch + date.astype("datetime64[D]").astype(np.int64)
    starts = np.sort(owner * stretch + start.astype(np.int64))
    ended = ~np.isnat(stop)
    stops = np.sort(owner[ended] * stretch + stop[ended].astype(np.int64))
    zero = code * stretch - stretch // 2
    begun = np.searchsorted(starts, key) - np.searchsorted(starts, zero)
    over = np.searchsorted(stops, key) - np.searchsorted(stops, zero)
    return np.asarray(begun > over)


def _treatments(rows: list[Row]) -> Treatments:
    findings: list[Finding] = []
    drawn: list[Row] = []
    spells: list[Spell] = []
    rows = sorted(rows, key=lambda row: (row.name, row.started_on))
    for _, group in groupby(rows, key=lambda row: row.name):
        distinct = ended(distinct_starts(list(group), findings))
        drawn += distinct
        modelled = [row for row in distinct if row.modelled]
        if modelled and modelled[0].known is None:
            findings.append(unknown_drug(modelled[0]))
        spells += spells_of(modelled)
    drawn.sort(key=lambda row: (row.started_on, row.name))
    spells.sort(key=lambda spell: (spell.started_on, spell.rows[0].name))
    coefficients = [
        coefficient
        for index, spell in enumerate(spells)
        for coefficient in _coefficients(spell, index, findings)
    ]
    return Treatments(
        courses=_joined(coefficients, findings),
        others=tuple(_other(row) for row in drawn if not row.modelled),
        findings=tuple(findings),
        spans=tuple(
            Span(row.name, row.shown, row.started_on, row.stopped_on, row.modelled) for row in drawn
        ),
    )


def _coefficients(spell: Spell, index: int, findings: list[Finding]) -> list[tuple[Course, Row]]:
    """Return the spell's base and its increments, each with the row that starts it."""
    unstated: set[int] = set()
    result = [(_course(spell.rows[0], "base", spell, index), spell.rows[0])]
    for before, row in zip(spell.rows, spell.rows[1:], strict=False):
        old, new = parse_dose(before.dose, before.unit), parse_dose(row.dose, row.unit)
        if old is None or new is None:
            for asked, dose in ((before, old), (row, new)):
                if dose is None and id(asked) not in unstated:
                    unstated.add(id(asked))
                    findings.append(_dose_not_stated(asked))
        elif old.unit != new.unit:
            findings.append(_unit_differs(before, row))
        elif not math.isclose(old.number, new.number):
            result.append((_course(row, "increment", spell, index), row))
    return result


def _course(row: Row, kind: str, spell: Spell, index: int) -> Course:
    return Course(
        drug=row.name,
        kind=kind,
        started_on=row.started_on,
        stopped_on=spell.stopped_on,
        tau_days=row.tau_days,
        spell=index,
        dose=row.shown,
        known_drug=row.known is not None,
        spells=(index,),
    )


def _joined(coefficients: list[tuple[Course, Row]], findings: list[Finding]) -> tuple[Course, ...]:
    """Make courses with the same start, stop and tau one coefficient, and say so."""
    alike: dict[tuple[object, ...], list[tuple[Course, Row]]] = {}
    for course, row in coefficients:
        key = (course.started_on, str(course.stopped_on), course.tau_days)
        alike.setdefault(key, []).append((course, row))
    result = []
    for group in alike.values():
        # A base comes first: it has the larger prior SD, and its spell keeps the verdict.
        members = sorted((course for course, _ in group), key=lambda c: (c.kind != "base", c.spell))
        course = members[0]
        if len(members) > 1:
            drugs = tuple(dict.fromkeys(member.drug for member in members))
            findings.append(_not_told_apart(drugs, group[-1][1]))
            course = replace(
                course,
                drug=" + ".join(drugs),
                dose=" + ".join(member.dose for member in members if member.dose),
                known_drug=all(member.known_drug for member in members),
                together_with=drugs,
                spells=tuple(sorted(member.spell for member in members)),
            )
        result.append(course)
    return tuple(sorted(result, key=lambda c: (c.started_on, c.kind != "base", c.spell)))


def _other(row: Row) -> OtherDrug:
    return OtherDrug(
        drug=row.name,
        kind=row.known.kind if row.known else "other",
        started_on=row.started_on,
        stopped_on=row.stopped_on,
        dose=row.shown,
        moves_pressure=row.known.may_move_pressure if row.known else False,
    )


def _dose_not_stated(row: Row) -> Finding:
    text = "The dose is not given"
    if row.dose:
        text = f"{shown(row.shown)} is not read as one number above zero with its unit"
    return finding_at(
        row,
        "dose",
        row.shown,
        f"{text}: no change of the dose of {row.name} is modelled here.",
        "Give the dose as a number and a unit if it changed.",
        "dose not stated",
    )


def _unit_differs(before: Row, row: Row) -> Finding:
    return finding_at(
        row,
        "dose",
        row.shown,
        f"{shown(row.shown)} is not in the unit of the dose before it, {shown(before.shown)}: no "
        f"change of the dose of {row.name} is modelled here.",
        "Give both doses in one unit if the dose changed.",
        "dose unit differs",
    )


def _not_told_apart(drugs: tuple[str, ...], row: Row) -> Finding:
    return finding_at(
        row,
        "drug",
        row.written,
        f"{' and '.join(drugs)} start and stop on the same days and act as fast: their effects "
        "are one number and cannot be told apart.",
        "Nothing is wrong; records that start them on different days could tell.",
        "cannot be told apart",
    )
