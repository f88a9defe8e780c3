"""Statements that no scenario tells: each from codes that call for it, or from small records."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.verdicts import Verdict
from bpvet.models.trend.fit import fit_trend
from bpvet.records.records import Records
from bpvet.visits.context import ContextChange
from bpvet.wording.en.trend.recorded import _WHAT
from bpvet.wording.en.trend.statements import statements, statements_on
from tests.models.small_records import drug, records, rows, steady
from tests.wording.test_lab_words import ON, answered

DATES = ("2026-02-01", "2026-03-01", "2026-04-01", "2026-05-01", "2026-06-01", "2026-07-01")


@pytest.fixture(scope="module")
def answer() -> TrendAnswer:
    held = records(rows(steady(165, DATES)), [drug("2026-04-02")])
    return fit_trend(held, "A1").answer()


def keys(answer: TrendAnswer, topic: str) -> set[str]:
    return {one.key for one in statements_on(answer, topic)}


def test_a_drug_that_shows_no_fall(answer: TrendAnswer) -> None:
    spell = replace(answer.treatments[0], verdict=Verdict.FALL_UNLIKELY, settle=())
    found = replace(answer, treatments=(spell,))
    assert "drug.no_fall" in keys(found, "drugs")
    (told,) = (one for one in statements(found) if one.key == "drug.no_fall")
    assert "so far no fall" in told.text
    assert told.tells == (("amlodipine", "2026-04-02"),)


def test_a_slope_that_rises(answer: TrendAnswer) -> None:
    rising = replace(answer.slope, verdict=Verdict.RISING, settle=())
    assert keys(replace(answer, slope=rising), "slope") == {"slope.rising"}


def test_ways_of_counting_that_move_the_answer(answer: TrendAnswer) -> None:
    moved = replace(
        answer.companions, shown=("medians", "tense"), latest_without_tense=150.0, tense_sessions=2
    )
    found = keys(replace(answer, companions=moved), "companions")
    assert {"companions.medians", "companions.tense"} <= found


def test_what_was_measured_otherwise(answer: TrendAnswer) -> None:
    changed = tuple(
        ContextChange(what, "left", ("right",), np.datetime64("2026-07-01"), True) for what in _WHAT
    )
    found = keys(replace(answer, recorded=replace(answer.recorded, context=changed)), "context")
    assert found >= {
        *("context.site", "context.side", "context.cuff", "context.posture"),
        *("context.operator", "context.instrument"),
    }


def test_sessions_that_swing(answer: TrendAnswer) -> None:
    swinging = replace(answer, recorded=replace(answer.recorded, swings=True))
    assert "context.swings" in keys(swinging, "context")


def test_an_untreated_animal_that_is_probably_raised() -> None:
    untreated = fit_trend(records(rows(steady(172, DATES[:2])), as_of="2026-03-20"), "A1").answer()
    assert keys(untreated, "recheck") == {"recheck.raised"}


def test_a_kidney_value_alone() -> None:
    found = answered("creatinine", [1.0, 1.02, 0.98, 1.01, 0.99, 1.0, 1.02, 0.98], ON)
    assert keys(found, "slope") == {"slope.lab"}
    assert keys(found, "drugs") == {"drug.lab"}


def test_a_potassium_that_is_repeated() -> None:
    held = Records.from_frames(
        pd.DataFrame(rows(steady(150, DATES))),
        labs=pd.DataFrame(
            [("A1", "2026-07-01", "potassium", 5.8, "mmol/L")],
            columns=["animal", "sampled_on", "analyte", "value", "unit"],
        ),
        animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
        as_of="2026-07-05",
    )
    assert "kidney.potassium" in keys(fit_trend(held, "A1").answer(), "kidney")
