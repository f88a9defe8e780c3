"""What a trend answers: urgent first, control apart from the drug, words only where settled."""

from __future__ import annotations

import json
import math
from dataclasses import fields, is_dataclass

import numpy as np
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.facts.sources import footnotes
from bpvet.wording.en.facts import AS_REMEMBERED
from bpvet.wording.en.trend.settle import settle_words
from bpvet.wording.en.trend.statements import TOPICS, sentence
from tests.models.small_records import drug, records, rows, sign, steady

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
    assert set(held["recheck"]) >= {
        "state",
        "earliest",
        "latest",
        "counted_from",
        "guideline",
        "grade",
        "reason",
        "overdue_days",
        "others",
    }
    assert set(held["recheck"]) >= {"model", "by", "guideline_by"}  # for one release
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
    assert hound.category.withheld.startswith("a Greyhound is a sighthound: sighthounds normally")
    wolfhound = _answer(rows(steady(150, DATES)), species="dog", breed="Irish Wolfhound")
    assert wolfhound.category.withheld.startswith("an Irish Wolfhound is a sighthound")
    young = _answer(rows(steady(120, DATES)), birth_date="2025-12-01")
    assert "one year" in young.category.withheld
    assert "No category is named" in sentence(young, "category")


@pytest.mark.parametrize("born", ["2026-10-01", "2026-06-01"])
def test_a_birth_date_after_a_visit_tells_no_age(born):
    # After the newest visit, and after the first alone.
    readings = rows(steady(120, ["2026-05-01", "2026-06-20", "2026-09-01"]))
    unborn = _answer(readings, birth_date=born)
    assert unborn.category.withheld.code == "category.unborn"
    assert "birth date on record lies after a visit" in sentence(unborn, "category")
    without = _answer(readings)
    # No longer window than for an animal of unknown age.
    assert unborn.recheck.latest <= without.recheck.latest
    assert _answer(readings, birth_date="2026-05-01").category.withheld.code == "category.young"


def test_a_number_too_low_to_be_a_pressure_is_not_told_as_no_sound():
    readings = rows([*steady(150, DATES[:4]), (DATES[4], [24.5, 24.1, 25.0])])
    (line,) = _answer(readings).urgent
    assert (line.rule, line.why) == ("low", "below_gauge")
    assert "below 40" in line.text
    assert "24 kPa is 180 mmHg" in line.text


def test_a_sighthound_is_never_called_raised_when_it_is_to_be_seen_again():
    hound = _answer(rows(steady(165, DATES)), species="dog", breed="Greyhound")
    plain = _answer(rows(steady(165, DATES)), species="dog", breed="Beagle")
    assert (plain.recheck.state, hound.recheck.state) == ("raised", "unjudged")
    assert hound.recheck.row == "unjudged.high"
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
    low, high = (_answer(rows(steady(value, DATES))) for value in (110, 175))
    assert low.target.verdict == "at or below"
    assert low.target.settle == ()
    assert high.target.verdict == "above"
    between = _answer(rows(steady(140, DATES)))
    assert between.target.verdict == "not settled"
    assert "not settled" in sentence(between, "target")
    assert [one.visits for one in between.target.settle] == [1, 2, 4]
    (words,) = settle_words(between.target.settle)
    assert words in sentence(between, "target")
    assert settle_words(between.slope.settle)[0] in sentence(between, "slope")


def test_what_is_not_settled_says_how_likely_visits_settle_it():
    few = [("2026-01-10", 172), ("2026-03-14", 165), ("2026-05-02", 158), ("2026-08-01", 161)]
    readings = rows([row for date, value in few for row in steady(value, [date])])
    answer = _answer(readings, [drug("2026-03-14")])
    (one,) = answer.treatments
    assert one.verdict == "cannot tell yet"
    (words,) = settle_words(one.settle)
    assert words in sentence(answer, "drugs")
    for each in (*one.settle, *answer.target.settle, *answer.slope.settle):
        assert each.chance == pytest.approx(sum(each.by_verdict.values()))
        assert 0 <= each.chance <= 1
    held = answer.to_dict()
    assert set(held["treatments"][0]["settle"][0]["by_verdict"]) == {"has lowered", "fall unlikely"}
    assert set(held["slope"]["settle"][0]["by_verdict"]) == {"rising", "rise unlikely"}
    for each in (one.settle, answer.target.settle, answer.slope.settle):
        assert not {"would", "hardly"} & set(" ".join(settle_words(each)).split())


def test_no_chance_is_told_where_a_verdict_is_withheld():
    readings = rows(steady(150, DATES[:-1]) + steady(190, DATES[-1:]))
    answer = _answer(readings, [drug("2026-02-08")])
    assert answer.urgent
    assert answer.target.verdict is None
    assert answer.target.settle == ()
    assert answer.slope.settle == ()
    assert answer.treatments[0].settle == ()


