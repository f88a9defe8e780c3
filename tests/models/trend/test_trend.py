"""Properties that any trend must have, and the rules that a table of references does not reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet.errors import CallError
from bpvet.models.trend.fit import refit
from bpvet.models.trend.outlook import category_withheld, share_at_target, surprise
from bpvet.reasons import reason
from tests.models.small_records import drug, records, rows, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]


def _table(seed: int, count: int) -> list[tuple[str, list[float]]]:
    rng = np.random.default_rng(seed)
    days = np.sort(rng.choice(np.arange(0, 500), size=count, replace=False))
    out = []
    for day in days:
        centre = 150 + 12 * rng.normal()
        values = np.round(centre + 7 * rng.normal(size=rng.integers(1, 7)))
        out.append((str(np.datetime64("2025-01-01") + day), values.tolist()))
    return out


def _numbers(trend: bpvet.Trend) -> np.ndarray:
    parts = [trend.latest, trend.level, trend.slope, *(one.effect for one in trend.courses)]
    found = [(one.mean, one.sd, *one.interval(0.95)) for one in parts]
    return np.array([*np.ravel(found), trend.log_marginal_likelihood])


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 9))
def test_row_order_names_and_dates_change_nothing(seed, count):
    sessions = _table(seed, count)
    readings, course = rows(sessions), [drug("2025-06-01")]
    plain = bpvet.fit_trend(records(readings, course), "A1")
    order = np.random.default_rng(seed).permutation(len(readings))
    shuffled = bpvet.fit_trend(records([readings[i] for i in order], course), "A1")
    np.testing.assert_allclose(_numbers(shuffled), _numbers(plain), atol=1e-9)

    def moved(date: object) -> str:
        return str(np.datetime64(str(date)) + np.timedelta64(123, "D"))

    later = [{**row, "taken_at": moved(row["taken_at"])} for row in readings]
    shifted = bpvet.fit_trend(records(later, [drug(moved("2025-06-01"))], as_of="2027-11-01"), "A1")
    np.testing.assert_allclose(_numbers(shifted), _numbers(plain), atol=1e-9)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 8), st.floats(-30, 30))
def test_adding_a_constant_shifts_the_answers_by_it(seed, count, constant):
    sessions = _table(seed, count)
    moved = [(date, [value + constant for value in values]) for date, values in sessions]
    priors = bpvet.Priors.default("cat", "doppler")
    other = bpvet.Priors(
        level=(priors.level[0] + constant, priors.level[1]),
        slope_sd=priors.slope_sd,
        effect_sd=priors.effect_sd,
        increment_sd=priors.increment_sd,
        sv=priors.sv,
        sr=priors.sr,
        sw=priors.sw,
        first_visit=priors.first_visit,
    )
    plain = bpvet.fit_trend(records(rows(sessions)), "A1", priors=priors)
    shifted = bpvet.fit_trend(records(rows(moved)), "A1", priors=other)
    assert shifted.latest.mean == pytest.approx(plain.latest.mean + constant, abs=1e-8)
    assert shifted.latest.sd == pytest.approx(plain.latest.sd, abs=1e-8)
    assert shifted.slope.mean == pytest.approx(plain.slope.mean, abs=1e-8)
    assert shifted.latest.below(160 + constant) == pytest.approx(plain.latest.below(160), abs=1e-8)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 8))
def test_names_and_splitting_a_session_between_rows_change_nothing(seed, count):
    readings = rows(_table(seed, count))
    plain = bpvet.fit_trend(records(readings), "A1")
    # Odd readings first, then even ones: a session's rows stand apart, `reading` orders them.
    apart = [row for row in readings if row["reading"] % 2] + [
        row for row in readings if not row["reading"] % 2
    ]
    other = [{**row, "animal": "=1+1"} for row in apart]
    animals = pd.DataFrame([{"animal": "=1+1", "species": "cat", "name": "Someone else"}])
    held = bpvet.Records.from_frames(pd.DataFrame(other), animals=animals, as_of="2026-11-01")
    renamed = bpvet.fit_trend(held, "Someone else")
    np.testing.assert_allclose(_numbers(renamed), _numbers(plain), atol=1e-9)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 8), st.sampled_from([0.1, 1 / 7.5006157585, 3.0]))
def test_another_unit_scales_every_answer(seed, count, scale):
    trend = bpvet.fit_trend(records(rows(_table(seed, count))), "A1")
    own, series = trend.priors, trend.series
    first = own.first_visit
    priors = replace(
        own,
        level=(own.level[0] * scale, own.level[1] * scale),
        slope_sd=own.slope_sd * scale,
        effect_sd=own.effect_sd * scale,
        increment_sd=own.increment_sd * scale,
        sv=(own.sv[0] * scale, own.sv[1]),
        sr=(own.sr[0] * scale, own.sr[1]),
        sw=(own.sw[0] * scale, own.sw[1]),
        first_visit=(first[0] * scale, first[1] * scale),
    )
    scaled = replace(series, y=series.y * scale, ss=series.ss * scale**2)
    context = replace(trend.context, priors=(priors,))
    other = refit(replace(trend, context=context), scaled)
    assert other.latest.mean == pytest.approx(trend.latest.mean * scale, rel=1e-8)
    assert other.latest.sd == pytest.approx(trend.latest.sd * scale, rel=1e-8)
    assert other.latest.below(160 * scale) == pytest.approx(trend.latest.below(160), abs=1e-8)


def test_a_report_with_saved_priors_never_changes_because_another_animal_joined(tmp_path):
    own = replace(bpvet.Priors.default("cat", "doppler"), level=(160.0, 20.0), source="ours")
    path = bpvet.PriorTable({("cat", "doppler", "systolic"): own}, "ours").save(tmp_path / "a.toml")
    readings = rows(steady(150, DATES))
    joined = readings + rows(steady(210, DATES), animal="B2")
    found = [
        bpvet.fit_trend(records(held), "A1", priors=bpvet.PriorTable.load(path)).answer()
        for held in (readings, joined)
    ]
    assert found[0].sentences == found[1].sentences
    assert found[0].latest == found[1].latest


def test_more_sessions_bring_less_uncertainty():
    sds = [
        bpvet.fit_trend(records(rows(steady(150, DATES[:count]))), "A1").latest.sd
        for count in (1, 3, 5)
    ]
    assert sds[0] > sds[1] > sds[2]


def test_sedated_and_anaesthetised_sessions_never_enter():
    readings = rows(steady(150, DATES))
    low = rows(steady(80, ["2026-06-01"]), state="anaesthetised")
    low += rows(steady(90, ["2026-06-02"]), state="sedated")
    alone = bpvet.fit_trend(records(readings), "A1")
    beside = bpvet.fit_trend(records([*readings, *low]), "A1")
    np.testing.assert_allclose(_numbers(beside), _numbers(alone))
    with pytest.raises(CallError):
        bpvet.fit_trend(records(low), "A1")


def test_measured_before_turns_the_first_visit_off():
    readings = rows(steady(150, DATES))
    assert bpvet.fit_trend(records(readings, measured_before="yes"), "A1").first_visit is None
    assert bpvet.fit_trend(records(readings, measured_before="no"), "A1").first_visit is not None


def test_a_period_of_a_day_has_a_share_too():
    """Rosendaal's straight line from 150 to 170 is below 160 for half of the day."""
    trend = bpvet.fit_trend(
        records(rows([("2026-01-10", [150] * 4), ("2026-01-11", [170] * 4)])), "A1"
    )
    found = share_at_target(trend, 160.0)
    assert found.days == 1
    assert found.interpolated == pytest.approx(0.5)


