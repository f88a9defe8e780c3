"""Other priors on the trial arms: mixtures of single fits are the bench's own answers."""

from __future__ import annotations

import numpy as np
import pytest

from reference_checks.trials import priors as other
from reference_checks.trials.arms import ARMS, practice
from reference_checks.trials.components import DEFAULT, DEFAULT_WEIGHTS, Component, Fits, fits
from reference_checks.trials.measure import default_priors, held
from reference_checks.trials.populations import POPULATIONS
from reference_checks.trials.priors_page import page


def arm(key):
    return next(one for one in ARMS if one.key == key)


def made(mean, fall, effect):
    mean = np.asarray(mean, dtype=float)
    n, k = mean.shape
    return Fits(
        np.zeros((n, k)), mean, np.asarray(fall, float), np.full((n, k, 3), 0.5), np.array(effect)
    )


@pytest.mark.parametrize("key", ["severe_1_2", "null_practice_3_160"])
def test_weighed_components_are_the_bench_s_default(key):
    found = fits(arm(key), 0, 12, DEFAULT)
    bench = held(arm(key), 0, 12, default_priors())
    share = found.shares(DEFAULT_WEIGHTS)
    error = np.sum(share * found.mean, axis=1) - found.effect
    np.testing.assert_allclose(error, bench.error[:, 0], atol=1e-9)
    below = np.einsum("nk,nka->na", share, found.below)
    np.testing.assert_allclose(below, bench.below, atol=1e-9)
    said = np.sum(share * found.fall, axis=1) >= 0.9
    np.testing.assert_array_equal(said, bench.said[:, 0])


def test_a_component_s_excitement_and_visit_factor_are_taken():
    plain = fits(arm("severe_1_2"), 0, 6, DEFAULT[:1])
    for other_one in (
        Component(DEFAULT[0].level, DEFAULT[0].effect, first=(20.0, 8.0)),
        Component(DEFAULT[0].level, DEFAULT[0].effect, visit_lsd=1.0),
    ):
        assert np.all(fits(arm("severe_1_2"), 0, 6, [other_one]).mean != plain.mean)


def test_false_verdicts_and_bias_of_a_mixture_by_hand():
    found = made([[-40, 0], [-20, 0]], [[1.0, 0.0], [0.95, 0.0]], [0.0, -20.0])
    told = other.told(found, np.array([0.5, 0.5]))
    assert told.bias.value == pytest.approx(-5.0)
    assert told.false.value == 0.0
    told = other.told(found, np.array([1.0, 0.0]))
    assert told.bias.value == pytest.approx(-20.0)
    assert told.false.value == 0.5
    misses = dict(other.misses(arm("null_old_1_160"), told))
    assert misses == {"bias": pytest.approx(16.0), "false verdicts": pytest.approx(47.0)}


def test_the_search_finds_the_weights_that_miss_nothing():
    # The second component alone is right in every arm; the first is 30 mmHg off.
    arms = [one for one in other.KNOWN if one.group == "null"]
    of = {one.key: made([[-30, 0]] * 40, [[1.0, 0.0]] * 40, [0.0] * 40) for one in arms}
    found = other.search(of, [[(0, 1.0)], [(1, 1.0)]], {0: 1.0}, 2, arms)
    assert other.penalty(of, [0, 1], found, arms) == 0.0
    assert found[1] > 0.8


def test_populations_have_the_levels_of_the_arms():
    level = practice(0.0)(50_000, np.random.default_rng(2))[0]
    parts = POPULATIONS["practice, no effect"]
    mean = sum(share * one.level[0] for one, share in parts)
    square = sum(share * (one.level[0] ** 2 + one.level[1] ** 2) for one, share in parts)
    assert mean == pytest.approx(level.mean(), abs=0.5)
    assert np.sqrt(square - mean**2) == pytest.approx(level.std(), abs=0.5)
    for parts in POPULATIONS.values():
        assert sum(share for _, share in parts) == pytest.approx(1.0)


def test_the_page_is_of_the_published_numbers():
    kept = (other.HERE / "priors.md").read_text(encoding="utf-8")
    assert kept == page(*other.published())
    for one in other.TREATED:
        assert f"| {one.words} |" in kept