def test_a_clear_fall_is_said_and_nothing_is_said_for_or_against_the_drug():
    fallen = rows(steady(200, DATES[:3]) + steady(130, DATES[3:]))
    (held,) = _answer(fallen, [drug("2026-03-15")]).treatments
    assert held.verdict == "has lowered"
    assert held.effect.estimate < -40
    many = [f"2026-{month:02d}-{day:02d}" for month in range(1, 9) for day in (5, 20)]
    level = rows(steady(150, many))
    answer = _answer(level, [drug("2026-03-01")])
    (none,) = answer.treatments
    assert none.verdict in ("fall unlikely", "cannot tell yet")
    assert "stop" not in sentence(answer, "drugs")


def test_an_effect_that_cannot_be_known_gets_no_verdict():
    answer = _answer(rows(steady(150, DATES)), [drug("2025-12-01")])
    assert answer.treatments[0].verdict == "cannot be known"
    said = sentence(answer, "drugs")
    assert "cannot be known yet from these records" in said
    assert answer.treatments[0].effect is None
    assert "full effect" not in said


def test_an_unfinished_response_is_said_with_half_and_double_tau():
    readings = rows(steady(190, DATES[:4]) + steady(170, ["2026-08-01"]))
    (early,) = _answer(readings, [drug("2026-07-27")]).treatments
    assert not early.finished
    # Five days in, a faster drug has shown more of its effect, so the full effect is smaller.
    assert early.effect_at_half_tau.estimate > early.effect_at_double_tau.estimate
    answer = _answer(readings, [drug("2026-07-27")])
    assert "unfinished" in sentence(answer, "drugs")


def test_damage_comes_first_at_any_value():
    answer = _answer(
        rows(steady(130, DATES)), (), [sign("2026-07-25", "retinal detachment")], as_of="2026-08-05"
    )
    assert answer.urgent[0].rule == "sign_current"
    assert answer.urgent[0].age_days == 11
    assert answer.sentences[0].startswith("Urgent: A vet must see this animal now")
    assert answer.recheck.state == "sign_current"
    assert answer.recheck.latest == np.datetime64("2026-08-04")
    assert answer.target.verdict is None
    assert answer.target.withheld == "sign_current"


@pytest.mark.parametrize(
    ("seen_on", "status", "rule"),
    [
        ("2026-07-18", "present", "sign_current"),
        ("2026-07-17", "present", "sign_open"),
        ("2026-07-25", "resolved", None),
        ("2026-07-25", "absent", None),
        ("2026-07-25", "longstanding", None),
        ("2026-10-10", "present", "sign_current"),
    ],
)
def test_a_sign_is_current_from_fourteen_days_before_the_latest_date(seen_on, status, rule):
    held = [sign(seen_on, "retinal haemorrhage", status)]
    answer = _answer(rows(steady(130, DATES)), (), held, as_of="2026-10-15")
    assert [one.rule for one in answer.urgent] == ([rule] if rule else [])


def test_the_newest_row_of_a_sign_decides():
    seen = [sign("2026-07-25", "seizure"), sign("2026-07-30", "seizure", "resolved")]
    assert not _answer(rows(steady(130, DATES)), (), seen).urgent


def test_180_asks_for_organ_damage_and_a_visit_within_two_weeks():
    answer = _answer(rows(steady(150, DATES[:4]) + steady(185, DATES[4:])))
    assert [one.rule for one in answer.urgent] == ["severe"]
    assert "Look for organ damage today" in answer.sentences[0]
    assert answer.recheck.state == "severe"
    assert answer.recheck.latest == np.datetime64("2026-08-15")


def test_urgent_looks_at_every_method_of_the_latest_date():
    readings = rows(steady(150, DATES))
    readings += rows(steady(190, DATES[4:]), method="oscillometric")
    trend = bpvet.fit_trend(records(readings), "A1", "doppler")
    assert [one.rule for one in trend.answer().urgent] == ["severe"]


