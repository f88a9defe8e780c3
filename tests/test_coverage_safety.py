"""The simulated clinics behind the published urgent lines and visits a year."""

from __future__ import annotations

import json
from collections import Counter

import numpy as np
import pytest

from bpvet.visits.urgency import RULES
from reference_checks.coverage.alarms import Block, budget, cost, delays, urgent_from
from reference_checks.coverage.clinic import UNREAD, WEAK, Diary, Visit, visits
from reference_checks.coverage.patients import TRUE_RANGE, World, patients
from reference_checks.coverage.safety_page import GOALS, judged
from reference_checks.coverage.safety_run import HERE, WORLDS, with_sections

STEADY = World("steady", "steady", "steady", wordy=True)
RISING = World("rising", "rising", "steady", events=True)
CLINIC = World("clinic", "clinic", "mixed")


def followed(world: World, animals: int, days: int, every: int | None = None) -> Block:
    of = patients(world, animals, days + 400, np.random.default_rng(4))
    return of, visits(world, of, days, np.random.default_rng(5), every=every)


@pytest.fixture(scope="module")
def steady() -> Block:
    return followed(STEADY, 12, 150)


def test_steady_animals_are_truly_at_120_to_150() -> None:
    of = patients(STEADY, 300, 400, np.random.default_rng(1))
    on_drug = np.where(of.treated, of.response, 0.0)
    usual = of.path - on_drug[:, None]
    low, high = TRUE_RANGE
    assert low < usual.mean() < high
    assert 0.75 < np.mean((usual >= low) & (usual <= high)) < 0.95
    assert of.treated.mean() == 0.5
    assert 0 < of.reaction.sum() < of.treated.sum()


def test_an_animal_comes_when_the_rule_asks(steady: Block) -> None:
    of, found = steady
    for animal in range(len(of)):
        own = [one for one in found if one.animal == animal]
        assert [one.number for one in own] == list(range(len(own)))
        assert [one.day for one in own] == [0, *np.cumsum([one.wait for one in own])[:-1]]
        assert own[-1].day + own[-1].wait > 150
        assert all(one.state for one in own)
    # A drug that has just begun is looked at within the week that the table asks for.
    first = [one for one in found if one.day == 0 and of.treated[one.animal] and not one.rules]
    assert first
    assert {(one.state, one.wait) for one in first} <= {("changed", 8), ("severe", 8)}


def test_same_seed_same_visits(steady: Block) -> None:
    assert followed(STEADY, 12, 150)[1] == steady[1]


def test_words_are_unread_unclear_or_weak() -> None:
    from bpvet.facts.signs.signs import read_sign

    read = {word: read_sign(word, "") for word in UNREAD + WEAK}
    for word in UNREAD:
        assert {one.reading for one in read[word]} & {"unread", "unclear"}, word
    for word in WEAK:
        assert [(one.group, one.reading) for one in read[word]] == [("weak", "present")], word


def test_urgent_animals_are_told_and_followed_no_further() -> None:
    of, found = followed(RISING, 12, 500)
    told = {one["event"]: one for one in delays([(of, found)])}
    assert sum(one["animals"] for one in told.values()) == 12
    for animal in range(12):
        since = urgent_from(of, animal)
        assert of.event_day[animal] <= since <= of.event_day[animal] + 30
        last = [one for one in found if one.animal == animal][-1]
        if of.event[animal] == "sign":
            assert "sign_current" in last.rules
            assert last.day >= since
    assert told["sign"]["visits"] == [1.0, 1.0]


def test_budget_counts_lines_at_visits_of_animals_that_are_well() -> None:
    of = patients(STEADY, 4, 10, np.random.default_rng(1))

    def one(animal: int, usual: float, *rules: str) -> Visit:
        return Visit(animal, 0, 0, usual, animal < 2, rules, "screen", 9, ())

    found = [one(0, 130, "severe", "sign_unread"), one(0, 130), one(1, 190, "severe"), one(2, 125)]
    whole, treated, untreated = budget([(of, found)])
    assert (whole["visits"], whole["lines"], whole["animals"]) == (3, 2, 2)
    assert whole["per_100"] == pytest.approx(200 / 3)
    assert whole["rules"] == {"severe": 1, "sign_unread": 1}
    assert (treated["per_100"], untreated["per_100"]) == (100.0, 0.0)


def test_fixed_intervals_cost_what_they_say() -> None:
    of, found = followed(CLINIC, 60, 720, every=90)
    told = cost([(of, found)], 720)
    assert told["visits_a_year"] == pytest.approx([365.25 / 90] * 2)
    assert told["wait_after_a_visit"] == [90.0, 90.0]
    # On any day the next visit lies 0 to 89 days ahead.
    assert told["wait_on_any_day"][0] == pytest.approx(44, abs=6)
    assert Counter(one.state for one in found) == {"": len(found)}


def test_a_drug_is_begun_only_after_two_high_sessions() -> None:
    _, found = followed(CLINIC, 60, 720, every=90)
    begun = {one.animal for one in found if one.treated}
    assert begun
    assert min(one.number for one in found if one.treated) >= 2
    assert len(begun) < 60


def test_mean_of_a_session_leaves_the_first_of_four_out() -> None:
    diary = Diary(readings=[np.array([200.0, 130, 140, 150]), np.array([120.0, 130, 140])])
    assert (diary.mean(0), diary.mean(1)) == (140.0, 130.0)


def test_page_holds_what_was_measured_and_says_what_was_missed() -> None:
    found = json.loads((HERE / "safety.json").read_text(encoding="utf-8"))
    page = (HERE / "results.md").read_text(encoding="utf-8")
    assert with_sections(page) == page
    assert {world.key for world in WORLDS} < set(found)
    for key in ("nominal", "harder", "nominal_words", "harder_words"):
        for one in found[key]:
            assert set(one["rules"]) <= set(RULES)
            assert one["per_100"] == pytest.approx(100 * one["lines"] / one["visits"])
        missed = any(one["per_100"] > GOALS[key.removesuffix("_words")] for one in found[key])
        sentence = judged(found)[("nominal", "harder", "nominal_words", "harder_words").index(key)]
        assert ("goal missed" in sentence) == missed


def test_readme_says_what_was_measured() -> None:
    found = json.loads((HERE / "safety.json").read_text(encoding="utf-8"))
    text = " ".join((HERE.parents[1] / "README.md").read_text(encoding="utf-8").split())
    for key in ("nominal", "harder", "nominal_words", "harder_words"):
        whole = found[key][0]
        assert f"{whole['per_100']:.1f} ± {whole['se']:.1f}" in text, key
    lines = [
        (found[key][0]["rules"], found[key][0]["lines"])
        for key in ("nominal_words", "harder_words")
    ]
    assert all(max(rules, key=rules.get) == "sign_unread" for rules, _ in lines)
    (first, of), (second, of_second) = lines
    told = f"{first['sign_unread']} of {of} lines, {second['sign_unread']} of {of_second}"
    assert f"`sign_unread` ({told})" in text
    assert f"{found['animals']} animals a world" in text
    clinic, hard = found["clinic"][0], found["hard"][0]
    middle, high = clinic["visits_a_year"]
    assert f"{middle:.1f} visits a year (median; 90th percentile {high:.1f})" in text
    assert f"{hard['visits_a_year'][0]:.1f} of animals that hold out against drugs" in text
    wait, long = clinic["wait_after_a_visit"]
    assert f"waits {wait:.0f} days for its next visit (90th percentile {long:.0f})" in text
