"""The arms shaped like published trials: what they draw, and that we are asked as ever."""

from __future__ import annotations

import numpy as np
import pytest

from reference_checks.coverage import measure
from reference_checks.coverage.animals import LATEST
from reference_checks.trials.arms import ARMS, Arm
from reference_checks.trials.check import HERE, published
from reference_checks.trials.drawing import animals_of
from reference_checks.trials.fitting import fitted
from reference_checks.trials.measure import (
    ANSWERS,
    VERDICTS,
    Held,
    default_priors,
    goals,
    row,
)
from reference_checks.trials.page import page


def arm(key: str) -> Arm:
    return next(one for one in ARMS if one.key == key)


def drawn(key: str, count: int = 3_000):
    return animals_of(arm(key), count, np.random.default_rng(1))


def test_severe_cats_are_as_their_trial_describes_them():
    cats = drawn("severe_1_2", 20_000)
    before = cats.usual - cats.effect_now
    assert before.mean() == pytest.approx(202.0, abs=0.5)
    assert cats.effect.mean() == pytest.approx(-49.0, abs=0.5)
    assert cats.effect.std() == pytest.approx(15.0, abs=0.3)
    # Independent of one another, they give the published pressures on treatment, 153 ± 22.
    assert cats.usual.std() == pytest.approx(np.hypot(17.0, 15.0), abs=1.5)
    assert set(np.unique(cats.day[:, LATEST - 2 : LATEST + 1])) == {-42, -28, 0}


def test_practice_reads_as_high_as_published():
    cats = drawn("clinics_untreated", 20_000)
    one_session = cats.y[:, LATEST - 3]
    assert np.median(one_session) == pytest.approx(150.0, abs=2.5)
    assert np.mean(one_session >= 180) == pytest.approx(0.21, abs=0.025)
    assert np.mean((one_session >= 160) & (one_session < 180)) == pytest.approx(0.186, abs=0.025)


@pytest.mark.parametrize("key", [one.key for one in ARMS if one.begun_at is not None])
def test_a_course_that_waits_for_a_high_day_begins_on_its_first(key):
    cats, high = drawn(key, 200), arm(key).begun_at
    assert high is not None
    for i in range(len(cats)):
        start = cats.start[i]
        assert cats.y[i, start] >= high
        earlier = cats.y[i, :start][cats.live[i, :start]]
        assert np.all(earlier < high)


@pytest.mark.parametrize("key", ["own", "severe_2_3", "clinics_untreated"])
def test_the_bench_asks_what_the_trend_says(key):
    cats, priors = drawn(key, 12), default_priors()
    own = {
        animal: measure.asked(columns, posterior)
        for animal, columns, posterior in measure.fitted(cats, priors)
    }
    seen = 0
    for rows, answers in fitted(cats, priors):
        at = np.full(len(rows), 150.0)
        for i, one in enumerate(answers):
            for place, animal in enumerate(rows):
                assert one.mean[place] == pytest.approx(own[animal].mean[i], abs=1e-3)
                below = own[animal].below(np.full(own[animal].means.shape[0], 150.0))[i]
                assert one.below(at)[place] == pytest.approx(below, abs=1e-3)
                seen += 1
    assert seen == len(cats) * (4 if arm(key).after else 3)


def test_a_wrong_verdict_and_a_narrow_interval_are_counted():
    n = 200
    below, error = np.full((n, 3), 0.5), np.ones((n, 3))
    below[:20, 0] = 0.99  # a tenth of the intervals miss the effect
    said, right = (np.zeros((n, len(VERDICTS)), dtype=bool) for _ in range(2))
    said[:50, 0] = True
    right[:30, 0] = True
    found = row(arm("null_old_1_160"), [Held(below, error, said, right)])
    assert found.cover[ANSWERS[0]].value == pytest.approx(0.9)
    assert found.said["has lowered"].value == pytest.approx(0.25)
    assert found.right["has lowered"].value == pytest.approx(0.6)
    assert found.false("has lowered").value == pytest.approx(0.1)
    kept = {words: ok for words, _, _, ok in goals(arm("null_old_1_160"), found)}
    assert list(kept.values()) == [True, False]


def test_every_published_arm_names_figures_and_the_page_is_of_its_numbers():
    told = published()
    assert set(told) == {one.key for one in ARMS}
    text = page([(one, told[one.key]) for one in ARMS], published("single"))
    for one in ARMS:
        assert text.count(f"| {one.words} |") >= 2
        assert one.facts or one.group == "own"
    kept = (HERE / "results.md").read_text(encoding="utf-8")
    numbers = [line for line in kept.splitlines() if line.startswith(("|", "- "))]
    assert numbers == [line for line in text.splitlines() if line.startswith(("|", "- "))]
