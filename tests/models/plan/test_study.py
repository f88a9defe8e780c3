"""Sizes of studies: what is drawn is what is fitted, and what must hold of any power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.plan import plan
from bpvet.models.plan.sample_size import formula_animals, formula_power, plain_change
from bpvet.models.plan.study import Arms, study
from bpvet.models.trend.posteriors import posteriors
from reference_checks.planning.realised import columns_of, drawn

CAT = Priors.default("cat", "doppler")
KNOWN = replace(CAT, sv=(11.0, 1e-6), sr=(7.0, 1e-6), sw=(6.0, 1e-6))


def test_a_power_by_hand():
    # Without an effect the power is the level itself; the published 64 an arm for half an SD.
    assert formula_power(0.0, 1.0, 10, 0.05) == pytest.approx(0.05, abs=1e-12)
    assert formula_animals(0.5, 1.0, 0.8) == 64
    assert formula_animals(-0.5, 1.0, 0.8) == 64
    assert formula_power(0.5, 1.0, 63) < 0.8 <= formula_power(0.5, 1.0, 64)
    assert formula_animals(100.0, 1.0) == 2


def test_more_animals_than_any_study_has_are_refused():
    # The normal formula: 2·((1.96 + 1.28) / 0.05)² = 8 406 an arm.
    with pytest.raises(CallError, match="more than 5000 animals"):
        formula_animals(0.05, 1.0)


def test_estimates_drawn_are_those_of_animals_fitted():
    count, own = 800, plan(KNOWN, 4)
    arms = Arms.of(own, 20.0, 15.0, seed=1)
    animals = drawn(KNOWN, own.schedule, count, 5, (20.0, 15.0))
    columns = [columns_of(one, KNOWN, grouped=False) for one in animals.series]
    noise = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
    fits = posteriors(animals.series, [(KNOWN,)] * count, columns, noise)
    found = np.array([
        fit.combination(one.unit("course 0")).mean
        for one, fit in zip(columns, fits, strict=True)
    ])  # fmt: skip
    assert found.mean() == pytest.approx(arms.difference, abs=3.5 * arms.sd / np.sqrt(count))
    assert found.std() == pytest.approx(arms.sd, rel=3.5 / np.sqrt(2 * count))
    made = arms.estimates(20.0, (200, 100), np.random.default_rng(3))
    assert made.mean() == pytest.approx(arms.difference, abs=3.5 * arms.sd / np.sqrt(20_000))
    assert made.std() == pytest.approx(arms.sd, rel=3.5 / np.sqrt(40_000))


def test_plain_changes_are_those_of_animals_drawn():
    count, own = 3000, plan(CAT, 5, 4, 14, before=2, tau_days=10.0)
    share, sd = plain_change(own)
    # Visits 14, 28 and 42 days after the first dose.
    assert share == pytest.approx(np.mean(1 - np.exp(-np.array([14, 28, 42]) / 10)))
    animals = drawn(CAT, own.schedule, count, 9, (30.0, 0.0))
    changes = np.array([one.y[2:].mean() - one.y[:2].mean() for one in animals.series])
    # Getting used to visits lowers the later ones, in both arms alike.
    loading = np.exp(-np.arange(5) / 1.5)
    habit = 5.0 * (loading[2:].mean() - loading[:2].mean())
    assert changes.mean() == pytest.approx(30 * share + habit, abs=3.5 * sd / np.sqrt(count))
    assert changes.std() == pytest.approx(sd, rel=0.06)


def test_simulated_power_is_the_noncentral_t_where_animals_are_alike():
    found = plan(KNOWN, 4).study(15.0, animals=30)
    expected = formula_power(found.difference, found.sd, 30)
    assert found.power == pytest.approx(expected, abs=3.5 * found.power_error)
    assert found.power_error == pytest.approx(np.sqrt(found.power * (1 - found.power) / 4000))


def test_arms_that_do_not_differ_are_found_to_at_the_level():
    found = plan(CAT, 4).study(1e-9, animals=25, significance=0.1)
    assert found.power == pytest.approx(0.1, abs=3.5 * np.sqrt(0.09 / 4000))


def test_the_fewest_animals_reach_the_power_and_fewer_do_not():
    own = plan(CAT, 4)
    found = study(own, 15.0, 0.9)
    low, high = found.animals_range
    assert low <= found.animals <= high
    assert high - low < 0.2 * found.animals
    assert found.power >= 0.9
    assert own.study(15.0, animals=low - 2).power < 0.9
    # Known noise weighs the animals, and a prior steadies them: fewer than plain changes need.
    assert found.animals < found.formula.animals
    assert found.formula.power == pytest.approx(
        formula_power(found.formula.difference, found.formula.sd, found.formula.animals)
    )


def test_the_same_seed_gives_the_same_answer():
    own = plan(CAT, 4)
    one, two, other = (own.study(20.0, seed=seed) for seed in (1, 1, 2))
    assert (one.animals, one.power) == (two.animals, two.power)
    assert one.power != other.power
    assert own.study(-20.0).animals == one.animals


def test_what_makes_a_study_larger():
    own = plan(CAT, 6)
    animals = own.study(15.0).animals
    assert own.study(10.0).animals > animals
    assert own.study(15.0, 0.97).animals > animals
    assert own.study(15.0, response_sd=25.0).animals > animals
    assert own.study(15.0, significance=0.01).animals > animals
    assert plan(CAT, 2).study(15.0).animals > animals


def test_print():
    said = repr(plan(CAT, 4).study(15.0))
    assert "estimated effects" in said
    assert "4000 studies" in said
    found = plan(CAT, 4).study(15.0, animals=9)
    shown = found._repr_html_()
    assert shown.startswith("<table>")
    for difference in (found.difference, found.formula.difference):
        assert f">{difference:.1f}<" in shown


@pytest.mark.parametrize(
    ("effect", "more"),
    [
        (0.0, {}),
        (float("nan"), {}),
        (15.0, {"power": 1.0}),
        (15.0, {"power": 0.05}),
        (15.0, {"animals": 1}),
        (15.0, {"animals": 5001}),
        (15.0, {"response_sd": -1.0}),
        (15.0, {"replicates": 0}),
        (0.5, {}),
    ],
)
def test_studies_that_cannot_be_are_refused(effect, more):
    with pytest.raises(CallError):
        plan(CAT, 4).study(effect, **more)


def test_a_study_of_one_visit_is_refused():
    with pytest.raises(CallError, match="two visits"):
        study(plan(CAT, 1), 15.0)
