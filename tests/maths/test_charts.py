"""EWMA and CUSUM charts: worked examples, limits by simulation, properties."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.maths import charts

HERE = Path(__file__).parents[2] / "reference_checks/companions/variability"
ANSWERS = json.loads((HERE / "variability.json").read_text())

pressures = st.lists(st.integers(60, 300).map(float), min_size=1, max_size=20)


@pytest.mark.parametrize("name", ["A", "B"])
def test_the_worked_examples(name: str) -> None:
    answer = ANSWERS[name]
    y = [float(value) for value in answer["session_means"]]
    averages = charts.ewma(y, float(Fraction(answer["ewma"]["lambda"])))
    assert averages == pytest.approx([float(Fraction(e)) for e in answer["ewma"]["values"]])
    sums = answer["cusum"]
    upper, lower = charts.cusum(y, float(sums["target"]), float(sums["allowance_k"]))
    assert upper.tolist() == [float(value) for value in sums["upper"]]
    assert lower.tolist() == [float(value) for value in sums["lower"]]


def test_an_ewma_may_start_elsewhere() -> None:
    # 160 + (180 − 160)/4 = 165; 165 + (140 − 165)/4 = 158.75.
    assert charts.ewma([180, 140], 0.25, start=160).tolist() == [165, 158.75]
    assert charts.ewma([], 0.25).size == 0
    assert charts.ewma([150, 170], 1).tolist() == [150, 170]


@given(pressures, st.integers(-40, 40))
def test_a_shift_moves_the_average_and_no_sum(values: list[float], shift: int) -> None:
    y = np.array(values)
    assert charts.ewma(y + shift) == pytest.approx(charts.ewma(y) + shift)
    plain, moved = charts.cusum(y, 150, 5), charts.cusum(y + shift, 150 + shift, 5)
    assert all(np.array_equal(a, b) for a, b in zip(plain, moved, strict=True))


@given(pressures)
def test_the_two_sums_mirror_each_other(values: list[float]) -> None:
    y = np.array(values)
    upper, lower = charts.cusum(y, 150, 5)
    down, up = charts.cusum(300 - y, 150, 5)
    assert np.array_equal(upper, up)
    assert np.array_equal(lower, down)
    assert min(upper.min(), lower.min()) >= 0


def test_the_limits_are_the_spread_of_the_average() -> None:
    rng = np.random.default_rng(12)
    runs = np.array([charts.ewma(rng.normal(150, 10, 8), 0.25) for _ in range(4000)])
    chart = charts.ewma_chart(rng.normal(150, 10, 8), centre=150.0, sd=10.0, width=1.0)
    assert chart.upper is not None
    # 4000 runs know an SD to 1.1 %; 4 % is more than three times that.
    assert chart.upper - 150 == pytest.approx(runs.std(axis=0), rel=0.04)
    assert chart.upper[0] == 160


def test_a_rise_leaves_the_limits_and_signals() -> None:
    rng = np.random.default_rng(2)
    y = np.r_[rng.normal(150, 8, 15), rng.normal(180, 8, 10)]
    ewma = charts.ewma_chart(y, centre=150.0, sd=8.0)
    assert ewma.outside is not None
    assert not ewma.outside[:15].any()
    assert ewma.outside[-5:].all()
    cusum = charts.cusum_chart(y, 150.0, 8.0)
    assert cusum.signals_high is not None
    assert cusum.signals_low is not None
    assert (cusum.allowance, cusum.limit) == (4.0, 40.0)
    assert not cusum.signals_high[:15].any()
    assert cusum.signals_high[-5:].all()
    assert not cusum.signals_low.any()


def test_the_steady_sd_is_that_of_independent_sessions() -> None:
    rng = np.random.default_rng(7)
    found = [charts.steady_sd(rng.normal(150, 12, 10)) for _ in range(3000)]
    assert np.mean(np.array(found, dtype=float)) == pytest.approx(12, rel=0.02)
    chart = charts.ewma_chart([150, 160, 155, 165])
    assert chart.sd == charts.steady_sd([150, 160, 155, 165])
    assert chart.centre == 157.5


def test_without_limits_the_chart_says_why() -> None:
    for few in ([], [150.0], [150.0, 170.0]):
        ewma, cusum = charts.ewma_chart(few), charts.cusum_chart(few, 160)
        assert ewma.values.size == cusum.upper.size == len(few)
        assert ewma.upper is None
        assert cusum.limit is None
        assert "need 3" in str(ewma.reason)
        assert ewma.reason == cusum.reason
    assert "no scatter" in str(charts.ewma_chart([150] * 5).reason)
    assert charts.ewma_chart([150.0], centre=150.0, sd=8.0).reason is None


def test_charts_are_frozen() -> None:
    chart = charts.ewma_chart([150, 160, 155])
    with pytest.raises(ValueError, match="read-only"):
        chart.values[0] = 0


def test_a_steady_animal_signals_once_in_465_sessions() -> None:
    # Run lengths are nearly geometric: a share exp(−465/465) = 0.37 is without signal.
    rng, quiet = np.random.default_rng(31), 0
    for _ in range(1000):
        chart = charts.cusum_chart(rng.normal(150, 10, 465), 150.0, 10.0)
        assert chart.signals_high is not None
        assert chart.signals_low is not None
        quiet += not (chart.signals_high.any() or chart.signals_low.any())
    assert quiet / 1000 == pytest.approx(0.375, abs=0.045)


@pytest.mark.parametrize(
    "call",
    [
        lambda: charts.ewma([150], 0),
        lambda: charts.ewma([150], 1.1),
        lambda: charts.ewma([float("nan")]),
        lambda: charts.cusum([150], 150, -1),
        lambda: charts.cusum([150], float("nan"), 1),
    ],
)
def test_wrong_calls_are_refused(call: Callable[[], object]) -> None:
    with pytest.raises(CallError):
        call()
