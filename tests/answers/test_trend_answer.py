"""What a trend answers: urgent first, control apart from the drug, words only where settled."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

import bpvet
from bpvet.answers.sentences import TOPICS, sentence
from bpvet.errors import CallError
from tests.models.clinic import drug, records, rows, sign, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]


def _answer(readings, *args, guideline="acvim2018", quantity="systolic", method=None, **more):
    trend = bpvet.fit_trend(records(readings, *args, **more), "A1", method, quantity)
    return trend.answer(guideline=guideline)


def _finite(value):
    if isinstance(value, dict):
        return all(_finite(one) for one in value.values())
    if isinstance(value, list):
        return all(_finite(one) for one in value)
    return not isinstance(value, float) or math.isfinite(value)


def test_the_json_holds_the_contract_and_no_nan():
    answer = _answer(rows(steady(150, DATES)), [drug("2026-02-08")])
    held = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    assert _finite(held)
    named = (
        "animal species method condition quantity unit bridged as_of sessions latest urgent "
        "category target slope courses treatments surprise next_session share_at_target "
        "variability recheck priors assumptions sentences cautions other_series findings version "
        "data_digest"
    )
    assert set(named.split()) <= set(held)
    assert set(held["sessions"][0]) >= {"date", "method", "n_taken", "n_used", "mean", "flags"}
    assert set(held["latest"]) >= {"date", "estimate", "lower", "upper", "sd"}
    assert set(held["target"]) >= {"guideline", "kind", "value", "p_at_or_below", "floor"}
    assert set(held["slope"]) >= {"per_30_days", "p_rising", "p_rising_by_1", "rise_over_record"}
    assert set(held["courses"][0]) >= {"drug", "kind", "tau_days", "finished", "effect_now"}
    assert set(held["treatments"][0]) >= {"drug", "effect", "p_lower_by_10", "verdict"}
    assert set(held["surprise"]) >= {"observed", "expected", "lower", "upper", "tail", "words"}
    assert set(held["recheck"]) >= {"guideline", "state", "model", "by", "reason"}
    assert set(held["share_at_target"]) >= {"expected", "interpolated"}
    assert held["variability"]["sd"] is not None


def test_categories_share_out_all_the_probability():
    answer = _answer(rows(steady(150, DATES)))
    shares = answer.category.probability
    assert list(shares) == [
        "normotensive",
        "prehypertensive",
        "hypertensive",
        "severely hypertensive",
    ]
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares["prehypertensive"] > 0.5


def test_sighthounds_and_the_young_get_no_category():
    hound = _answer(rows(steady(150, DATES)), species="dog", breed="Greyhound")
    assert hound.category.probability is None
    assert "sighthound" in hound.category.withheld
    young = _answer(rows(steady(120, DATES)), birth_date="2025-12-01")
    assert "one year" in young.category.withheld
    assert "No category is named" in sentence(young, "category")


def test_a_sighthound_is_never_called_raised_when_it_is_to_be_seen_again():
    hound = _answer(rows(steady(150, DATES)), species="dog", breed="Greyhound")
    plain = _answer(rows(steady(150, DATES)), species="dog", breed="Beagle")
    assert hound.recheck.by == plain.recheck.by
    assert "mildly raised" in sentence(plain, "recheck")
    assert "mildly raised" not in sentence(hound, "recheck")
    assert "not judged for this animal" in sentence(hound, "recheck")


def test_target_is_the_animals_own_then_the_guidelines_then_the_raised_bound():
    readings = rows(steady(150, DATES))
    untreated = _answer(readings, target_systolic=145)
    assert (untreated.target.kind, untreated.target.value) == ("raised", 140.0)
    treated = _answer(readings, [drug("2026-02-08")])
    assert (treated.target.kind, treated.target.value) == ("guideline", 160.0)
    own = _answer(readings, [drug("2026-02-08")], target_systolic=145)
    assert (own.target.kind, own.target.value) == ("own", 145.0)
    stopped = _answer(readings, [drug("2026-02-08", stopped_on="2026-09-01")])
    assert stopped.target.kind == "raised"
    feline = _answer(readings, guideline="isfm2017")
    assert (feline.target.value, feline.target.floor) == (150.0, 110.0)
    assert feline.category.guideline == "acvim2018"


def test_words_are_given_only_where_they_are_settled():
    low, high = (_answer(rows(steady(value, DATES))) for value in (110, 190))
    assert low.target.verdict == "at or below"
    assert low.target.visits_to_settle == 0
    assert high.target.verdict == "above"
    between = _answer(rows(steady(140, DATES)))
    assert between.target.verdict == "not settled"
    assert "not settled" in sentence(between, "target")
    assert "hardly settle" in sentence(between, "target") or "could settle" in sentence(
        between, "target"
    )


def test_a_clear_fall_is_said_and_an_absent_one_is_no_reason_to_stop():
    fallen = rows(steady(200, DATES[:3]) + steady(130, DATES[3:]))
    (held,) = _answer(fallen, [drug("2026-03-15")]).treatments
    assert held.verdict == "has lowered"
    assert held.effect.estimate < -40
    many = [f"2026-{month:02d}-{day:02d}" for month in range(1, 9) for day in (5, 20)]
    level = rows(steady(150, many))
    answer = _answer(level, [drug("2026-03-01")])
    (none,) = answer.treatments
    assert none.verdict in ("fall unlikely", "cannot tell yet")
    assert "not a reason to stop it" in sentence(answer, "drugs")


def test_an_effect_that_cannot_be_known_gets_no_verdict():
    answer = _answer(rows(steady(150, DATES)), [drug("2025-12-01")])
    assert answer.treatments[0].verdict == "cannot be known"
    said = sentence(answer, "drugs")
    assert "cannot be known from these records" in said
    assert "not a reason to stop it" in said.lower()


def test_an_unfinished_response_is_said_with_half_and_double_tau():
    readings = rows(steady(190, DATES[:4]) + steady(170, ["2026-08-01"]))
    (early,) = _answer(readings, [drug("2026-07-27")]).treatments
    assert not early.finished
    # Five days in, a faster drug has shown more of its effect, so the full effect is smaller.
    assert early.effect_at_half_tau.estimate > early.effect_at_double_tau.estimate
    answer = _answer(readings, [drug("2026-07-27")])
    assert "unfinished" in sentence(answer, "drugs")


def test_damage_comes_first_at_any_value():
    answer = _answer(rows(steady(130, DATES)), (), [sign("2026-07-25", "retinal detachment")])
    assert answer.urgent[0].kind == "damage"
    assert answer.sentences[0].startswith("Urgent: A vet must see this animal now")
    assert answer.recheck.state == "sign"
    assert answer.recheck.by == np.datetime64("2026-08-04")


@pytest.mark.parametrize(
    ("seen_on", "status", "counts"),
    [
        ("2026-07-18", "present", True),
        ("2026-07-17", "present", False),
        ("2026-07-25", "resolved", False),
        ("2026-07-25", "absent", False),
        ("2026-10-30", "present", True),
    ],
)
def test_signs_count_from_fourteen_days_before_the_latest_date(seen_on, status, counts):
    answer = _answer(rows(steady(130, DATES)), (), [sign(seen_on, "retinal haemorrhage", status)])
    assert bool(answer.urgent) == counts


def test_the_newest_row_of_a_sign_decides():
    seen = [sign("2026-07-25", "seizure"), sign("2026-07-30", "seizure", "resolved")]
    assert not _answer(rows(steady(130, DATES)), (), seen).urgent


def test_180_asks_for_organ_damage_and_a_visit_within_two_weeks():
    answer = _answer(rows(steady(150, DATES[:4]) + steady(185, DATES[4:])))
    assert [one.kind for one in answer.urgent] == ["severe"]
    assert "Look for organ damage today" in answer.sentences[0]
    assert answer.recheck.state == "severe"
    assert answer.recheck.guideline_by == np.datetime64("2026-08-15")


def test_urgent_looks_at_every_method_of_the_latest_date():
    readings = rows(steady(150, DATES))
    readings += rows(steady(190, DATES[4:]), method="oscillometric")
    trend = bpvet.fit_trend(records(readings), "A1", "doppler")
    assert [one.kind for one in trend.answer().urgent] == ["severe"]


def test_too_low_is_urgent_with_signs_or_below_90_on_a_drug():
    fallen = steady(170, DATES[:4]) + steady(105, DATES[4:])
    weak = _answer(rows(fallen), [drug("2026-05-03")], [sign("2026-08-01", "collapse")])
    assert [one.kind for one in weak.urgent] == ["low with signs"]
    assert not _answer(rows(fallen), [drug("2026-05-03")]).urgent
    lower = steady(170, DATES[:4]) + steady(84, DATES[4:])
    assert [one.kind for one in _answer(rows(lower), [drug("2026-05-03")]).urgent] == [
        "low on a drug"
    ]
    assert not _answer(rows(lower)).urgent
    assert "stop" not in sentence(_answer(rows(lower), [drug("2026-05-03")]), "urgent")


def test_nothing_reads_as_all_well_where_the_pressure_may_be_too_low():
    fallen = steady(170, DATES[:4]) + steady(84, DATES[4:])
    answer = _answer(rows(fallen), [drug("2026-05-03")], [sign("2026-08-01", "collapse")])
    assert "At target" not in " ".join(answer.sentences)
    assert "see the urgent line" in sentence(answer, "target")
    assert "The urgent line comes first" in sentence(answer, "recheck")


def test_a_record_that_goes_straight_to_treatment_says_what_it_cannot_separate():
    readings = rows(steady(190, DATES[:1]) + steady(150, DATES[1:]))
    said = sentence(_answer(readings, [drug(DATES[0])]), "drugs")
    assert "Only one session lies before it" in said
    assert "cannot separate them" in said
    used_to_it = _answer(readings, [drug(DATES[0])], measured_before="yes")
    assert "cannot separate" not in sentence(used_to_it, "drugs")


def test_each_drug_has_a_sentence_of_its_own():
    given = [drug("2026-02-08"), drug("2026-05-03", "telmisartan")]
    answer = _answer(rows(steady(150, DATES)), given)
    assert sum(one.startswith(("Amlodipine", "Telmisartan")) for one in answer.sentences) == 2


def test_no_sound_in_a_weak_animal_is_urgent():
    readings = rows([*steady(150, DATES[:4]), (DATES[4], ["no sound", "no sound"])])
    answer = _answer(readings, (), [sign("2026-08-01", "weakness")])
    assert [one.kind for one in answer.urgent] == ["no sound"]


def test_urgent_and_control_are_of_systolic_only():
    readings = [
        {"animal": "A1", "taken_at": date, "method": "oscillometric", "systolic": 190 + i,
         "diastolic": 100 + i, "mean": 130 + i, "heart_rate": 180}
        for date in DATES
        for i in range(4)
    ]  # fmt: skip
    answer = _answer(readings, quantity="diastolic", method="oscillometric")
    assert answer.urgent is None
    assert answer.urgent_reason
    assert answer.category.probability is None
    assert answer.target.value is None
    assert answer.target.reason
    assert answer.share_at_target.expected is None
    assert answer.recheck.by is None
    assert answer.recheck.reason


@pytest.mark.parametrize(
    ("sessions", "treatments", "state", "by"),
    [
        (steady(120, DATES), [], "otherwise", "2027-08-01"),
        (steady(120, DATES[:4]) + steady(150, DATES[4:]), [], "first_raised", "2026-09-26"),
        (steady(165, DATES), [], "raised_again", "2026-08-29"),
        (steady(150, DATES), [], "raised_mild", "2027-01-28"),
        (steady(175, DATES), [drug("2026-02-08")], "above_target", "2026-08-29"),
        (steady(130, DATES), [drug("2026-02-08")], "treated", "2027-01-28"),
        (steady(130, DATES), [drug("2026-07-28")], "changed", "2026-08-07"),
        (
            steady(130, DATES),
            [drug("2026-02-08", stopped_on="2026-07-30")],
            "changed",
            "2026-08-09",
        ),
    ],
)
def test_when_again_takes_the_first_state_that_fits(sessions, treatments, state, by):
    answer = _answer(rows(sessions), treatments, as_of="2026-08-05")
    assert answer.recheck.state == state
    assert answer.recheck.guideline_by == np.datetime64(by)
    assert answer.recheck.by <= answer.recheck.guideline_by


def test_other_guidelines_see_the_treated_sooner():
    readings = rows(steady(130, DATES))
    answer = _answer(readings, [drug("2026-02-08")], guideline="iris2023", as_of="2026-08-05")
    assert answer.recheck.guideline_by == np.datetime64("2026-10-30")


def test_overdue_is_said_and_the_report_speaks_of_then():
    answer = _answer(rows(steady(165, DATES)), as_of="2026-11-01")
    assert answer.recheck.overdue_days == 64
    assert "not of today" in sentence(answer, "recheck")


def test_an_animal_that_left_gets_no_date():
    answer = _answer(rows(steady(150, DATES)), left_on="2026-09-01", left_reason="moved")
    assert answer.recheck.by is None
    assert "moved" in answer.recheck.reason


def test_a_surprise_is_named_and_one_session_has_none():
    sudden = _answer(rows(steady(130, DATES[:4]) + steady(220, DATES[4:])))
    assert sudden.surprise.words == "very unusual"
    assert "within two weeks" in sentence(sudden, "surprise")
    single = _answer(rows(steady(150, DATES[:1])))
    assert single.surprise.words is None
    assert single.surprise.reason
    assert "one session" in sentence(single, "usual")


def test_tense_sessions_are_shown_apart_when_they_matter():
    readings = rows(steady(130, DATES[:4]))
    readings += rows(steady(190, DATES[4:]), demeanour="tense")
    answer = _answer(readings)
    assert "tense" in answer.companions.shown
    assert "tense" in sentence(answer, "companions")


def test_remembered_figures_say_so():
    answer = _answer(rows(steady(130, DATES)), [drug("2026-02-08")], as_of="2026-08-05")
    assert answer.recheck.remembered
    assert "as remembered, to be checked against the paper" in sentence(answer, "recheck")


def test_every_sentence_ends_and_none_names_a_dose_or_says_stop():
    answer = _answer(
        rows(steady(170, DATES[:3]) + steady(150, DATES[3:])),
        [drug("2026-03-15", dose="0.625", dose_unit="mg")],
    )
    for topic in TOPICS:
        said = sentence(answer, topic)
        assert said == "" or said.endswith(".")
        assert "0.625" not in said
        assert "nan" not in said.lower().split()
        assert "None" not in said
    assert len(answer.sentences) == sum(bool(sentence(answer, topic)) for topic in TOPICS)


def test_the_guideline_must_fit_the_species():
    with pytest.raises(CallError, match="cat"):
        _answer(rows(steady(150, DATES)), species="dog", guideline="isfm2017")
    with pytest.raises(CallError, match="acvim2018"):
        _answer(rows(steady(150, DATES)), guideline="nobody1999")
