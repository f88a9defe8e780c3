"""Stages of the kidney guidance: bounds as printed, in the unit that they are printed in."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from bpvet.facts.labs import unit_as_given
from bpvet.facts.stages import staging

# Typed a second time from the sourced facts: the 2019 staging page, by species and unit.
PRINTED = [
    ("creatinine", "cat", "µmol/L", (140, 251, 440), ("below 140", "140–250", "251–440")),
    ("creatinine", "dog", "µmol/L", (125, 251, 440), ("below 125", "125–250", "251–440")),
    ("creatinine", "cat", "mg/dL", (1.6, 2.9, 5.0), ("below 1.6", "1.6–2.8", "2.9–5")),
    ("creatinine", "dog", "mg/dL", (1.4, 2.9, 5.0), ("below 1.4", "1.4–2.8", "2.9–5")),
    ("sdma", "cat", "µg/dL", (18, 26, 38), ("below 18", "18–25", "26–38")),
    ("sdma", "dog", "µg/dL", (18, 36, 54), ("below 18", "18–35", "36–54")),
    ("upc", "cat", "ratio", (0.2, 0.4), ("below 0.2", "0.2–0.4", "above 0.4")),
    ("upc", "dog", "ratio", (0.2, 0.5), ("below 0.2", "0.2–0.5", "above 0.5")),
]


@pytest.mark.parametrize(("analyte", "species", "unit", "bounds", "printed"), PRINTED)
def test_the_bounds_are_those_of_the_staging_page(
    analyte: str,
    species: str,
    unit: str,
    bounds: tuple[float, ...],
    printed: tuple[str, ...],
) -> None:
    found = staging(analyte, species, unit)
    assert found is not None
    assert found.edition == "IRIS 2019 kidney guidance"
    assert tuple(stage.low for stage in found.stages[1:]) == bounds
    assert tuple(stage.printed for stage in found.stages[:3]) == printed


def test_stages_hold_every_value_once() -> None:
    for analyte, species, unit, *_ in PRINTED:
        found = staging(analyte, species, unit)
        assert found is not None
        ends = [(stage.low, stage.high) for stage in found.stages]
        assert ends[0][0] == -math.inf
        assert ends[-1][1] == math.inf
        assert all(one[1] == next_[0] for one, next_ in pairwise(ends))


@pytest.mark.parametrize(
    ("analyte", "species", "unit"),
    [
        ("sdma", "cat", "µmol/L"),
        ("creatinine", "", "µmol/L"),
        ("creatinine", "ferret", "µmol/L"),
        ("creatinine", "cat", ""),
        ("potassium", "cat", "mmol/L"),
        ("phosphate", "dog", "mmol/L"),
        ("weight", "cat", "kg"),
    ],
)
def test_nothing_is_staged_that_is_not_sourced(analyte: str, species: str, unit: str) -> None:
    assert staging(analyte, species, unit) is None


@pytest.mark.parametrize(
    ("analyte", "written", "shown"),
    [
        ("creatinine", "UMOL / L", "µmol/L"),
        ("creatinine", "μmol/l", "µmol/L"),
        ("creatinine", "mg/dl", "mg/dL"),
        ("potassium", "meq/l", "mEq/L"),
        ("upc", "1", "ratio"),
        ("creatinine", "", ""),
        ("creatinine", "<b>umol/L</b>", "<b>umol/L</b>"),
        ("total_t4", "nmol/L", "nmol/L"),
    ],
)
def test_a_unit_keeps_its_meaning_and_gets_its_common_spelling(
    analyte: str, written: str, shown: str
) -> None:
    assert unit_as_given(analyte, written) == shown


@pytest.mark.parametrize(
    ("analyte", "species", "unit", "value", "stage"),
    [
        ("creatinine", "dog", "µmol/L", 124.9, "stage 1"),
        ("creatinine", "dog", "µmol/L", 125, "stage 2"),
        ("creatinine", "cat", "mg/dL", 2.85, "stage 2"),
        ("creatinine", "cat", "mg/dL", 5.0, "stage 3"),
        ("creatinine", "cat", "mg/dL", 5.1, "stage 4"),
        ("sdma", "cat", "µg/dL", 25.5, "stage 2"),
        ("upc", "dog", "ratio", 0.5, "borderline"),
        ("upc", "dog", "ratio", 0.51, "proteinuric"),
    ],
)
def test_a_value_between_two_printed_ranges_lies_in_the_lower(
    analyte: str, species: str, unit: str, value: float, stage: str
) -> None:
    found = staging(analyte, species, unit)
    assert found is not None
    assert found.stages[found.place_of(value)].name == stage