@pytest.mark.parametrize(("born", "why"), [("2025-12-01", "category.young"), ("2024-02-01", None)])
def test_a_kitten_has_no_category(born, why):
    trend = bpvet.fit_trend(records(rows(steady(150, DATES)), birth_date=born), "A1")
    assert category_withheld(trend) == (why and reason(why))


def test_home_sessions_have_no_first_visit_excitement():
    readings = rows(steady(150, DATES), setting="home")
    trend = bpvet.fit_trend(records(readings), "A1")
    assert trend.series.condition == "home"
    assert trend.first_visit is None


def test_a_session_on_the_start_date_comes_before_the_first_dose():
    readings = rows(steady(180, ["2026-01-10"]) + steady(150, ["2026-03-01", "2026-05-01"]))
    trend = bpvet.fit_trend(records(readings, [drug("2026-01-10")]), "A1")
    (course,) = trend.courses
    assert course.before_sessions == 1
    assert course.knowable
    assert course.before_mean == pytest.approx(180.0)
    assert course.after_mean == pytest.approx(150.0)
    assert trend.columns.sessions()[0, 2] == 0.0


def test_an_effect_with_no_session_before_it_cannot_be_known():
    readings = rows(steady(150, DATES))
    trend = bpvet.fit_trend(records(readings, [drug("2025-12-01")]), "A1")
    assert not trend.courses[0].knowable
    stopped = drug("2025-12-01", stopped_on="2026-02-10")
    again = bpvet.fit_trend(records(readings, [stopped]), "A1")
    assert again.courses[0].knowable


