"""Learning a clinic's priors: the score against differences of the likelihood itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.facts.priors.groups import PriorGroup
from bpvet.facts.priors.priors import Priors
from bpvet.models.trend import learning
from bpvet.models.trend.learnable import choices
from bpvet.models.trend.learning import _likelihood
from bpvet.visits.series import all_series

CAT = Priors.default("cat", "doppler")


def clinic(animals: int, seed: int, treated: float = 0.5, fading: float = 1.5) -> bpvet.Records:
    """An invented clinic of cats; part of them are treated, as the groups have it."""
    rng = np.random.default_rng(seed)
    readings, treatments = [], []
    for a in range(animals):
        day = np.sort(rng.choice(np.arange(0, 400, 7), size=rng.integers(3, 8), replace=False))
        under = rng.random() < treated
        high = rng.random() < 0.4
        level = rng.normal(200, 40) if under and high else rng.normal(130, 16)
        effect = rng.normal(150, 30) - level if under and high else rng.normal(0, 20)
        if under:
            start = np.datetime64("2025-01-01") + int(day[1])
            treatments.append({"animal": f"a{a}", "drug": "amlodipine", "started_on": str(start)})
        for j, at in enumerate(day):
            usual = level + (effect * -np.expm1(-(at - day[1]) / 3.0) if under and j > 1 else 0.0)
            visit = usual + 20 * np.exp(-j / fading) + rng.normal(0, 11)
            readings += [
                (f"a{a}", str(np.datetime64("2025-01-01") + int(at)), "doppler",
                 round(visit + rng.normal(0, 7)), i + 1)
                for i in range(4)
            ]  # fmt: skip
    frame = pd.DataFrame(readings, columns=["animal", "taken_at", "method", "systolic", "reading"])
    animals_table = pd.DataFrame({"animal": frame["animal"].unique(), "species": "cat"})
    drugs = pd.DataFrame(treatments) if treatments else None
    return bpvet.Records.from_frames(
        frame, animals=animals_table, treatments=drugs, as_of="2026-11-01"
    )


def test_the_score_is_the_slope_of_the_likelihood():
    series = list(all_series(clinic(12, 3)).values())
    first = [""] * len(series)
    parts = choices(CAT, level=True, groups=True, first_visit=True)
    vector = np.concatenate([part.packed(CAT) for part in parts])
    edges = np.cumsum([0, *(part.pull.size for part in parts)])

    def at(moved):
        held = CAT
        for part, a, b in zip(parts, edges, edges[1:], strict=False):
            held = part.unpacked(moved[a:b], held)
        return _likelihood(series, first, held, parts)

    _, gradient = at(vector)
    for i in range(vector.size):
        step = np.zeros(vector.size)
        step[i] = 1e-3 * max(1.0, abs(vector[i]))
        slope = (at(vector + step)[0] - at(vector - step)[0]) / (2 * step[i])
        assert gradient[i] == pytest.approx(slope, rel=0.01, abs=0.01)


def test_the_first_visit_is_pulled_as_a_normal_mean_is(monkeypatch):
    """Animals that tell it as sharply as the pull does end halfway between: the conjugate mean."""
    series = list(all_series(clinic(1, 3)).values())
    (first,) = choices(CAT, level=False, groups=False, first_visit=True)[2:]
    spread = np.array([CAT.first_visit[1], 0.5])
    told = first.packed(CAT) + np.array([12.0, 0.6])

    def likelihood(series, before, priors, parts):
        off = (parts[0].packed(priors) - told) / spread
        return -off @ off / 2, -off / spread

    monkeypatch.setattr(learning, "_likelihood", likelihood)
    found = learning._maximised(series, [""], [first], CAT)
    halfway = first.packed(CAT) + np.array([6.0, 0.3])
    np.testing.assert_allclose(first.packed(found), halfway, atol=1e-3)


@pytest.mark.parametrize(("treated", "free"), [(0.0, True), (1.0, False)])
def test_the_level_is_free_where_enough_animals_are_untreated(monkeypatch, treated, free):
    kept = []

    def maximised(series, before, parts, start):
        kept.extend(parts)
        return start

    monkeypatch.setattr(learning, "_maximised", maximised)
    monkeypatch.setattr(learning, "_fading", lambda *_: 1.5)
    bpvet.learn_priors(clinic(32, 4, treated=treated), rule="all")
    assert np.isinf(kept[0].pull).all() == free


def test_groups_and_the_first_visit_are_learned_from_enough_animals():
    table = bpvet.learn_priors(clinic(66, 5, treated=0.6, fading=3.0), rule="all", name="invented")
    own = table["cat", "doppler", "systolic"]
    groups = own.groups
    assert groups is not None
    assert groups.beside == (own.level, own.effect_sd)
    assert groups.parts[0].weight != 0.60
    assert sum(one.weight for one in groups.parts) == pytest.approx(1)
    assert own.first_visit is not None
    assert own.first_visit[0] > 12
    assert own.first_visit_fading > 1.5


def test_with_few_treated_animals_the_groups_stay():
    own = bpvet.learn_priors(clinic(40, 6, treated=0.2), rule="all")["cat", "doppler", "systolic"]
    assert own.groups is not None
    assert own.groups.parts == CAT.groups.parts
    assert own.level != CAT.level


def test_learned_groups_are_used_for_treated_animals():
    moved = replace(CAT.groups, parts=(PriorGroup(1.0, (120.0, 10.0), effect_sd=5.0),))
    records = clinic(4, 7, treated=1.0)
    trends = bpvet.fit_trends(records, priors=replace(CAT, groups=moved), progress=False)
    assert {len(one.columns.forms) for one in trends.values()} == {1}
    assert {one.columns.forms[0].sd[0] for one in trends.values()} == {10.0}
