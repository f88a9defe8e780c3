"""Plans against plain dense algebra, against animals made up and fitted, and by what must hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.further_visits import fewest_further, further
from bpvet.models.plan.plan import plan
from bpvet.models.plan.schedule import MOST_VISITS, Precision, Schedule
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.posteriors import posteriors
from reference_checks.planning.realised import columns_of, drawn, new_animals
from reference_checks.trials.arms import Arm, own_groups
from reference_checks.trials.drawing import animals_of
from tests.maths.cases import case
from tests.maths.dense import Case, _means_part
from tests.models.small_records import drug, records, rows, steady

CAT = Priors.default("cat", "doppler")
DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]


def fixed(priors: Priors) -> Priors:
    """The priors with noise SDs that are known, nearly."""
    return replace(
        priors,
        **{name: (getattr(priors, name)[0], 1e-6) for name in ("sv", "sr", "sw")},
    )


def dense_sds(one: Case, ask, row) -> tuple[np.ndarray, np.ndarray]:
    """SDs of one asked thing on an even grid of the three log-SDs, and the prior's weights."""
    # Steps of one SD: exact to eight digits for what is smooth under a normal weight.
    z = np.arange(-7.0, 8.0)
    grid = np.meshgrid(z, z, z, indexing="ij")
    weight = np.exp(-0.5 * sum(part**2 for part in grid)).ravel()
    sv, sr, sw = (
        pair[0] * np.exp(pair[1] * part.ravel())
        for pair, part in zip((one.sv, one.sr, one.sw), grid, strict=True)
    )
    _, _, variance = _means_part(one, sv, sr, sw, np.array([ask]), np.array([row]))
    return np.sqrt(variance[:, 0]), weight / weight.sum()


def within(sds: np.ndarray, weight: np.ndarray, half_width: float) -> float:
    return float(weight @ (2 * ndtr(half_width / sds) - 1))


def test_where_visits_tell_next_to_nothing_no_fall_is_large_enough():
    held = plan(replace(CAT, sv=(2000.0, 1e-6)), 4)
    assert held.effect is not None
    assert held.fall_seen() is None


def test_a_table_is_of_one_three_five_and_ten_readings():
    assert plan(CAT, 2).table((1,))["readings"].tolist() == [1, 3, 5, 10]


def test_before_any_visit_level_and_wander_are_all_that_is_not_known():
    known = fixed(CAT)
    by_hand = np.hypot(known.level[1], known.sw[0])
    assert plan(known, 4).usual.sd_before == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize(("visits", "readings", "gap"), [(1, 5, 7), (3, 1, 30), (6, 4, 14)])
def test_usual_value_and_slope_agree_with_dense_algebra(visits, readings, gap):
    day = np.arange(visits) * float(gap)
    one = case(day, [[140.0] * readings] * visits)
    held = plan(CAT, visits, readings, gap)
    usual, weight = dense_sds(one, day[-1], [1.0, 0.0, 0.0])
    slope, _ = dense_sds(one, np.nan, [0.0, 1.0, 0.0])
    assert held.usual.sd == pytest.approx(np.sqrt(weight @ usual**2), rel=1e-5)
    assert held.slope.sd == pytest.approx(np.sqrt(weight @ slope**2), rel=1e-5)
    assert within(usual, weight, held.usual.half_width) == pytest.approx(0.95, abs=2e-4)


@pytest.mark.parametrize(("visits", "before", "tau"), [(2, 1, 3.0), (5, 3, 5.0), (8, 2, 20.0)])
def test_effect_agrees_with_dense_algebra(visits, before, tau):
    day = np.arange(visits) * 7.0
    course = (day[before - 1], None, tau, 40.0)
    one = case(day, [[140.0] * 3] * visits, [course])
    held = plan(CAT, visits, 3, 7, before=before, tau_days=tau, level=0.8).effect
    assert held is not None
    sds, weight = dense_sds(one, np.nan, [0.0, 0.0, 1.0, 0.0])
    assert held.sd == pytest.approx(np.sqrt(weight @ sds**2), rel=1e-5)
    assert within(sds, weight, held.half_width) == pytest.approx(0.8, abs=2e-4)
    assert held.sd_before == 40.0


def test_a_plan_by_hand():
    # No slope, wander, excitement or doubt of the noise: m means of variance 11² + 7²/4.
    priors = replace(fixed(CAT), first_visit=None, slope_sd=1e-6, sw=(1e-4, 1e-6))
    held = plan(priors, 6, 4, 7)
    by_hand = 1 / np.sqrt(1 / 35**2 + 6 / (11**2 + 7**2 / 4))
    assert held.usual.sd == pytest.approx(by_hand, rel=1e-6)
    assert held.usual.half_width == pytest.approx(1.959964 * by_hand, rel=1e-5)
    assert held.ordinary.sd == pytest.approx(held.usual.sd, rel=1e-9)


