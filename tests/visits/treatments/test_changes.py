"""Dated changes of treatment."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bpvet.visits.treatments.changes import Change, changes
from bpvet.visits.treatments.courses import courses

Clinic = Callable[..., Any]
READING = [{"taken_at": "2026-01-01", "systolic": 150}]


@pytest.fixture
def changed(clinic: Clinic) -> Callable[..., tuple[Change, ...]]:
    """Return a function from rows of treatment to one animal's changes."""

    def build(*rows: dict[str, Any], as_of: str = "2026-12-31") -> tuple[Change, ...]:
        records = clinic(READING, treatments=list(rows), as_of=as_of)
        return changes(records, "A17", courses(records, "A17"))

    return build


Changed = Callable[..., tuple[Change, ...]]


def told(found: tuple[Change, ...]) -> list[tuple[str, str, str, str, str]]:
    return [(str(c.date), c.kind, c.drug, c.before, c.after) for c in found]


def test_start_dose_product_and_stop_in_order_of_date(changed: Changed) -> None:
    found = changed(
        {"started_on": "2026-03-01", "dose": "1 mg", "product": "tablet"},
        {"started_on": "2026-04-01", "dose": "2 mg", "product": "Tablet "},
        {
            "started_on": "2026-05-01",
            "stopped_on": "2026-06-01",
            "dose": "3 mg",
            "product": "suspension",
        },
        {"started_on": "2026-02-01", "drug": "telmisartan"},
    )
    assert told(found) == [
        ("2026-02-01", "start", "telmisartan", "", ""),
        ("2026-03-01", "start", "amlodipine", "", "1 mg"),
        ("2026-04-01", "dose", "amlodipine", "1 mg", "2 mg"),
        ("2026-05-01", "dose", "amlodipine", "2 mg", "3 mg"),
        ("2026-05-01", "product", "amlodipine", "Tablet", "suspension"),
        ("2026-06-01", "stop", "amlodipine", "3 mg", ""),
    ]
    assert [c.renin for c in found] == [True, *[False] * 5]
    assert all(c.modelled and c.known and not c.raises for c in found)
    assert [c.line for c in found] == [4, 1, 2, 3, 3, 3]


def test_a_gap_is_a_stop_and_a_start_and_a_day_is_none(changed: Changed) -> None:
    row = {"started_on": "2026-02-01", "stopped_on": "2026-03-01", "dose": "1 mg"}
    gap = changed(row, {"started_on": "2026-03-03", "dose": "1 mg"})
    assert [c.kind for c in gap] == ["start", "stop", "start"]
    none = changed(row, {"started_on": "2026-03-02", "dose": "1 mg"})
    assert [c.kind for c in none] == ["start"]


@pytest.mark.parametrize(
    ("first", "second", "kinds"),
    [
        ("1 mg", "1.0 mg", ["start"]),
        ("1 mg", "", ["start"]),
        ("half a tablet", "Half a  tablet", ["start"]),
        ("half a tablet", "a tablet", ["start", "dose"]),
        ("1 mg", "1 tablet", ["start", "dose"]),
    ],
)
def test_doses_not_written_alike_that_cannot_be_compared_are_two(
    changed: Changed, first: str, second: str, kinds: list[str]
) -> None:
    found = changed(
        {"started_on": "2026-02-01", "dose": first}, {"started_on": "2026-03-01", "dose": second}
    )
    assert [c.kind for c in found] == kinds


def test_nothing_after_as_of_is_a_change(changed: Changed) -> None:
    rows = (
        {"started_on": "2026-02-01", "stopped_on": "2026-04-01"},
        {"started_on": "2026-05-01"},
    )
    assert [str(c.date) for c in changed(*rows, as_of="2026-03-31")] == ["2026-02-01"]
    assert [c.kind for c in changed(*rows, as_of="2026-04-01")] == ["start", "stop"]


def test_which_drugs_are_told_and_how(changed: Changed) -> None:
    found = changed(
        {"started_on": "2026-02-01", "drug": "zzyzxine"},
        {"started_on": "2026-02-02", "drug": "gabapentin"},
        {"started_on": "2026-02-03", "drug": "prednisolone"},
        {"started_on": "2026-02-04", "drug": "amlodipine", "purpose": "not for pressure"},
        {"started_on": "2026-02-05", "drug": "yyzzine", "purpose": "hypertension"},
    )
    assert [(c.drug, c.modelled, c.known, c.raises) for c in found] == [
        ("zzyzxine", False, False, False),
        ("prednisolone", False, True, True),
        ("yyzzine", True, False, False),
    ]
