"""Doses as far as they can be compared."""

from __future__ import annotations

import pytest

from bpvet.visits.treatments.doses import Dose, parse_dose


@pytest.mark.parametrize(
    ("text", "unit", "number", "parsed"),
    [
        ("0.625", "mg", 0.625, "mg"),
        ("0,625", "mg", 0.625, "mg"),
        ("1.25 mg", "", 1.25, "mg"),
        ("1.25mg", "", 1.25, "mg"),
        ("1.25 MG", "mg", 1.25, "mg"),
        ("1.25  mg  once daily", "", 1.25, "mg once daily"),
        ("1.25 once daily", "mg", 1.25, "mg once daily"),
        ("1/4 tablet", "", 0.25, "tablet"),
        ("½", "Tablet", 0.5, "tablet"),
        ("2", "", 2.0, ""),
        ("2 x 1.25 mg", "", 2.0, "x 1.25 mg"),
        ("5 μg", "", 5.0, "μg"),
        ("12,5 mg", "", 12.5, "mg"),
    ],
)
def test_numbers_with_a_unit(text: str, unit: str, number: float, parsed: str) -> None:
    assert parse_dose(text, unit) == Dose(number, parsed)


@pytest.mark.parametrize(
    "text",
    [
        *("", "half a tablet", "as directed", "1-2 mg", "1,250 mg", "0 mg", "0", "1/0 tablet"),
        *("-1 mg", "1.25 mg; 2.5 mg", ">1 mg", "1.2.3 mg"),
    ],
)
def test_what_cannot_be_compared(text: str) -> None:
    assert parse_dose(text, "mg") is None


def test_the_two_micro_signs_are_one() -> None:
    assert parse_dose("5 \u00b5g") == parse_dose("5 \u03bcg")