def test_given_the_noise_the_readings_do_not_matter():
    schedule = Schedule(5, 3, 10, 2)
    animals = drawn(CAT, schedule, 3, 7, (-20.0, 5.0))
    columns = [columns_of(one, CAT, grouped=False) for one in animals.series]
    held = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
    fits = posteriors(animals.series, [(CAT,)] * 3, columns, held)
    expected = plan(fixed(CAT), 5, 3, 10).effect
    for own, fit in zip(columns, fits, strict=True):
        sd = fit.combination(own.unit("course 0")).sd
        assert sd == pytest.approx(expected.sd, rel=1e-5)


def test_animals_fitted_without_knowing_their_noise_come_near_the_plan():
    held = plan(CAT, 4)
    found = new_animals(CAT, Schedule(4, 5, 7), 300)
    assert 0.97 < found.sd / held.usual.sd < 1.08
    assert 0.94 < found.half_width / held.usual.half_width < 1.04
    assert found.coverage > 0.91


@settings(max_examples=15, deadline=None)
@given(
    st.integers(1, 12),
    st.integers(1, 8),
    st.integers(1, 60),
    st.sampled_from(["cat", "dog", ""]),
    st.booleans(),
)
def test_more_visits_and_more_readings_never_know_less(visits, readings, gap, species, new):
    priors = Priors.default(species, "oscillometric")
    priors = priors if new else replace(priors, first_visit=None)
    held = plan(priors, visits, readings, gap)
    for more in (plan(priors, visits + 1, readings, gap), plan(priors, visits, readings + 1, gap)):
        for name in ("usual", "slope"):
            now, then = getattr(held, name), getattr(more, name)
            assert then.sd <= now.sd * (1 + 1e-9)
            assert then.half_width <= now.half_width * (1 + 1e-9)
        assert more.usual.sd < more.usual.sd_before
    assert held.usual_after(visits) == held.usual


def test_what_seven_weekly_visits_come_to():
    held = plan(CAT, 7)
    assert held.usual.half_width == pytest.approx(13.57, abs=0.01)
    assert held.ordinary.half_width == pytest.approx(11.08, abs=0.01)
    # Beyond five readings a visit nothing is gained.
    assert plan(CAT, 7, 50).usual.half_width > 0.97 * held.usual.half_width


def test_fewest_visits():
    held = plan(CAT)
    count = held.fewest_visits(15.0)
    assert held.usual_after(count).half_width <= 15.0 < held.usual_after(count - 1).half_width
    assert held.fewest_visits(100.0) == 1
    assert held.fewest_visits(10.0) is None
    assert held.usual_after(MOST_VISITS).half_width > 10.0


def test_one_visit_tells_nothing_of_a_drug():
    held = plan(CAT, 1)
    assert held.effect is None
    assert held.chance_seen(50.0) is None
    assert held.fall_seen() is None
    assert "drug" not in repr(held)


def test_the_chance_of_the_verdict_is_that_of_animals_fitted():
    priors, fall, count = fixed(CAT), 30.0, 400
    held = plan(priors, 6)
    animals = drawn(priors, held.schedule, count, 11, (-fall, 0.0))
    columns = [columns_of(one, priors, grouped=False) for one in animals.series]
    noise = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
    fits = posteriors(animals.series, [(priors,)] * count, columns, noise)
    lowered = [
        fit.combination(own.unit("course 0")).below(-10.0) >= 0.9
        for own, fit in zip(columns, fits, strict=True)
    ]
    chance = held.chance_seen(fall)
    assert np.mean(lowered) == pytest.approx(chance, abs=3.5 * np.sqrt(0.25 / count))


def test_the_fall_that_is_seen():
    held = plan(CAT, 8)
    fall = held.fall_seen(0.8)
    assert held.chance_seen(fall) == pytest.approx(0.8, abs=1e-9)
    assert held.chance_seen(0.0) < 0.05
    assert fall < plan(CAT, 4).fall_seen(0.8)


def test_table_and_print():
    held = plan(CAT, 4)
    table = held.table((1, 4), (5,))
    assert list(table["visits"]) == [1, 4]
    assert np.isnan(table.loc[0, "effect_sd"])
    row = table.loc[1]
    for name in ("usual", "effect", "slope"):
        part: Precision = getattr(held, name)
        assert (row[f"{name}_sd"], row[f"{name}_half_width"]) == (part.sd, part.half_width)
    assert "full effect of a drug started after visit 2" in repr(held)
    assert held._repr_html_().startswith("<table>")


@pytest.mark.parametrize(
    "wrong",
    [
        {"visits": 0},
        {"visits": MOST_VISITS + 1},
        {"visits": 2.5},
        {"visits": float("nan")},
        {"readings": 0},
        {"every_days": 0},
        {"every_days": 0.5},
        {"before": 4},
        {"before": 0},
        {"tau_days": 0.0},
        {"level": 1.0},
    ],
)
def test_what_cannot_be_planned_is_refused(wrong):
    with pytest.raises(CallError):
        plan(CAT, **wrong)


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_half_widths_that_cannot_be_asked_for(wrong):
    with pytest.raises(CallError):
        plan(CAT).fewest_visits(wrong)