def test_a_dose_change_adds_an_increment_and_the_spell_sums_both():
    readings = rows(steady(180, DATES[:2]) + steady(160, DATES[2:4]) + steady(150, DATES[4:]))
    given_twice = [
        drug("2026-02-08", dose="1", dose_unit="mg"),
        drug("2026-05-03", dose="2", dose_unit="mg"),
    ]
    trend = bpvet.fit_trend(records(readings, given_twice), "A1")
    assert [one.course.kind for one in trend.courses] == ["base", "increment"]
    assert len(trend.treatments) == 1
    total = sum(one.effect.mean for one in trend.courses)
    assert trend.treatments[0].effect.mean == pytest.approx(total)
    # Prior SDs by group: of the base's effect or, in the third, of the pressure under the drug.
    found = [form.sd[2:4].tolist() for form in trend.columns.forms]
    assert found == [[20.0, 15.0], [10.0, 15.0], [30.0, 15.0]]
    alone = replace(trend.priors, effect_sd=41.0)
    held = bpvet.fit_trend(records(readings, given_twice), "A1", priors=alone)
    assert [form.sd[2:4].tolist() for form in held.columns.forms] == [[41.0, 15.0]]


def test_taus_of_the_priors_are_used():
    readings = rows(steady(180, DATES[:2]) + steady(150, DATES[2:]))
    priors = bpvet.Priors.default("cat", "doppler")
    slow = bpvet.Priors(
        level=priors.level,
        slope_sd=2,
        effect_sd=40,
        increment_sd=15,
        sv=priors.sv,
        sr=priors.sr,
        sw=priors.sw,
        tau_days={"amlodipine": 30.0},
    )
    trend = bpvet.fit_trend(records(readings, [drug("2026-02-08")]), "A1", priors=slow)
    assert trend.courses[0].course.tau_days == 30.0


def test_summaries_and_bounds_add_no_reading_terms():
    whole = records(rows([("2026-01-10", [150, 152, 148])]))
    summary = records(
        [
            {
                "animal": "A1",
                "taken_at": "2026-01-10",
                "method": "doppler",
                "systolic_mean": 150,
                "systolic_n": 3,
            }
        ]
    )
    known, alone = bpvet.fit_trend(whole, "A1"), bpvet.fit_trend(summary, "A1")
    assert known.series.scatter_known.tolist() == [True]
    assert alone.series.scatter_known.tolist() == [False]
    sds = {"sv": 10.0, "sr": 7.0, "sw": 6.0}
    # By hand: −(k−1)/2·log(2π sr²) − log(k)/2 − S/(2 sr²), with k = 3 and S = 8.
    terms = -np.log(2 * np.pi * 49) - np.log(3) / 2 - 8 / 98
    gap = known.log_likelihood(**sds) - alone.log_likelihood(**sds)
    assert gap == pytest.approx(terms, abs=1e-9)
    bound = bpvet.fit_trend(records(rows([("2026-01-10", [290, "> 300", 296])])), "A1")
    assert bound.series.scatter_known.tolist() == [False]
    assert bound.series.bound.tolist() == ["at least"]


def test_oscillometric_quantities_each_have_a_trend():
    readings = [
        {
            "animal": "A1",
            "taken_at": date,
            "method": "oscillometric",
            "systolic": 150 + i,
            "diastolic": 90 - i,
            "mean": 112 + i,
            "heart_rate": 180 + 3 * i,
        }
        for date in DATES
        for i in range(4)
    ]
    held = records(readings)
    for quantity, about in {
        "systolic": 152,
        "diastolic": 88,
        "mean": 114,
        "heart_rate": 186,
        "pulse_pressure": 64,
    }.items():
        trend = bpvet.fit_trend(held, "A1", "oscillometric", quantity)
        assert trend.series.quantity == quantity
        assert abs(trend.latest.mean - about) < 10
    with pytest.raises(CallError, match="systolic"):
        bpvet.fit_trend(held, "A1", "doppler", "diastolic")


def test_both_methods_are_joined_only_when_asked():
    readings = rows(steady(150, DATES))
    readings += rows(steady(140, ["2026-04-01", "2026-06-01"]), method="oscillometric")
    held = records(readings)
    apart = bpvet.fit_trend(held, "A1", "doppler")
    assert not apart.bridged
    assert apart.series.y.size == 5
    joined = bpvet.fit_trend(held, "A1", bridge=("methods",))
    assert joined.bridged
    assert joined.series.y.size == 7
    (offset,) = joined.offsets.values()
    # No paired visit: the prior of the offset is N(0, 25²).
    assert joined.columns.forms[0].sd[-1] == 25.0
    assert offset.mean < 0
    expected = joined.next_session("2026-09-01", method="oscillometric")
    own = joined.next_session("2026-09-01", method="doppler")
    assert expected.mean - own.mean == pytest.approx(offset.mean, abs=1e-6)


def test_noise_held_fixed_must_be_three_positive_numbers():
    held = records(rows(steady(150, DATES)))
    trend = bpvet.fit_trend(held, "A1", fixed={"sv": 10, "sr": 7, "sw": 6})
    assert trend.latest.weights.size == 1
    with pytest.raises(CallError, match="sv, sr and sw"):
        bpvet.fit_trend(held, "A1", fixed={"sv": 10})


