"""How much of an effect the readings have told: the dense answers of the reference, and limits."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.models.trend.learned import told_by_readings
from tests.models.small_records import drug, records, rows, steady

FOLDER = Path(__file__).parents[3] / "reference_checks" / "treated"
DAY_0 = np.datetime64("2024-01-01")
DATES = ("2026-01-10", "2026-02-10", "2026-03-12", "2026-04-14")


def fitted(name, fixed):
    """Return the trend of a reference case; changes of dose are rows of treatment."""
    of = json.loads((FOLDER / f"{name}.json").read_text())
    method = "oscillometric" if of["quantity"] == "diastolic" else "doppler"
    readings = [
        {
            "animal": "one",
            "taken_at": str(DAY_0 + one["day"]),
            "method": method,
            of["quantity"]: value,
        }
        for one in of["sessions"]
        for value in one["readings"]
    ]
    given = []
    for i, one in enumerate(of["courses"]):
        ends = one.get("stop_day")
        if i + 1 < len(of["courses"]) and of["courses"][i + 1]["kind"] == "increment":
            ends = of["courses"][i + 1]["start_day"]
        given.append(
            {
                "animal": "one",
                "drug": one["drug"],
                "started_on": str(DAY_0 + one["start_day"]),
                "stopped_on": "" if ends is None else str(DAY_0 + ends),
                "dose": str(i + 1),
                "dose_unit": "mg",
            }
        )
    held = bpvet.Records.from_frames(
        pd.DataFrame(readings),
        treatments=pd.DataFrame(given),
        animals=pd.DataFrame([{"animal": "one", "species": "cat"}]),
        as_of=str(DAY_0 + of["t0_day"]),
    )
    sds = of["fixed_parameters"] if fixed else None
    return of, bpvet.fit_trend(held, "one", quantity=of["quantity"], rule="all", fixed=sds)


@pytest.mark.parametrize(
    "name",
    [
        "severe_one_before_two_after",
        "ordinary_level",
        "same_drug_stopped_and_restarted",
        "two_dose_increments",
        "diastolic_oscillometric",
        "hard_240_then_120",
    ],
)
@pytest.mark.parametrize("fixed", [True, False])
def test_the_reference_is_met(name, fixed):
    of, trend = fitted(name, fixed)
    held = of["answers_with_fixed_parameters" if fixed else "answers_with_sds_integrated_out"]
    assert told_by_readings(trend)[0] == pytest.approx(
        held["told_by_the_readings"], abs=1e-9 if fixed else 1e-4
    )


def test_without_a_session_before_the_prior_stands_in():
    own = bpvet.fit_trend(records(rows(steady(150, DATES)), [drug("2026-01-01")]), "A1")
    (told,) = told_by_readings(own)
    # Mixture of the three groups: means 0, 0, −45; variances 400, 100 and 900 + 2500.
    between = 0.34 * 45**2 - (0.34 * 45) ** 2
    prior = 0.6 * 400 + 0.06 * 100 + 0.34 * 3400 + between
    assert told == pytest.approx(1 - own.treatments[0].effect.sd ** 2 / prior, abs=1e-9)


def test_each_spell_is_held_against_the_sessions_before_its_own_start():
    given = [drug("2026-01-11", stopped_on="2026-02-01"), drug("2026-03-13", "telmisartan")]
    own = bpvet.fit_trend(records(rows(steady(150, DATES)), given), "A1")
    told = told_by_readings(own)
    assert len(told) == 2
    assert all(value < 1 for value in told)


def test_after_the_start_it_is_nothing():
    own = bpvet.fit_trend(records(rows(steady(150, DATES)), [drug("2026-04-14")]), "A1")
    assert told_by_readings(own)[0] == pytest.approx(0, abs=1e-9)


def test_mostly_assumption_is_told():
    def keys(readings):
        answer = bpvet.fit_trend(records(readings, [drug("2026-03-20")]), "A1").answer()
        told = answer.treatments[0].told_by_readings
        return told, {one.key for one in answer.statements}

    told, said = keys(rows([(DATES[0], [150.0]), (DATES[3], [150.0])]))
    assert (told < 0.5) is ("effect.assumption" in said)
    many = [str(np.datetime64("2026-01-01") + 7 * i) for i in range(24)]
    told, said = keys(rows(steady(170, many)))
    assert told > 0.5
    assert "effect.assumption" not in said
