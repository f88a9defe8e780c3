"""From rows of treatment to courses: spells on one drug, and changes of dose on top.

Rules: the docstring of this folder. Only pressure-acting drugs become courses; others are drawn and
named.
A drug off the list is one of the others, and asked about, unless its purpose names blood pressure.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import replace
from bpvet.records.findings import Finding
from bpvet.records.parsing.columns import names_of
from bpvet.records.records import Records
from bpvet.visits.treatments.course import Course as Course
from bpvet.visits.treatments.course import OtherDrug as OtherDrug
from bpvet.visits.treatments.course import Span as Span
from bpvet.visits.treatments.course import Treatments as Treatments
from bpvet.visits.treatments.course import is_on as is_on
from bpvet.visits.treatments.doses import parse_dose
from bpvet.visits.treatments.missed import (
    MissedDoses,
    Stretches,
    missed_findings,
    missed_rows,
    stretches_of,
)
from bpvet.visits.treatments.spells import (
    Row,
    Spell,
    distinct_starts,
    dose_by_tens,
    dose_differs,
    dose_not_stated,
    drug_off_the_list,
    ended,
    modelled_off_the_list,
    moved_point,
    not_told_apart,
    product_differs,
    product_not_stated,
    spells_of,
    treatment_rows,
    unit_differs,
)

#: Courses of the records in use, by animal: one question after another asks for the same.
_KNOWN: WeakKeyDictionary[Records, dict[str, Treatments]] = WeakKeyDictionary()
#: The same of every animal that has any, once all were asked for.
_ALL_KNOWN: WeakKeyDictionary[Records, dict[str, Treatments]] = WeakKeyDictionary()


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
    known = _KNOWN.setdefault(records, {})
    if animal not in known:
        rows = treatment_rows(records.columns("treatments", animal), records.as_of)
        known[animal] = _treatments(rows, missed_rows(records, animal).get(animal, ()))
    return known[animal]


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
    if records not in _ALL_KNOWN:
        rows = treatment_rows(records.columns("treatments"), records.as_of)
        rows.sort(key=lambda row: row.animal)
        missed = missed_rows(records)
        _ALL_KNOWN[records] = {
            animal: _treatments(list(group), missed.get(animal, ()))
            for animal, group in groupby(rows, key=lambda row: row.animal)
        }
    # The caller's own: what they take from it stays for whoever asks next.
    return dict(_ALL_KNOWN[records])


def treated_on(
    treatments: Mapping[str, Treatments],
    animal: Any,
    date: NDArray[np.datetime64],
) -> NDArray[np.bool_]:
    """Return whether a modelled course is on at each date.

    A course is on from the day after its start (a session on the start date comes before the
    first dose) to its last day.

    Parameters
    ----------
    treatments : mapping
        As from `all_courses`.
    animal : (n,) array of str, or texts as codes
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
    names, code = names_of(animal)
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


def _treatments(rows: list[Row], missed: tuple[MissedDoses, ...]) -> Treatments:
    findings: list[Finding] = []
    drawn: list[Row] = []
    spells: list[Spell] = []
    rows = sorted(rows, key=lambda row: (row.name, row.started_on))
    for _, group in groupby(rows, key=lambda row: row.name):
        distinct = ended(distinct_starts(list(group), findings))
        drawn += distinct
        modelled = [row for row in distinct if row.modelled]
        off_list = [row for row in distinct if row.asked]
        findings += [drug_off_the_list(row) for row in off_list[:1]]
        if modelled and modelled[0].known is None:
            findings.append(modelled_off_the_list(modelled[0]))
        spells += spells_of(modelled)
    drawn.sort(key=lambda row: (row.started_on, row.name))
    spells.sort(key=lambda spell: (spell.started_on, spell.rows[0].name))
    coefficients = [
        coefficient
        for index, spell in enumerate(spells)
        for coefficient in _coefficients(spell, index, missed, findings)
    ]
    findings += missed_findings(missed)
    return Treatments(
        courses=_joined(coefficients, findings),
        others=tuple(_other_drug(row) for row in drawn if not row.modelled),
        findings=tuple(findings),
        spans=tuple(
            Span(
                drug=row.name,
                dose=row.shown,
                started_on=row.started_on,
                stopped_on=row.stopped_on,
                modelled=row.modelled,
                **_acts(row),
            )
            for row in drawn
        ),
        rows=tuple(drawn),
        missed=missed,
    )


def _coefficients(
    spell: Spell, index: int, missed: tuple[MissedDoses, ...], findings: list[Finding]
) -> list[tuple[Course, Row]]:
    """Return the spell's base and its increments, each with the row that starts it.

    A row that changes dose or product, or both, starts one increment.
    """
    unstated: set[int] = set()
    result = [(_course(spell.rows[0], "base", spell, index, missed), spell.rows[0])]
    for before, row in zip(spell.rows, spell.rows[1:], strict=False):
        old, new = parse_dose(before.dose, before.unit), parse_dose(row.dose, row.unit)
        if old is None or new is None:
            for asked, dose in ((before, old), (row, new)):
                if dose is None and id(asked) not in unstated:
                    unstated.add(id(asked))
                    findings.append(dose_not_stated(asked))
        elif old.unit != new.unit:
            findings.append(unit_differs(before, row))
        if moved_point(before, row):
            findings.append(dose_by_tens(before, row))
        if bool(before.product) != bool(row.product):
            findings.append(product_not_stated(before, row))
        if dose_differs(before, row) or product_differs(before, row):
            result.append((_course(row, "increment", spell, index, missed), row))
    return result


