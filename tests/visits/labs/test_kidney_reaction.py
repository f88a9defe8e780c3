"""Creatinine and SDMA after a change of a pressure drug: worked by hand, and what holds of any."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.visits.labs.kidney_reaction import KidneyReaction, kidney_reactions
from bpvet.visits.treatments.courses import Span
from tests.visits.labs.lab_values import day, history

AS_OF = day("2026-06-01")
NEVER = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Made:
    """A change as the drugs' side gives it."""

    date: np.datetime64
    kind: str = "start"
    drug: str = "Telmisartan 4 mg/ml"
    modelled: bool = True


def only(*lines: str, species: str = "cat", kind: str = "start") -> KidneyReaction:
    made = Made(day("2026-04-01"), kind)
    (found,) = kidney_reactions(history(*lines, species=species), [made], AS_OF)
    return found


def test_the_example_of_the_design() -> None:
    found = only("2026-03-20 creatinine 190 µmol/L", "2026-04-22 creatinine 252 µmol/L")
    assert (found.change.absolute, found.change.unit, found.days) == (62, "µmol/L", 21)
    assert found.change.percent == pytest.approx(32.63, abs=0.01)
    assert (found.drug, found.kind, found.age_days) == ("Telmisartan 4 mg/ml", "start", 40)
    assert (found.beyond, found.is_reaction, found.urgent_size) == (True, True, True)
    (society,) = found.tolerances
    assert (society.name, society.limit, society.unit) == (
        "IRIS 2019 kidney guidance", 45, "µmol/L",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("before", "after", "unit", "beyond", "called", "urgent"),
    [
        (190, 234, "µmol/L", False, True, False),  # +44, +23 %
        (190, 235, "µmol/L", True, True, True),  # +45: less than 45 is tolerated
        (400, 450, "µmol/L", True, False, False),  # +50, +12.5 %: two samples differ by as much
        (100, 131, "µmol/L", False, True, True),  # +31 %
        (100, 130, "µmol/L", False, True, False),  # +30 % is not beyond 30 %
        (190, 150, "µmol/L", False, False, False),
        (1.6, 2.1, "mg/dL", True, True, True),  # +0.5, +31 %
        (2.0, 2.49, "mg/dL", False, True, False),
        (2.0, 2.5, "mg/dL", True, True, True),  # +0.5, +25 %
    ],
)
def test_sizes_of_a_rise(
    before: float, after: float, unit: str, beyond: bool, called: bool, urgent: bool
) -> None:
    found = only(f"2026-03-20 creatinine {before} {unit}", f"2026-04-22 creatinine {after} {unit}")
    assert (found.beyond, found.is_reaction, found.urgent_size) == (beyond, called, urgent)


def test_sdma_has_its_own_tolerance_and_is_urgent_beyond_a_third_only() -> None:
    found = only("2026-03-20 sdma 12 µg/dL", "2026-04-22 sdma 14.5 µg/dL")
    assert (found.beyond, found.is_reaction, found.urgent_size) == (True, True, False)
    assert found.tolerances[0].limit == 2
    found = only("2026-03-20 sdma 12 µg/dL", "2026-04-22 sdma 16 µg/dL")
    assert found.urgent_size
    # In another unit the tolerance stays in the one that it is printed in.
    found = only("2026-03-20 sdma 0.6 µmol/L", "2026-04-22 sdma 0.72 µmol/L")
    assert found.tolerances[0].unit == "µg/dL"
    assert found.beyond
    assert found.change.unit == "µmol/L"


@pytest.mark.parametrize(
    ("first", "second", "there"),
    [
        ("2026-01-31", "2026-04-22", True),  # 60 days before
        ("2026-01-30", "2026-04-22", False),
        ("2026-04-01", "2026-04-22", True),  # the day itself: before the first dose
        ("2026-03-20", "2026-04-04", True),  # 3 days after
        ("2026-03-20", "2026-04-03", False),
        ("2026-03-20", "2026-05-01", True),  # 30 days after
        ("2026-03-20", "2026-05-02", False),
        ("2026-04-02", "2026-04-22", False),  # both after
    ],
)
def test_which_values_stand_before_and_after(first: str, second: str, there: bool) -> None:
    held = history(f"{first} creatinine 150 µmol/L", f"{second} creatinine 190 µmol/L")
    assert bool(kidney_reactions(held, [Made(day("2026-04-01"))], AS_OF)) == there


