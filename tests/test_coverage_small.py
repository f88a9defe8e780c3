"""The simulated worlds of the published calibration: what they draw, and a small run of them."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from reference_checks.coverage.animals import (
    DRUG,
    LATEST,
    METHOD,
    SPECIES,
    Animals,
)
from reference_checks.coverage.check import HERE
from reference_checks.coverage.measure import ANSWERS, LEVELS, Held, asked, fitted, held
from reference_checks.coverage.summary import Line, lines
from reference_checks.coverage.worlds import (
    LONGEST_DAYS,
    WORLDS,
    World,
    cat_priors,
    noise,
    simulate,
)
from reference_checks.regression_to_the_mean.animals import Case, found

OWN = WORLDS[0]
MANY = 4_000


def drawn(world: World, animals: int = MANY, seed: int = 1) -> Animals:
    return simulate(world, animals, np.random.default_rng(seed))


@pytest.fixture(scope="module")
def small() -> Held:
    return held(OWN, 7, 300, cat_priors(), widths=False)


def test_own_world_is_covered_within_a_wide_band(small: Held) -> None:
    for line in lines([small]):
        for level, share in zip(LEVELS, line.cover, strict=True):
            error = np.sqrt(level * (1 - level) / line.animals)
            assert abs(share.value - level) < 4 * error, (line.answer, level)
        assert abs(line.bias.value) < 4 * line.bias.se, line.answer


def test_intervals_that_are_too_narrow_are_seen() -> None:
    own = cat_priors()
    sure = replace(own, sv=(own.sv[0] / 3, 0.05), sw=(own.sw[0] / 3, 0.05))
    usual = lines([held(OWN, 7, 150, sure, widths=False)])[0]
    assert usual.cover[-1].value < 0.85


def test_same_seed_same_animals_to_the_digit() -> None:
    once, again = (held(OWN, 3, 12, cat_priors(), widths=True) for _ in range(2))
    for name in ("below", "error", "width"):
        np.testing.assert_array_equal(getattr(once, name), getattr(again, name))
    other = held(OWN, 4, 12, cat_priors(), widths=False)
    assert not np.any(once.error[:, 0] == other.error[:, 0])


def test_simulated_series_is_what_records_give() -> None:
    # The same sessions written as readings and fitted through the front door.
    animals = drawn(OWN, 8, seed=5)
    treated = [i for i in range(8) if animals.start[i] >= 0]
    assert treated
    assert len(treated) < 8
    records = _records(animals)
    for i, columns, posterior in fitted(animals, cat_priors()):
        trend = bpvet.fit_trend(records, str(i), rule="all")
        answers = asked(columns, posterior)
        expected = [trend.latest, trend.next_session(trend.latest_date + 28), trend.slope]
        expected += [mix for one in trend.courses for mix in (one.effect, one.effect_now)]
        np.testing.assert_allclose(answers.mean, [one.mean for one in expected], atol=1e-8)
        np.testing.assert_allclose(answers.sd, [one.sd for one in expected], atol=1e-8)


def _records(animals: Animals) -> bpvet.Records:
    readings, treatments = [], []
    for i in range(len(animals)):
        one = animals.series(i, cat_priors().tau_of(DRUG))
        for date, y, ss, k in zip(one.date, one.y, one.ss, one.k, strict=True):
            # Any readings with this mean and sum of squares: one up, one down, the rest between.
            values = np.full(int(k), y)
            values[:2] += np.array([1, -1]) * np.sqrt(ss / 2)
            readings += [
                {"animal": str(i), "taken_at": str(date), "method": METHOD, "systolic": value}
                for value in values
            ]
        treatments += [
            {"animal": str(i), "drug": DRUG, "started_on": str(course.started_on)}
            for course in one.courses
        ]
    return bpvet.Records.from_frames(
        pd.DataFrame(readings),
        treatments=pd.DataFrame(treatments),
        animals=pd.DataFrame({"animal": [str(i) for i in range(len(animals))]}).assign(
            species=SPECIES
        ),
        as_of="2025-06-01",
    )


def test_records_are_of_a_realistic_size() -> None:
    animals = drawn(OWN)
    count = animals.live.sum(axis=1)
    assert (count.min(), count.max()) == (1, 14)
    first = np.where(animals.live, animals.day[:, : LATEST + 1], 0).min(axis=1)
    assert -LONGEST_DAYS <= first.min() < -LONGEST_DAYS + 30
    gaps = np.diff(animals.day[:, : LATEST + 1], axis=1)[animals.live[:, :-1]]
    assert gaps.min() >= 1
    treated = animals.start >= 0
    assert 0.4 < treated.mean() < 0.55
    # A course starts on the date of a session other than the latest.
    rows = np.flatnonzero(treated)
    assert animals.live[rows, animals.start[rows]].all()
    assert animals.start.max() == LATEST - 1


def test_own_world_follows_its_priors() -> None:
    animals, priors = drawn(OWN), cat_priors()
    error = 1 / np.sqrt(MANY)
    assert abs(animals.slope.std() / priors.slope_sd - 1) < 3 * error
    effect = animals.effect[~np.isnan(animals.effect)]
    assert abs(effect.std() / priors.effect_sd - 1) < 5 * error
    # Untreated usual pressure: level and wander, N(140, 35² + E sw²).
    usual = animals.usual[animals.start < 0]
    wander = priors.sw[0] ** 2 * np.exp(2 * priors.sw[1] ** 2)
    assert abs(usual.mean() - 140) < 3
    assert abs(usual.std() / np.hypot(35, np.sqrt(wander)) - 1) < 5 * error
    within = animals.ss[:, LATEST] / (animals.k[:, LATEST] - 1)
    assert abs(within.mean() / (priors.sr[0] ** 2 * np.exp(2 * priors.sr[1] ** 2)) - 1) < 0.1


def test_noise_has_one_sd_whatever_its_shape() -> None:
    rng = np.random.default_rng(2)
    assert abs(noise(None, (100_000,), rng).std() - 1) < 0.01
    heavy = noise(5.0, (100_000,), rng)
    assert abs(heavy.std() - 1) < 0.03
    assert np.mean(np.abs(heavy) > 4) > 10 * 6.3e-5


def test_the_rule_leaves_out_a_first_reading_that_is_high() -> None:
    plain, high = (
        drawn(World("w", "", high_reading=kind, high_by=1000.0)) for kind in ("", "first")
    )
    moved = high.y - plain.y > 1
    # Only sessions of three readings keep their first; no other session has three used of three.
    assert moved.any()
    np.testing.assert_allclose((high.y - plain.y)[moved], 1000 / 3)
    assert set(high.k[moved]) == {3.0}
    anywhere = drawn(World("w", "", high_reading="any", high_by=1000.0))
    assert np.mean(anywhere.y - plain.y > 1) > 0.7


@pytest.mark.parametrize("change", [{"step": 20.0}, {"home_share": 0.5}], ids=["step", "home"])
def test_what_is_unrecorded_moves_sessions_not_the_truth(
    change: dict[str, float],
) -> None:
    plain, moved = drawn(OWN), drawn(replace(OWN, **change))
    np.testing.assert_array_equal(plain.usual, moved.usual)
    shift = (moved.y - plain.y)[:, : LATEST + 1][plain.live]
    assert shift.mean() < -3
    # The session to come is in the clinic, after any step.
    if "step" in change:
        np.testing.assert_array_equal(moved.y[:, LATEST + 1], plain.y[:, LATEST + 1])


def test_sicker_are_seen_sooner() -> None:
    animals = drawn(replace(OWN, sicker_sooner=True))
    many = animals.live.sum(axis=1) > 3
    gap = -animals.day[many, LATEST - 1]
    assert np.corrcoef(animals.usual[many], gap)[0, 1] < -0.4


def test_treatment_begins_on_the_first_high_session() -> None:
    animals = drawn(replace(OWN, starts_when_high=True))
    rows = np.flatnonzero(animals.start >= 0)
    assert rows.size > 1000
    assert (animals.y[rows, animals.start[rows]] >= 160).all()
    for i in rows[:200]:
        first = LATEST + 1 - animals.live[i].sum()
        assert (animals.y[i, first : animals.start[i]] < 160).all()


def test_a_truly_slow_drug_has_done_less_by_the_latest_session() -> None:
    fast, slow = drawn(OWN), drawn(replace(OWN, true_tau_days=14.0))
    np.testing.assert_array_equal(fast.effect, slow.effect)
    treated = fast.start >= 0
    share = slow.effect_now[treated] / fast.effect_now[treated]
    assert ((share > 0) & (share <= 1)).all()
    assert share.min() < 0.5


def test_the_published_table_is_whole_and_holds_its_promise() -> None:
    published = json.loads((HERE / "results.json").read_text(encoding="utf-8"))["worlds"]
    assert list(published) == [world.key for world in WORLDS]
    for key, plain in published.items():
        of = [Line.from_plain(one) for one in plain]
        assert [line.answer for line in of] == list(ANSWERS)
        assert of[0].animals >= (10_000 if key == "own" else 2_000)
    for line in map(Line.from_plain, published["own"]):
        assert 0.94 <= line.cover[-1].value <= 0.96, line.answer


def test_plain_differences_flatter_a_null_drug_and_the_model_does_not() -> None:
    answers = found(Case(1, "cat"), 150, seed=9)
    assert answers.naive.mean() < -7
    np.testing.assert_array_equal(answers.naive, answers.naive_high)
    assert abs(answers.model.mean()) < 4 * answers.model.std() / np.sqrt(150)
    with_wrong_priors = found(Case(1, "dog", fitted_without=True), 150, seed=9)
    assert with_wrong_priors.model.mean() < -4