def _trend(**more):
    return fit_trend(records(rows(steady(150, DATES)), [drug("2026-03-14")]), "A1", **more)


def test_further_visits_agree_with_dense_algebra():
    held = {"sv": 9.0, "sr": 5.0, "sw": 8.0}
    # One normal prior: dense algebra knows no groups.
    trend = _trend(fixed=held, priors=replace(CAT, groups=None))
    day = np.concatenate([trend.columns.day, [14.0, 28.0, 42.0]])
    start = float((np.datetime64("2026-03-14") - trend.latest_date) / np.timedelta64(1, "D"))
    # Six readings were taken and the first left out; further visits hold three that count.
    one = case(day, [[150.0] * 5] * 5 + [[150.0] * 3] * 3, [(start, None, 3.0, 40.0)])
    # The slope is counted from the latest session that was made.
    one.design[:, 1] = day / 30
    share = 1 - np.exp(-(42.0 - start) / 3.0)
    ask, asked = np.array([42.0, np.nan, np.nan]), [[1, 1.4, share, 0], [0, 1, 0, 0], [0, 0, 1, 0]]
    noise = (np.array([held[name]]) for name in ("sv", "sr", "sw"))
    _, _, variance = _means_part(one, *noise, ask, np.array(asked))
    found = further(trend, 3, 3, 14)
    sds = [found.usual.sd, found.slope.sd, found.effects[0][1].sd]
    np.testing.assert_allclose(sds, np.sqrt(variance[0]), rtol=1e-9)
    assert found.usual.half_width == pytest.approx(1.959964 * found.usual.sd, rel=1e-6)


def test_further_visits_with_noise_to_be_found():
    trend = _trend()
    found = further(trend, 4)
    assert found.usual.sd_before == trend.latest.sd
    assert further(trend, 8).usual.sd < found.usual.sd < trend.latest.sd
    assert further(trend, 4, 10).usual.sd < found.usual.sd
    spell, effect = found.effects[0]
    assert spell is trend.treatments[0]
    assert effect.sd <= effect.sd_before


def _beyond_the_gauge():
    """A treated animal, read beyond the gauge when the drug was begun."""
    sessions = [
        *steady(180, ["2026-05-01"]),
        ("2026-09-26", [288.0, "> 300", 290.0, "> 300", 284.0]),
        *steady(230, ["2026-09-29"]),
    ]
    return fit_trend(records(rows(sessions), [drug("2026-09-26")]), "A1")


def test_further_visits_of_an_animal_beyond_the_gauge():
    trend = _beyond_the_gauge()
    found = further(trend, 4, 4, 7)
    assert found.usual.half_width < 0.75 * float(np.ptp(trend.latest.interval(0.95))) / 2
    assert found.effects[0][1].sd < float(trend.treatments[0].effect.sd)
    assert found.usual.half_width > further(trend, 8, 4, 7).usual.half_width


def test_further_visits_of_treated_animals_come_to_what_was_planned():
    """Animals of the three groups, begun at 180 or more, fitted before and after four visits."""
    arm = Arm("", "", "own", own_groups, (0,), (14, 21, 28, 35, 42), begun_at=180.0)
    animals = animals_of(arm, 25, np.random.default_rng(5))
    live = np.flatnonzero(animals.live[0])
    day = np.datetime64("2026-08-01")
    planned, came = [], []
    for i in range(len(animals)):
        about = np.array([-1.5, -0.5, 0.5, 1.5]) / np.sqrt(5)
        taken = [
            (
                str(day + int(animals.day[i, one] + 42)),
                # The rule leaves the first of five readings out.
                [animals.y[i, one], *(animals.y[i, one] + about * np.sqrt(animals.ss[i, one]))],
            )
            for one in live
        ]
        before, after = (
            fit_trend(records(rows(some), [drug(str(day))]), "A1") for some in (taken[:2], taken)
        )
        planned.append(further(before, 4, 4, 7).usual.half_width)
        came.append(float(np.ptp(after.latest.interval(0.95))) / 2)
    assert np.mean(planned) == pytest.approx(np.mean(came), rel=0.1)


def test_fewest_further_visits():
    trend = _trend()
    low, high = trend.latest.interval(0.95)
    now = (high - low) / 2
    assert fewest_further(trend, now + 0.01) == 0
    count = fewest_further(trend, 0.8 * now)
    assert count is not None
    assert further(trend, count).usual.half_width <= 0.8 * now
    if count > 1:
        assert further(trend, count - 1).usual.half_width > 0.8 * now
    assert fewest_further(trend, 0.5) is None
    with pytest.raises(CallError):
        fewest_further(trend, 0.0)
    with pytest.raises(CallError):
        further(trend, 0)


def test_a_drug_that_acts_within_a_day_can_be_planned_for():
    quick, slow = (plan(CAT, before=3, tau_days=tau).effect for tau in (0.5, 14.0))
    assert quick.half_width < slow.half_width