def test_dates_are_noons_and_times_are_times():
    trend = bpvet.fit_trend(records(rows(steady(150, DATES)), [drug("2026-07-31")]), "A1")
    noon = trend.at("2026-08-01").mean
    assert trend.at(np.datetime64("2026-08-01")).mean == noon
    assert trend.at(pd.Timestamp("2026-08-01")).mean == noon
    assert trend.at("2026-08-01T12:00").mean == noon
    assert trend.at("2026-08-01T00:00").mean != noon
    several = trend.at(["2026-08-01", "2026-08-02"])
    assert several.mean.shape == (2,)
    for wrong in ("soon", None, 5, "2026-13-01"):
        with pytest.raises(CallError):
            trend.at(wrong)


def test_a_frame_and_a_table_come_with_it():
    trend = bpvet.fit_trend(records(rows(steady(150, DATES))), "A1")
    frame = trend.to_frame()
    assert frame["observed"].tolist() == trend.series.y.tolist()
    assert (frame["lower"] < frame["mean"]).all()
    assert "usual on 2026-08-01" in repr(trend)
    assert trend._repr_html_().startswith("<table>")


def test_unknown_animals_are_suggested():
    with pytest.raises(CallError, match="A1"):
        bpvet.fit_trend(records(rows(steady(150, DATES))), "A11")


def test_the_newest_session_is_expected_as_the_earlier_ones_foretell_it():
    first, newest = [160.0, 152.0, 158.0, 149.0, 155.0], [171.0]
    middle = [(date, [150.0, 147.0, 155.0]) for date in DATES[1:4]]
    earlier = bpvet.fit_trend(records(rows([(DATES[0], first), *middle])), "A1", rule="all")
    told = [(DATES[0], first), *middle, (DATES[4], newest)]
    found = surprise(bpvet.fit_trend(records(rows(told)), "A1", rule="all"))
    # Of one reading as the newest is, not of five as the first was.
    one, five = (earlier.next_session(DATES[4], readings=k) for k in (1, 5))
    assert float(found.expected.mean) == pytest.approx(float(one.mean), abs=1e-9)
    assert float(found.expected.sd) == pytest.approx(float(one.sd), abs=1e-9)
    assert float(five.sd) < float(one.sd) - 0.5


def test_a_surprise_is_found_once_and_belongs_to_its_own_trend():
    trend = bpvet.fit_trend(records(rows(steady(150, DATES))), "A1")
    assert surprise(trend) is surprise(trend)
    higher = replace(trend, series=replace(trend.series, y=trend.series.y + 30))
    assert surprise(higher).observed == surprise(trend).observed + 30


def test_the_share_at_target_counts_every_day_from_the_first_session_to_the_latest():
    told = [("2026-01-10", [130.0] * 4), ("2026-01-12", [150.0] * 4), ("2026-01-13", [190.0] * 4)]
    trend = bpvet.fit_trend(records(rows(told)), "A1")
    days = ["2026-01-10", "2026-01-11", "2026-01-12", "2026-01-13"]
    each = [float(trend.at(day).below(152.0)) for day in days]
    assert share_at_target(trend, 152.0).expected == pytest.approx(np.mean(each), abs=1e-12)
    # The latest day counts as much as any other.
    assert abs(np.mean(each) - np.mean(each[:-1])) > 1e-3


def test_the_next_visit_comes_after_all_others():
    for count in (1, 2, 5):
        own = bpvet.fit_trend(records(rows(steady(150, DATES[:count]))), "A1")
        assert own.next_visit == count
    home = rows(steady(150, DATES), setting="home")
    assert bpvet.fit_trend(records(home), "A1").next_visit == -1


def test_a_trend_prints_in_a_few_lines():
    own = bpvet.fit_trend(records(rows(steady(150, DATES))), "A1")
    shown = repr(own)
    assert shown.startswith("systolic of A1 by doppler, clinic; 5 sessions")
    assert len(shown) < 1500
    assert "array(" not in shown
    assert "DataFrame" not in shown


@pytest.mark.parametrize("course", [[], [drug("2025-06-01")]])
def test_many_dates_at_once_are_each_as_it_is_alone(course):
    """Before the first session, between, on and after them, with a drug and without."""
    trend = bpvet.fit_trend(records(rows(_table(5, 6)), course), "A1")
    dates = np.arange(np.datetime64("2024-11-01"), np.datetime64("2026-10-01"), 3)
    many = trend.at(dates)
    for i in range(0, dates.size, 7):
        alone = trend.at(dates[i])
        np.testing.assert_allclose(many.means[i], alone.means, rtol=0, atol=1e-11)
        np.testing.assert_allclose(many.sds[i], alone.sds, rtol=1e-12)