def test_too_low_is_urgent_below_90_and_with_weakness_on_a_drug():
    fallen = steady(170, DATES[:4]) + steady(105, DATES[4:])
    weak = _answer(
        rows(fallen), [drug("2026-05-03")], [sign("2026-08-01", "collapse")], as_of="2026-08-05"
    )
    assert [(one.rule, one.why) for one in weak.urgent] == [("low", "floor_weak")]
    alone = _answer(rows(fallen), [drug("2026-05-03")])
    assert [(one.rule, one.why) for one in alone.urgent] == [
        ("low_on_treatment", "usual_below_floor")
    ]
    once = _answer(rows(steady(150, DATES[:4]) + steady(116, DATES[4:])), [drug("2026-01-11")])
    assert not once.urgent
    assert once.recorded.below_floor == pytest.approx(116, abs=2)
    assert "below_floor" in {one.key for one in once.statements}
    lower = steady(170, DATES[:4]) + steady(84, DATES[4:])
    for given in ([drug("2026-05-03")], []):
        answer = _answer(rows(lower), given)
        assert [(one.rule, one.why) for one in answer.urgent] == [("low", "below")]
    assert "stop" not in sentence(_answer(rows(lower), [drug("2026-05-03")]), "urgent")
    hundred = steady(170, DATES[:4]) + steady(96, DATES[4:])
    assert [one.rule for one in _answer(rows(hundred), [drug("2026-05-03")]).urgent] == [
        "low_on_treatment"
    ]
    assert not _answer(rows(hundred)).urgent


def test_nothing_reads_as_all_well_where_the_pressure_may_be_too_low():
    fallen = steady(170, DATES[:4]) + steady(84, DATES[4:])
    answer = _answer(rows(fallen), [drug("2026-05-03")], [sign("2026-08-01", "collapse")])
    keys = {one.key for one in answer.statements}
    assert keys >= {"urgent.low", "target.withheld", "recheck.low"}
    assert not keys & {"target.at", "category", "share", "surprise.none", "next_session"}
    assert answer.slope.verdict is None
    assert {one.verdict for one in answer.treatments} == {None}


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
    assert sum(one.key.startswith("drug.") for one in answer.statements) == 2


def test_no_sound_in_a_weak_animal_is_urgent():
    readings = rows([*steady(150, DATES[:4]), (DATES[4], ["no sound", "no sound"])])
    answer = _answer(readings, (), [sign("2026-08-01", "weakness")])
    assert [(one.rule, one.why) for one in answer.urgent] == [("low", "no_sound")]


def test_control_is_of_systolic_only_and_urgency_of_every_output():
    readings = [
        {"animal": "A1", "taken_at": date, "method": "oscillometric", "systolic": 190 + i,
         "diastolic": 100 + i, "mean": 130 + i, "heart_rate": 180}
        for date in DATES
        for i in range(4)
    ]  # fmt: skip
    answer = _answer(readings, quantity="diastolic", method="oscillometric")
    assert [one.rule for one in answer.urgent] == ["severe"]
    assert answer.category.probability is None
    assert answer.target.value is None
    assert answer.target.reason
    assert answer.share_at_target.expected is None
    assert answer.recheck.latest is None
    assert answer.recheck.reason


@pytest.mark.parametrize(
    ("sessions", "treatments", "state", "latest"),
    [
        (steady(120, DATES), [], "screen", "2027-08-01"),
        (steady(120, DATES[:4]) + steady(150, DATES[4:]), [], "screen", "2027-08-01"),
        (steady(170, DATES[:1]), [], "raised", "2026-02-07"),
        (steady(170, DATES), [], "raised", "2026-10-30"),
        (steady(150, DATES), [], "uncertain", "2027-01-28"),
        (steady(175, DATES), [drug("2026-02-08")], "above_target", "2026-08-29"),
        (steady(130, DATES), [drug("2026-02-08")], "settled", "2026-11-29"),
        (steady(130, DATES), [drug("2026-07-28")], "changed", "2026-08-07"),
        (
            steady(130, DATES),
            [drug("2026-02-08", stopped_on="2026-07-30")],
            "changed",
            "2026-08-09",
        ),
    ],
)
def test_when_again(sessions, treatments, state, latest):
    answer = _answer(rows(sessions), treatments, as_of="2026-08-05")
    assert (answer.recheck.state, str(answer.recheck.latest)) == (state, latest)
    assert answer.recheck.earliest is None or answer.recheck.earliest <= answer.recheck.latest


def test_other_guidelines_see_the_treated_sooner():
    readings = rows(steady(130, DATES))
    answer = _answer(readings, [drug("2026-02-08")], guideline="iris2023", as_of="2026-08-05")
    assert answer.recheck.latest == np.datetime64("2026-10-30")
    default = _answer(readings, [drug("2026-02-08")], as_of="2026-08-05")
    assert {one.guideline for one in default.recheck.others} == {"isfm2017", "iris2023"}


def test_overdue_is_said_and_the_report_speaks_of_then():
    answer = _answer(rows(steady(170, DATES)), as_of="2026-11-10")
    assert answer.recheck.overdue_days == 11
    assert "not of today" in sentence(answer, "recheck")


def test_an_animal_that_left_gets_no_date():
    answer = _answer(rows(steady(150, DATES)), left_on="2026-09-01", left_reason="moved")
    assert answer.recheck.latest is None
    assert "moved" in answer.recheck.reason


