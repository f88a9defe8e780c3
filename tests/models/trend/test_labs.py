"""Laboratory values and weights: the same engine on the log scale, answered on their own."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.wording.en.trend.statements import sentence
from tests.maths.cases import case
from tests.maths.dense import integrated
from tests.models.small_records import drug, records, rows, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]
VALUES = [150.0, 162.0, 171.0, 168.0, 190.0]


def _with_labs(values=VALUES, unit="umol/L", analyte="creatinine", treatments=()):
    readings = pd.DataFrame(rows(steady(150, DATES)))
    labs = pd.DataFrame(
        [
            {"animal": "A1", "sampled_on": date, "analyte": analyte, "value": value, "unit": unit}
            for date, value in zip(DATES, values, strict=True)
        ]
    )
    return bpvet.Records.from_frames(
        readings,
        labs=labs,
        treatments=pd.DataFrame(list(treatments)) if treatments else None,
        animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
        as_of="2026-11-01",
    )


def test_creatinine_equals_the_dense_twin_on_the_log_scale():
    trend = bpvet.fit_trend(_with_labs(), "A1", quantity="creatinine")
    days = [(np.datetime64(date) - np.datetime64(DATES[0])).astype(float) for date in DATES]
    logs = np.log(VALUES)
    one = case(days, [[value] for value in logs], (), None, sv=(0.10, 0.5), sw=(0.10, 0.5))
    one.prior_mean[:], one.prior_sd[:] = (np.log(160), 0.0), (0.6, 0.03)
    # No reading noise: the twin's is a thousandth of the smallest noise.
    one.sr = (1e-6, 0.1)
    ask = np.array([days[-1], np.nan])
    asked = np.array([[1.0, 0.0], [0.0, 1.0]])
    dense = integrated(one, ask, asked, rhos=33, gauss=9)
    assert trend.latest.mean == pytest.approx(np.exp(dense.quantile(0, 0.5)), rel=1e-4)
    low, high = trend.latest.interval(0.95)
    assert low == pytest.approx(np.exp(dense.quantile(0, 0.025)), rel=1e-3)
    assert high == pytest.approx(np.exp(dense.quantile(0, 0.975)), rel=1e-3)
    assert trend.slope.mean == pytest.approx(100 * np.expm1(dense.quantile(1, 0.5)), abs=1e-3)
    assert trend.slope.above(3) == pytest.approx(1 - dense.below(1, np.log(1.03)), abs=1e-3)


def test_answers_are_on_the_scale_of_the_values():
    answer = bpvet.fit_trend(
        _with_labs(treatments=[drug("2026-03-15")]), "A1", quantity="creatinine"
    ).answer()
    held = answer.to_dict()
    assert 150 < held["latest"]["estimate"] < 220
    assert held["latest"]["sd"] is None
    assert held["unit"] == "µmol/L"
    assert held["target"]["reason"]
    assert held["recheck"]["by"] is None
    assert "% a month" in sentence(answer, "slope")
    assert "µmol/L" in sentence(answer, "usual")
    assert sentence(answer, "recheck") == ""
    assert all(one for one in answer.sentences)


def test_units_are_converted_or_refused_by_name():
    plain = bpvet.fit_trend(_with_labs(), "A1", quantity="creatinine")
    other = _with_labs([value / 88.4 for value in VALUES], "mg/dL")
    converted = bpvet.fit_trend(other, "A1", quantity="creatinine")
    assert converted.latest.mean == pytest.approx(plain.latest.mean, rel=1e-9)
    with pytest.raises(CallError, match="mg/dL"):
        bpvet.fit_trend(_with_labs(unit="g/L"), "A1", quantity="creatinine")
    with pytest.raises(CallError, match="no method"):
        bpvet.fit_trend(_with_labs(), "A1", "doppler", "creatinine")


def test_multiplying_the_values_multiplies_the_answers_when_the_prior_moves_along():
    trend = bpvet.fit_trend(_with_labs([4.0, 4.1, 4.0, 3.9, 3.8], "kg", "weight"), "A1",
                            quantity="weight")  # fmt: skip
    twice = bpvet.fit_trend(_with_labs([8.0, 8.2, 8.0, 7.8, 7.6], "kg", "weight"), "A1",
                            quantity="weight")  # fmt: skip
    # The level's prior is wide (log-SD 0.35 against 0.02), so doubling nearly doubles.
    assert twice.latest.mean / trend.latest.mean == pytest.approx(2.0, rel=0.01)
    assert twice.slope.mean == pytest.approx(trend.slope.mean, abs=0.1)


def test_a_clinic_in_one_pass_equals_one_at_a_time():
    held = _with_labs()
    together = bpvet.fit_trends(held, quantities=("systolic", "creatinine"))
    alone = bpvet.fit_trend(held, "A1", quantity="creatinine")
    key = ("A1", "laboratory", "", "creatinine")
    assert together[key].latest.mean == pytest.approx(alone.latest.mean, rel=1e-12)
    assert len(together) == 2


def test_the_contract_of_records_is_kept_where_there_are_no_labs():
    with pytest.raises(CallError, match="no usable value"):
        bpvet.fit_trend(records(rows(steady(150, DATES))), "A1", quantity="sdma")
