"""Nothing reads as if all were well where it is not known, or where what is urgent comes first."""

from __future__ import annotations

import pytest

import bpvet
from bpvet.answers.trend.unseen import unseen_answer
from tests.models.small_records import drug, records, rows, sign, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-06-06", "2026-08-01"]


def _answer(readings, *args, **more):
    return bpvet.fit_trend(records(readings, *args, **more), "A1").answer()


def _keys(answer):
    return {one.key for one in answer.statements}


def test_a_home_series_is_placed_among_the_categories_as_it_is_judged():
    home = _answer(rows(steady(132, DATES), setting="home"))
    clinic = _answer(rows(steady(147, DATES)))
    likeliest = max(home.category.probability, key=home.category.probability.get)
    assert likeliest == "prehypertensive"
    assert home.category.probability[likeliest] == pytest.approx(
        clinic.category.probability[likeliest], abs=0.2
    )
    low = _answer(rows(steady(112, DATES), setting="home"))
    assert low.category.withheld is None  # 127 as it is judged
    assert _answer(rows(steady(112, DATES))).category.withheld is not None


@pytest.mark.parametrize(("before", "told"), [(128, False), (182, True)])
def test_beside_a_session_of_180_no_low_category_is_told(before, told):
    answer = _answer(rows(steady(before, DATES[:5]) + steady(186, DATES[5:])))
    assert [one.rule for one in answer.urgent] == ["severe"]
    assert ("category" in _keys(answer)) is told


def test_no_reason_for_a_window_says_that_all_is_well_beside_what_is_urgent():
    silent = _answer(rows([*steady(124, DATES[:5]), (DATES[5], ["no sound", "no sound"])]))
    assert silent.recheck.state == "low"
    assert "not raised" not in silent.recheck.reason
    treated = _answer(rows(steady(128, DATES[:5]) + steady(184, DATES[5:])), [drug("2026-01-11")])
    assert treated.recheck.state == "severe"
    assert "at target" not in treated.recheck.reason


def test_not_raised_is_said_only_where_a_usual_pressure_says_so():
    held = records(rows([("2026-08-01", ["no sound"])]), birth_date="2012-01-01")
    answer = unseen_answer(held, "A1", "nothing was heard")
    assert answer.recheck.state == "screen"
    assert "not raised" not in answer.recheck.reason
    held = records(rows([("2026-08-01", ["no sound"])]), [drug("2026-03-01", "prednisolone")])
    risk = unseen_answer(held, "A1", "nothing was heard").recheck
    assert "not raised" not in risk.reason


def test_a_pressure_drug_is_never_said_not_to_move_pressure():
    held = records(
        rows([("2026-08-01", ["no sound"])]), [drug("2026-03-01"), drug("2026-03-01", "insulin")]
    )
    why = {one.text: one.reason for one in unseen_answer(held, "A1", "nothing").not_used}
    assert "not known to move pressure" in why["insulin"]
    assert "not known" not in why["amlodipine"]


def test_an_older_row_of_a_sign_is_named_by_its_own_date():
    seen = [sign("2026-02-01", "head tilt"), sign("2026-07-30", "head tilt")]
    answer = _answer(rows(steady(130, DATES)), (), seen)
    assert [str(one.date) for one in answer.not_used if one.text == "head tilt"] == ["2026-02-01"]


@pytest.mark.parametrize("status", ["present", "", "maybe", "resolved", "absent"])
def test_a_pregnancy_beside_a_renin_drug_is_told_unless_it_is_over(status):
    answer = _answer(
        rows(steady(130, DATES)),
        [drug("2026-01-11", "telmisartan")],
        [sign("2026-08-01", "pregnant", status)],
    )
    assert ("drugs.pregnancy" in _keys(answer)) is (status in ("present", "", "maybe"))