def test_the_latest_before_and_the_first_after_and_of_one_day_the_careful() -> None:
    found = only(
        "2026-02-20 creatinine 100 µmol/L",
        "2026-03-20 creatinine 160 µmol/L",
        "2026-03-20 creatinine 150 µmol/L",
        "2026-04-20 creatinine 210 µmol/L",
        "2026-04-20 creatinine 200 µmol/L",
        "2026-04-28 creatinine 400 µmol/L",
    )
    assert (found.before.value, found.after.value) == (150, 210)


def test_bounds_that_prove_nothing_are_passed_over() -> None:
    found = only(
        "2026-03-10 creatinine 150 µmol/L",
        "2026-03-20 creatinine >100 µmol/L",
        "2026-04-10 creatinine <900 µmol/L",
        "2026-04-20 creatinine >200 µmol/L",
    )
    assert (found.before.value, found.after.value) == (150, 200)
    assert found.change.at_least


def test_stops_and_other_drugs_are_no_change_and_dose_and_product_are() -> None:
    held = history("2026-03-20 creatinine 150 µmol/L", "2026-04-22 creatinine 190 µmol/L")
    when = day("2026-04-01")
    silent = [Made(when, "stop"), Made(when, modelled=False), Made(day("2026-07-01"))]
    assert kidney_reactions(held, silent, AS_OF) == ()
    both = kidney_reactions(held, [Made(when, "product"), Made(when, "dose")], AS_OF)
    assert {one.kind for one in both} == {"dose", "product"}


def test_a_value_that_is_not_yet_known_is_not_used() -> None:
    held = history("2026-03-20 creatinine 150 µmol/L", "2026-04-22 creatinine 290 µmol/L")
    assert kidney_reactions(held, [Made(day("2026-04-01"))], day("2026-04-21")) == ()


@pytest.mark.parametrize(
    ("before", "after", "stage", "limit", "beyond"),
    [
        (100, 130, 1, 30, False),
        (100, 131, 1, 30, True),
        (200, 260, 2, 30, False),
        (300, 330, 3, 10, False),
        (300, 331, 3, 10, True),
        (500, 501, 4, 0, True),
        (500, 500, 4, 0, False),
    ],
)
def test_dogs_are_told_the_tolerances_of_glomerular_disease(
    before: float, after: float, stage: int, limit: float, beyond: bool
) -> None:
    lines = (
        f"2026-03-20 creatinine {before} µmol/L", f"2026-04-22 creatinine {after} µmol/L"
    )  # fmt: skip
    glomerular = only(*lines, species="dog").tolerances[1]
    seen = (glomerular.stage, glomerular.limit, glomerular.unit, glomerular.beyond)
    assert seen == (stage, limit, "%", beyond)
    assert glomerular.name == "glomerular study group 2013"
    assert len(only(*lines, species="cat").tolerances) == 1
    assert len(only(*lines, species="").tolerances) == 1


def test_drugs_that_bear_on_the_kidneys_are_named() -> None:
    held = history("2026-03-20 creatinine 150 µmol/L", "2026-04-22 creatinine 190 µmol/L")
    spans = [
        Span("meloxicam", "", day("2026-04-10"), day("2026-04-12"), False, nsaid=True),
        Span("carprofen", "", day("2026-01-10"), day("2026-03-12"), False, nsaid=True),
        Span("telmisartan", "", day("2026-04-01"), NEVER, True, renin=True),
        Span("amlodipine and benazepril", "", day("2026-01-01"), NEVER, True, renin=True),
        Span("robenacoxib", "", day("2026-04-23"), NEVER, False, nsaid=True),
    ]
    (found,) = kidney_reactions(held, [Made(day("2026-04-01"))], AS_OF, spans)
    assert found.anti_inflammatory == ("meloxicam",)
    assert found.renin == ("telmisartan", "amlodipine and benazepril")
    (alone,) = kidney_reactions(held, [Made(day("2026-04-01"))], AS_OF, spans[2:3])
    assert alone.renin == ()


@given(st.floats(50, 800), st.floats(50, 800), st.floats(1, 2), st.sampled_from(["cat", "dog", ""]))
def test_a_larger_rise_is_never_told_as_less(
    before: float, after: float, more: float, species: str
) -> None:
    held = [
        only(
            f"2026-03-20 creatinine {before:.3f} µmol/L",
            f"2026-04-22 creatinine {value:.3f} µmol/L",
            species=species,
        )
        for value in (after, after * more)
    ]
    for name in ("beyond", "is_reaction", "urgent_size"):
        assert getattr(held[0], name) <= getattr(held[1], name)
    assert not held[0].urgent_size or held[0].is_reaction