def test_a_surprise_is_named_and_one_session_has_none():
    sudden = _answer(rows(steady(130, DATES[:4]) + steady(220, DATES[4:])))
    # A severe session withholds the verdict; the number stays.
    assert sudden.surprise.words is None
    assert sudden.surprise.withheld == "severe"
    assert sudden.surprise.tail < 0.01
    high = _answer(rows(steady(120, DATES[:4]) + steady(178, DATES[4:])))
    assert high.surprise.words == "very unusual"
    assert "of the time" in sentence(high, "surprise")
    single = _answer(rows(steady(150, DATES[:1])))
    assert single.surprise.words is None
    assert single.surprise.reason
    assert "one session" in sentence(single, "usual")


def test_the_rise_over_the_record_is_the_slope_times_its_thirty_days():
    # 300 days are ten times thirty.
    dates = ["2025-10-05", "2026-01-10", "2026-05-02", "2026-08-01"]
    slope = _answer(rows(steady(150, dates[:2]) + steady(160, dates[2:]))).slope
    assert slope.span_days == 300
    assert slope.rise_over_record.estimate == pytest.approx(10 * slope.per_30_days, rel=1e-12)
    assert slope.rise_over_record.lower == pytest.approx(10 * slope.lower, rel=1e-6)
    assert slope.rise_over_record.upper == pytest.approx(10 * slope.upper, rel=1e-6)


def test_without_a_date_to_come_again_the_next_session_is_foretold_four_weeks_on():
    left = _answer(
        rows(steady(150, DATES)), left_on="2026-08-02", left_reason="moved", as_of="2026-08-10"
    )
    assert left.recheck.latest is None
    assert str(left.next_session.date) == "2026-08-29"


def test_tense_sessions_are_shown_apart_when_they_matter():
    readings = rows(steady(130, DATES[:4]))
    readings += rows(steady(190, DATES[4:]), demeanour="tense")
    answer = _answer(readings)
    assert "tense" in answer.companions.shown
    assert "tense" in sentence(answer, "companions")


def test_remembered_figures_say_so():
    answer = _answer(rows(steady(130, DATES)), [drug("2026-02-08")], as_of="2026-08-05")
    assert "ISFM 2017 feline guideline†" in sentence(answer, "recheck")
    # The footnote is printed once, by whoever prints a mark.
    assert footnotes(*answer.sentences) == (AS_REMEMBERED,)


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
    assert [one.text for one in answer.statements] == list(answer.sentences)
    assert len({one.text for one in answer.statements}) == len(answer.statements)


def test_the_guideline_must_fit_the_species():
    with pytest.raises(CallError, match="cat"):
        _answer(rows(steady(150, DATES)), species="dog", guideline="isfm2017")
    with pytest.raises(CallError, match="acvim2018"):
        _answer(rows(steady(150, DATES)), guideline="nobody1999")


def test_the_variability_counts_the_readings_of_each_session():
    # Sessions of readings by count: of creatinine, say, there is nothing to count.
    uneven = [(date, [150 + i for i in range(2 + n)]) for n, date in enumerate(DATES)]
    found = _answer(rows(uneven)).variability
    # The first of four or more is left out: 2, 3, 3, 4 and 5 count.
    assert found.readings == (2, 5)
    even = _answer(rows([(date, [150, 152]) for date in DATES])).variability
    assert even.readings == (2, 2)


#: Where the classes are declared that an answer holds.
_OF_ANSWERS = ("bpvet.answers.", "bpvet.visits.")


def _parts(value):
    """Yield the answers within an answer."""
    if isinstance(value, (list, tuple)):
        for one in value:
            yield from _parts(one)
    elif isinstance(value, dict):
        yield from _parts(list(value.values()))
    elif is_dataclass(value) and type(value).__module__.startswith(_OF_ANSWERS):
        yield value
        yield from _parts([getattr(value, field.name) for field in fields(value)])


def test_nothing_within_an_answer_can_be_changed():
    answer = _answer(
        rows(steady(232, DATES)), [drug("2026-02-08")], [sign("2026-08-01", "Acute blindness")]
    )
    held = {type(one) for one in _parts(answer)}
    assert {"TrendAnswer", "UrgentAnswer", "SignState"} <= {one.__name__ for one in held}
    assert [one for one in held if not one.__dataclass_params__.frozen] == []


def test_the_other_method_s_series_has_no_usual_value_of_what_it_does_not_measure():
    cuff = rows(steady(150, DATES), method="oscillometric", diastolic=90)
    doppler = rows(steady(150, DATES[-1:]))
    answer = _answer(cuff + doppler, quantity="diastolic", method="oscillometric")
    (other,) = answer.other_series
    assert (other.method, other.sessions) == ("doppler", 1)
    assert other.usual is None