def _course(
    row: Row, kind: str, spell: Spell, index: int, missed: tuple[MissedDoses, ...]
) -> Course:
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
        product=row.product,
        missed=stretches_of(missed, row.name, row.started_on, spell.stopped_on),
    )


def _joined(coefficients: list[tuple[Course, Row]], findings: list[Finding]) -> tuple[Course, ...]:
    """Make courses that cannot be told apart one coefficient, and say so.

    Spells begun on one day are one, with the longer tau, until one of them stops: what goes on
    without it then starts a coefficient of its own on top. Courses with the same start, stop and
    tau are one.
    """
    begun: dict[tuple[object, ...], list[tuple[Course, Row]]] = {}
    for course, row in coefficients:
        key: tuple[object, ...] = (course.started_on, course.kind)
        if course.kind != "base":
            key = (*key, course.spell)
        begun.setdefault(key, []).append((course, row))
    courses = [
        joined_course
        for group in begun.values()
        for joined_course in _begun_together(group, findings)
    ]
    alike: dict[tuple[object, ...], list[tuple[Course, Row]]] = {}
    for course, row in courses:
        key = (course.started_on, str(course.stopped_on), course.tau_days, str(course.missed))
        alike.setdefault(key, []).append((course, row))
    result = []
    for group in alike.values():
        course = _as_one([course for course, _ in group])
        if len(group) > 1:
            drugs = tuple(dict.fromkeys(member.drug for member, _ in group))
            findings.append(not_told_apart(group[-1][1], drugs))
        result.append(course)
    return tuple(sorted(result, key=lambda c: (c.started_on, c.kind != "base", c.spell)))


def _begun_together(
    group: list[tuple[Course, Row]], findings: list[Finding]
) -> list[tuple[Course, Row]]:
    """Return spells begun on one day as one course, and what their stops change."""
    if len(group) == 1:
        return group
    members, row = [course for course, _ in group], group[-1][1]
    stops = sorted({course.stopped_on for course in members if not np.isnat(course.stopped_on)})
    ongoing = any(np.isnat(course.stopped_on) for course in members)
    last = np.datetime64("NaT", "D") if ongoing else stops[-1]
    whole = replace(
        _as_one(members),
        stopped_on=last,
        tau_days=max(course.tau_days for course in members),
        missed=_all_missed(members),
    )
    findings.append(not_told_apart(row, whole.together_with))
    left = [
        replace(whole, kind="left", started_on=stop, drug=" + ".join(_going_on(members, stop)))
        for stop in (stops if ongoing else stops[:-1])
    ]
    return [(whole, row), *((later, row) for later in left)]


def _all_missed(members: list[Course]) -> Stretches:
    """Return the stretches in which every drug that was still given was missed."""
    days: set[int] = set()
    for course in members:
        for first, last in course.missed:
            days.update(range(int(first.astype(np.int64)), int(last.astype(np.int64)) + 1))
    without = sorted(day for day in days if all(_not_given(course, day) for course in members))
    runs: list[tuple[int, int]] = []
    for day in without:
        if runs and day == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((day, day))
    return tuple((np.datetime64(a, "D"), np.datetime64(b, "D")) for a, b in runs)


def _not_given(course: Course, day: int) -> bool:
    date = np.datetime64(day, "D")
    if not np.isnat(course.stopped_on) and date > course.stopped_on:
        return True
    return any(first <= date <= last for first, last in course.missed)


def _going_on(members: list[Course], stop: np.datetime64) -> list[str]:
    return [
        course.drug for course in members if np.isnat(course.stopped_on) or course.stopped_on > stop
    ]


def _as_one(courses: list[Course]) -> Course:
    """Return several courses as one coefficient that names them all."""
    # A base comes first: it has the larger prior SD, and its spell keeps the verdict.
    members = sorted(courses, key=lambda c: (c.kind != "base", c.spell))
    if len(members) == 1:
        return members[0]
    drugs = tuple(
        dict.fromkeys(name for course in members for name in course.together_with or (course.drug,))
    )
    return replace(
        members[0],
        drug=" + ".join(drugs),
        dose=" + ".join(member.dose for member in members if member.dose),
        known_drug=all(member.known_drug for member in members),
        together_with=drugs,
        spells=tuple(sorted({spell for member in members for spell in member.spells})),
    )


def _other_drug(row: Row) -> OtherDrug:
    return OtherDrug(
        drug=row.name,
        kind=row.known.kind if row.known else "other",
        started_on=row.started_on,
        stopped_on=row.stopped_on,
        dose=row.shown,
        # What a drug off the list does is not known, so that it may.
        moves_pressure=row.known.may_move_pressure if row.known else True,
        **_acts(row),
    )


def _acts(row: Row) -> dict[str, bool]:
    """Return what is known of the drug of a row, as `Span` and `OtherDrug` say it."""
    if row.known is None:
        return {"known": False}
    return {
        "known": True,
        "raises": row.known.raises,
        "renin": row.known.renin,
        "nsaid": row.known.nsaid,
    }
