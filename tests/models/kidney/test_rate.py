"""Per cent a month, doubling time, and what of a urine ratio's change is day to day."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bpvet
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.rate import Rate, day_to_day, doubling_months
from bpvet.wording.en.kidney.stage import doubling_words, kidney_stage_statements
from tests.models.kidney_records import creatinine, lab, sdma, upc, with_labs


@given(st.floats(0.01, 50), st.floats(0.01, 50))
def test_the_doubling_time_is_that_of_growth_and_falls_with_the_rate(one, other):
    assert (1 + one / 100) ** doubling_months(one) == pytest.approx(2)
    low, high = sorted((one, other))
    assert doubling_months(high) <= doubling_months(low)


def test_a_rate_that_may_be_none_has_no_latest_end():
    rate = Rate(Estimate(1.0, -0.2, 2.0), 0.96)
    assert rate.doubling == pytest.approx((69.66, 35.0, math.inf), abs=0.01)
    assert doubling_words(rate) == "At that rate it doubles in 70 months (35 or more)."
    assert doubling_words(Rate(Estimate(-1.0, -2.0, 0.5), 0.1)) == ""


def test_the_rate_is_the_trends_and_told_only_where_it_is_sure():
    months = np.arange(8)
    day = np.datetime64("2025-01-10") + (months * 60).astype("timedelta64[D]")
    labs = [
        lab(str(one), "creatinine", round(150 * 1.03 ** (2 * k), 1), "umol/L")
        for k, one in zip(months, day, strict=True)
    ]
    records = with_labs(labs)
    found = bpvet.kidney(records, "A1")
    slope = bpvet.fit_trend(records, "A1", quantity="creatinine").slope
    rate = found.markers[0].rate
    assert (rate.percent, rate.lower, rate.upper) == pytest.approx((slope.mean, *slope.interval()))
    told = {one.key for one in kidney_stage_statements(found)}
    assert "kidney.rate" in told
    flat = bpvet.kidney(with_labs(creatinine([225, 224, 226, 225, 225])), "A1")
    assert "kidney.rate" not in {one.key for one in kidney_stage_statements(flat)}
    assert bpvet.kidney(with_labs(sdma([20])), "A1").markers[0].rate is None


def test_day_to_day_variation_lies_between_the_two_printed_figures():
    # 80 % near 0.5 and 35 % near 12, on the logarithm between.
    assert day_to_day(math.sqrt(0.5 * 12)) == pytest.approx(57.5)
    assert [day_to_day(one) for one in (0.1, 0.5, 12, 20)] == [80, 80, 35, 35]


@pytest.mark.parametrize(
    ("before", "after", "within"),
    [(0.5, 0.9, True), (0.5, 0.91, False), (12, 7.8, True), (12, 7.7, False), (0.5, 0.1, True)],
)
def test_a_change_within_it_is_said_to_be(before, after, within):
    found = bpvet.kidney(with_labs(upc([0.3, before, after])), "A1")
    change = found.proteinuria.change
    assert change.within is within
    assert found.to_dict()["proteinuria"]["change"]["within_day_to_day"] is within
    told = {one.key: one.text for one in kidney_stage_statements(found)}
    assert ("kidney.ratio" in told) is within
    if within:
        assert "within day-to-day variation" in told["kidney.ratio"]
        assert "measured in dogs" in told["kidney.ratio"]


def test_a_bound_is_no_ratio_to_compare():
    found = bpvet.kidney(with_labs(upc([0.3, "<0.1", 0.4])), "A1").proteinuria.change
    assert (found.before.value, found.after.value) == (0.3, 0.4)
