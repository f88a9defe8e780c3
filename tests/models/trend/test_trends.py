"""Whole clinics: the same numbers as one at a time, whatever the batches and processes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.models.trend.trends import Trends


def _clinic(animals: int, seed: int = 5) -> bpvet.Records:
    rng = np.random.default_rng(seed)
    readings, treatments = [], []
    for a in range(animals):
        days = np.sort(rng.choice(np.arange(0, 600, 5), size=rng.integers(1, 13), replace=False))
        level = 150 + 20 * rng.normal()
        for day in days:
            visit = level + 11 * rng.normal()
            date = str(np.datetime64("2025-01-01") + int(day))
            readings += [
                (f"a{a:03d}", date, "doppler", round(visit + 7 * rng.normal()), i + 1)
                for i in range(rng.integers(1, 7))
            ]
        if a % 3 == 0:
            treatments.append((f"a{a:03d}", "amlodipine", "2025-06-01"))
    frame = pd.DataFrame(readings, columns=["animal", "taken_at", "method", "systolic", "reading"])
    return bpvet.Records.from_frames(
        frame,
        treatments=pd.DataFrame(treatments, columns=["animal", "drug", "started_on"]),
        animals=pd.DataFrame({"animal": frame["animal"].unique(), "species": "cat"}),
        as_of="2026-11-01",
    )


def test_a_batch_equals_one_at_a_time():
    records = _clinic(25)
    together = bpvet.fit_trends(records)
    assert len(together) == 25
    for (animal, method, condition, quantity), trend in together.items():
        alone = bpvet.fit_trend(records, animal, method, quantity, condition=condition)
        for name in ("latest", "slope", "level"):
            own, held = getattr(alone, name), getattr(trend, name)
            assert held.mean == pytest.approx(own.mean, abs=1e-9)
            assert held.sd == pytest.approx(own.sd, abs=1e-9)
        assert trend.log_marginal_likelihood == pytest.approx(
            alone.log_marginal_likelihood, abs=1e-9
        )


def test_processes_change_no_digit(capsys):
    records = _clinic(6)
    one = bpvet.fit_trends(records, progress=False)
    two = bpvet.fit_trends(records, processes=2, progress=True)
    for key, trend in one.items():
        assert two[key].latest.mean == trend.latest.mean
        assert np.array_equal(two[key].posterior.weight, trend.posterior.weight)
    assert "trends" in capsys.readouterr().err
    with pytest.raises(CallError):
        bpvet.fit_trends(records, processes=0)


def test_learned_priors_find_the_clinic_and_are_named_where_used():
    rng = np.random.default_rng(8)
    readings = []
    for a in range(60):
        level = 165 + 15 * rng.normal()
        for day in np.sort(rng.choice(np.arange(0, 600, 5), size=7, replace=False)):
            visit = level + 20 * rng.normal()
            date = str(np.datetime64("2025-01-01") + int(day))
            readings += [
                (f"a{a:03d}", date, "doppler", round(visit + 4 * rng.normal(), 1), i + 1)
                for i in range(5)
            ]
    frame = pd.DataFrame(readings, columns=["animal", "taken_at", "method", "systolic", "reading"])
    records = bpvet.Records.from_frames(
        frame,
        animals=pd.DataFrame({"animal": frame["animal"].unique(), "species": "cat"}),
        as_of="2026-11-01",
    )
    table = bpvet.learn_priors(records, rule="all", name="Harbour clinic")
    own = table["cat", "doppler", "systolic"]
    # Centre 165, less the first-visit term that the model takes out; sv 20 and sr 4.
    assert abs(own.level[0] - 165) < 6
    assert 16 < own.sv[0] < 23
    assert 3.5 < own.sr[0] < 4.5
    assert "Harbour clinic" in own.source
    assert "60 animals" in own.source
    assert ("dog", "doppler", "systolic") not in table.cells
    learned = bpvet.fit_trend(records, "a000", rule="all", priors=table)
    assert learned.priors.sv == own.sv
    assert "Harbour clinic" in " ".join(learned.answer().assumptions)


def test_few_animals_learn_nothing():
    with pytest.raises(CallError, match="30 animals"):
        bpvet.learn_priors(_clinic(8))


@pytest.mark.parametrize("sd", ["slope_sd", "effect_sd", "increment_sd"])
def test_a_prior_sd_of_one_is_like_any_other(sd):
    """A column without a value (one session has no slope) is no padding, whatever its SD."""
    days = ["2026-03-01", "2026-03-01", "2026-04-01", "2026-03-01"]
    readings = pd.DataFrame({"animal": ["a", "b", "b", "c"], "taken_at": days})
    readings = readings.assign(method="doppler", systolic=[150, 160, 170, 180], reading=1)
    records = bpvet.Records.from_frames(
        readings,
        animals=pd.DataFrame({"animal": ["a", "b", "c"], "species": "cat"}),
        treatments=pd.DataFrame(
            {"animal": ["a"], "drug": ["amlodipine"], "started_on": ["2026-03-05"]}
        ),
        as_of="2026-11-01",
    )
    own = replace(bpvet.Priors.default("cat", "doppler"), first_visit=None)
    exact, near = (replace(own, **{sd: value}) for value in (1.0, 1.0 + 1e-9))
    one, other = (bpvet.fit_trends(records, priors=held) for held in (exact, near))
    for key, trend in one.items():
        assert trend.posterior.parts[0].batch.terms == len(trend.columns.terms)
        for name in ("latest", "slope", "level"):
            assert getattr(trend, name).mean == pytest.approx(
                getattr(other[key], name).mean, abs=1e-5
            )
            assert getattr(trend, name).sd == pytest.approx(getattr(other[key], name).sd, abs=1e-5)


def test_a_frame_has_a_row_a_series():
    records = _clinic(9)
    trends = bpvet.fit_trends(records)
    frame = trends.to_frame()
    assert list(frame.columns) == [
        *("animal", "method", "condition", "quantity", "sessions", "latest_date"),
        *("usual", "lower", "upper", "sd", "unit"),
    ]
    keys = ["animal", "method", "condition", "quantity"]
    assert [tuple(row) for row in frame[keys].itertuples(index=False)] == list(trends)
    for row, trend in zip(frame.itertuples(), trends.values(), strict=True):
        low, high = trend.latest.interval(0.95)
        told = (trend.latest.mean, low, high, trend.latest.sd)
        assert (row.usual, row.lower, row.upper, row.sd) == pytest.approx(told, rel=1e-12)
        assert row.sessions == trend.series.y.size
        assert row.latest_date == pd.Timestamp(trend.latest_date)
        assert row.unit == "mmHg"
    narrow = trends.to_frame(level=0.5)
    assert (narrow["upper"] < frame["upper"]).all()
    assert (narrow["usual"] == frame["usual"]).all()
    nothing = Trends().to_frame()
    assert list(nothing.columns) == list(frame.columns)
    assert not len(nothing)


def test_a_frame_of_values_and_bounds_tells_what_is_known():
    """Beyond the gauge only an end is told; laboratory values stand on their own scale."""
    readings = pd.DataFrame({"animal": ["a", "a", "b"], "method": "doppler"})
    readings = readings.assign(
        taken_at=["2026-03-01", "2026-03-09", "2026-03-01"], systolic=["> 300", "> 300", "150"]
    )
    labs = {"animal": ["b"], "sampled_on": "2026-03-02", "analyte": "creatinine", "value": 180}
    records = bpvet.Records.from_frames(
        readings,
        animals=pd.DataFrame({"animal": ["a", "b"], "species": "cat"}),
        labs=pd.DataFrame({**labs, "unit": "µmol/L"}),
        as_of="2026-11-01",
    )
    trends = bpvet.fit_trends(records, quantities=("systolic", "creatinine"))
    frame = trends.to_frame().set_index(["animal", "quantity"])
    beyond = frame.loc["a", "systolic"]
    assert beyond["lower"] > 200
    assert beyond[["usual", "upper", "sd"]].isna().all()
    value = frame.loc["b", "creatinine"]
    assert value["lower"] < value["usual"] < value["upper"]
    assert value["unit"] == "µmol/L"
    assert np.isnan(value["sd"]) == np.isnan(trends["b", "laboratory", "", "creatinine"].latest.sd)
