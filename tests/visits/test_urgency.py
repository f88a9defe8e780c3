"""What is urgent: each bound of each rule, and never a line fewer where more care is due."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.visits.labs.kidney_reaction import kidney_reactions
from bpvet.visits.latest_date import latest_date
from bpvet.visits.seen import animal_record
from bpvet.visits.sessions import sessions as sessions_of
from bpvet.visits.treatments.courses import courses
from bpvet.visits.urgency import RULES, WITHHOLDS
from tests.models import small_records as clinic
from tests.visits.labs.lab_values import day, history
from tests.visits.labs.test_kidney_reaction import Made
from tests.visits.seen_animals import AS_OF, DAY, lines, rules, seen, session, sign

PRESSURES = (45.0, 85.0, 89.9, 90.0, 99.9, 100.0, 119.9, 120.0, 159.9, 160.0, 179.9, 180.0, 230.0)


@pytest.mark.parametrize(
    ("systolic", "on_drug", "expected"),
    [
        (89.9, False, ["low"]),
        (90.0, False, []),
        (89.9, True, ["low"]),
        (90.0, True, ["low_on_treatment"]),
        (99.9, True, ["low_on_treatment"]),
        (100.0, True, []),
        (99.9, False, []),
        (119.9, True, []),
        (179.9, False, []),
        (180.0, False, ["severe"]),
        (180.0, True, ["severe"]),
    ],
)
def test_each_bound_of_the_pressure(systolic, on_drug, expected):
    assert rules(seen(session(systolic), on_drug=on_drug)) == expected


@pytest.mark.parametrize(
    ("p", "expected"), [(0.7999, []), (0.8, ["low_on_treatment"]), (None, ["low_on_treatment"])]
)
def test_below_the_floor_is_low_where_the_usual_is_so_too_or_is_not_known(p, expected):
    assert rules(seen(session(119.9), on_drug=True), p) == expected
    assert rules(seen(session(120.0), on_drug=True), p) == []
    assert rules(seen(session(119.9), on_drug=False), p) == []


@pytest.mark.parametrize(
    ("condition", "added", "is_low"),
    [("clinic", 0.0, True), ("home", 15.0, True), ("calmed", 12.0, True), ("sedated", 0.0, True)],
)
def test_home_and_calmed_are_judged_on_more_and_low_on_the_number_itself(condition, added, is_low):
    under, over = session(180 - added - 0.1, "", condition), session(180 - added, "", condition)
    assert rules(seen(under)) == []
    (line,) = lines(seen(over))
    assert line.rule == "severe"
    assert line.value == 180 - added
    assert line.judged_as == (180.0 if added else None)
    # The floor is laid on the same; below 90 and below 100 stand on what was measured.
    at_floor = seen(session(120 - added, "", condition), on_drug=True)
    assert rules(at_floor, 1.0) == []
    assert rules(seen(session(119.9 - added, "", condition), on_drug=True), 1.0) != []
    assert rules(seen(session(89.9, "", condition))) == ["low"]
    assert rules(seen(session(90.0, "", condition))) == []
    assert rules(seen(session(99.9, "", condition), on_drug=True)) == ["low_on_treatment"]
    raised = sign("look")
    assert rules(seen(session(160 - added, "", condition), signs=(raised,))) == ["sign_current"]
    assert rules(seen(session(159.9 - added, "", condition), signs=(raised,))) == []


@pytest.mark.parametrize(
    ("systolic", "bound", "expected"),
    [
        (170.0, "at least", []),  # it proves no 180
        (180.0, "at least", ["severe"]),
        (300.0, "at least", ["severe"]),
        (300.0, "at most", []),
        (89.0, "at most", ["low"]),
        (89.0, "at least", []),  # it proves no more than 89, and nothing below
        (60.0, "at least and at most", ["low"]),
    ],
)
def test_a_bound_counts_where_it_can(systolic, bound, expected):
    assert rules(seen(session(systolic, bound))) == expected


def test_a_bound_of_170_is_160_and_not_180():
    held = seen(session(170.0, "at least"), signs=(sign("", reading="unread"),))
    assert rules(held) == ["sign_unread"]


@pytest.mark.parametrize(
    ("taken", "silent", "expected"),
    [(1, 1, []), (2, 1, ["low"]), (5, 2, []), (5, 3, ["low"]), (4, 2, ["low"]), (2, 2, ["low"])],
)
def test_half_of_at_least_two_readings_without_sound(taken, silent, expected):
    number = 130.0 if silent < taken else None
    assert rules(seen(session(number, taken=taken, silent=silent))) == expected


@pytest.mark.parametrize(
    ("species", "rate", "expected"),
    [
        ("cat", 240.0, []),
        ("cat", 240.1, ["low"]),
        ("dog", 180.0, []),
        ("dog", 180.1, ["low"]),
        ("", 240.0, []),
        ("", 240.1, ["low"]),
    ],
)
def test_a_fast_heart_is_a_weak_sign_by_species(species, rate, expected):
    silent = seen(session(130.0, silent=1, heart_rate=rate), species=species)
    assert rules(silent) == expected
    floor = seen(session(119.9, heart_rate=rate), species=species, on_drug=True)
    assert rules(floor) == expected
    assert rules(replace(floor, on_drug=False)) == []


def test_a_weak_sign_makes_one_silent_reading_or_a_pressure_below_the_floor_low():
    weak = sign("weak")
    silent = session(130.0, silent=1)
    assert rules(seen(silent)) == []
    assert rules(seen(silent, signs=(weak,))) == ["low"]
    assert rules(seen(session(119.9), signs=(weak,), on_drug=True)) == ["low"]
    assert rules(seen(session(120.0), signs=(weak,), on_drug=True)) == []
    assert rules(seen(session(119.9), signs=(weak,))) == []
    low = {**session(130.0, taken=5), "n_below_gauge": 1}
    for reading, why in ((silent, "no_sound_weak"), (low, "below_gauge_weak")):
        assert [line.why for line in lines(seen(reading, signs=(weak,)))] == [why]
    # Too old, denied, longstanding or in a note: none is a sign of today.
    for other in (
        sign("weak", 15),
        sign("weak", reading="denied"),
        sign("weak", longstanding=True),
        sign("weak", reading="unclear", noted=True),
    ):
        assert rules(seen(silent, signs=(other,))) == []


@pytest.mark.parametrize(
    ("mean", "condition", "expected"),
    [
        (59.9, "clinic", ["low"]),
        (60.0, "clinic", []),
        (59.9, "home", ["low"]),
        (59.9, "sedated", []),
    ],
)
def test_a_mean_arterial_pressure_counts_awake(mean, condition, expected):
    assert rules(seen(session(130.0, condition=condition, mean=mean))) == expected


@pytest.mark.parametrize(
    ("group", "systolic", "first", "expected"),
    [
        ("eye", 100.0, 300, ["sign_current"]),
        ("brain", 100.0, 300, ["sign_current"]),
        ("brain_other", 159.9, 15, ["sign_open"]),
        ("brain_other", 159.9, 14, ["sign_current"]),
        ("brain_other", 160.0, 300, ["sign_current"]),
        ("look", 159.9, 0, []),
        ("look", 160.0, 300, ["sign_current"]),
        ("weak", 160.0, 0, []),
        ("heart", 175.0, 0, []),
        ("other", 175.0, 0, []),
    ],
)
def test_which_signs_are_urgent_at_which_pressure(group, systolic, first, expected):
    assert rules(seen(session(systolic), signs=(sign(group, first=first),))) == expected


@pytest.mark.parametrize(
    ("visit", "seen_before", "expected"),
    [
        (0, 14, ["sign_current"]),
        (0, 15, ["sign_open"]),
        (40, 54, ["sign_current"]),
        (40, 55, ["sign_open"]),
        (40, 0, ["sign_current"]),
        (90, 90, ["sign_current"]),
        (91, 91, ["sign_open"]),
    ],
)
def test_a_sign_is_current_from_14_days_before_the_latest_date_and_for_90(
    visit, seen_before, expected
):
    held = seen(session(), days_before=visit, signs=(sign("eye", seen_before),))
    assert rules(held) == expected


@pytest.mark.parametrize(
    ("days", "rule"), [(0, "sign_current"), (90, "sign_current"), (91, "sign_open")]
)
@pytest.mark.parametrize("group", ["eye", "brain", "brain_other"])
def test_without_any_session_a_sign_is_current_from_its_own_date(group, days, rule):
    """Less is known than with a session: never less care."""
    assert rules(seen(signs=(sign(group, days),))) == [rule]


def test_an_answered_a_longstanding_or_a_noted_sign_is_not_urgent():
    for one in (
        sign("eye", reading="denied"),
        sign("eye", reading="past"),
        sign("eye", longstanding=True),
        sign("eye", reading="unclear", noted=True),
    ):
        assert rules(seen(session(130.0), signs=(one,))) == []


@pytest.mark.parametrize("reading", ["unread", "unclear"])
def test_an_unread_sign_is_urgent_where_the_pressure_is_high_or_low_on_a_drug(reading):
    one = (sign("", reading=reading),)
    assert rules(seen(session(159.9), signs=one)) == []
    assert rules(seen(session(160.0), signs=one)) == ["sign_unread"]
    assert rules(seen(session(119.9), signs=one, on_drug=True)) == ["sign_unread"]
    assert rules(seen(session(120.0), signs=one, on_drug=True)) == []
    assert rules(seen(session(119.9), signs=one)) == []
    assert rules(seen(session(160.0), signs=(sign("", 14, reading=reading),))) == ["sign_unread"]
    assert rules(seen(session(160.0), signs=(sign("", 15, reading=reading),))) == []
    noted = sign("", reading=reading, noted=True)
    assert rules(seen(session(160.0), signs=(noted,))) == []


def test_severe_says_whether_the_eyes_were_noted_normal_that_day():
    normal = sign("eye", 3, reading="denied")
    for visit, why in ((3, "eyes_normal"), (2, "eyes_not_noted")):
        (line,) = lines(seen(session(185.0), days_before=visit, signs=(normal,)))
        assert (line.rule, line.why, line.age_days) == ("severe", why, visit)


def test_severe_is_left_to_the_sign_beside_it():
    assert rules(seen(session(230.0), signs=(sign("eye"),))) == ["sign_current"]
    # An open one does not hold it back.
    assert rules(seen(session(230.0), signs=(sign("eye", 30),))) == ["severe", "sign_open"]


def test_every_rule_that_fits_is_told_in_order():
    held = seen(
        session(85.0),
        session(185.0, condition="home"),
        signs=(sign("", reading="unread"), sign("brain_other", 200), sign("weak")),
        on_drug=True,
    )
    assert rules(held) == ["low", "severe", "sign_unread", "sign_open"]
    assert sorted(rules(held), key=RULES.index) == rules(held)


def test_an_animal_that_left_has_none():
    assert rules(seen(session(230.0), signs=(sign("eye"),), left=True)) == []


def test_a_species_without_facts_is_judged_by_its_signs_alone():
    rabbit = seen(session(230.0), species="", written="rabbit", on_drug=True)
    assert rules(rabbit) == []
    assert rules(replace(rabbit, signs=(sign("eye"),))) == ["sign_current"]
    unread = replace(rabbit, signs=(sign("", reading="unread"),))
    # "Low on treatment" is a word of the bounds of cats and dogs.
    assert [(one.rule, one.why) for one in lines(unread)] == [("sign_unread", "no_bounds")]


def test_a_blank_species_is_judged_as_cats_and_dogs():
    assert rules(seen(session(85.0), species="")) == ["low"]
    assert rules(seen(session(185.0), species="")) == ["severe"]


def _record(readings, *args, **more):
    held = clinic.records(readings, *args, **more)
    table = sessions_of(held)
    return animal_record(held, "A1", table, courses(held, "A1"))


@pytest.mark.parametrize(
    ("state", "counts"), [("sedated", True), ("anaesthetised", False), ("awake", True)]
)
def test_a_sedated_session_counts_and_an_anaesthetised_one_does_not(state, counts):
    readings = clinic.rows(clinic.steady(130, ["2026-09-01"]))
    readings += clinic.rows(clinic.steady(85, ["2026-10-01"]), state=state)
    found = _record(readings).seen
    assert rules(found) == (["low"] if counts else [])
    assert found.latest.date == np.datetime64("2026-10-01" if counts else "2026-09-01")


def test_every_method_of_the_latest_date_counts():
    readings = clinic.rows(clinic.steady(130, ["2026-10-01"]))
    readings += clinic.rows(clinic.steady(185, ["2026-10-01"]), method="oscillometric")
    assert rules(_record(readings).seen) == ["severe"]


def test_readings_without_sound_alone_are_the_latest_date():
    readings = clinic.rows(clinic.steady(130, ["2026-09-01"]))
    readings += clinic.rows([("2026-10-01", ["no sound", "no sound", "no sound"])])
    found = _record(readings).seen
    assert found.latest.date == np.datetime64("2026-10-01")
    assert rules(found) == ["low"]


@pytest.mark.parametrize(
    ("drug", "on"),
    [
        ([], False),
        ([clinic.drug("2026-05-01")], True),
        ([clinic.drug("2026-05-01", stopped_on="2026-09-01")], False),
        ([clinic.drug("2026-05-01", "wonder drops")], True),  # off the list: the low rules apply
        ([clinic.drug("2026-05-01", "wonder drops", stopped_on="2026-09-01")], False),
        ([clinic.drug("2026-05-01", "insulin")], False),
    ],
)
def test_a_drug_off_the_list_is_on_for_the_low_rules(drug, on):
    found = _record(clinic.rows(clinic.steady(95, ["2026-10-01"])), drug).seen
    assert found.on_drug is on
    assert rules(found) == (["low_on_treatment"] if on else [])


def test_conditions_that_may_enter_a_trend_leave_out_the_sedated():
    readings = clinic.rows(clinic.steady(130, ["2026-09-01"]))
    readings += clinic.rows(clinic.steady(85, ["2026-10-01"]), state="sedated")
    table = sessions_of(clinic.records(readings))
    assert latest_date(table).date == np.datetime64("2026-10-01")
    assert latest_date(table, ("clinic", "home", "calmed")).date == np.datetime64("2026-09-01")


GROUPS = st.sampled_from(["eye", "brain", "brain_other", "look", "weak", "heart", "other", ""])
SIGNS = st.builds(
    sign,
    GROUPS,
    st.integers(0, 120),
    reading=st.sampled_from(["present", "unclear", "unread", "denied", "past"]),
    longstanding=st.booleans(),
    noted=st.booleans(),
).filter(lambda one: not (one.asked_only and one.reading == "present"))
SESSIONS = st.builds(
    session,
    st.sampled_from(PRESSURES),
    st.sampled_from(["", "at least", "at most"]),
    st.sampled_from(["clinic", "home", "calmed", "sedated"]),
    heart_rate=st.sampled_from([None, 150.0, 200.0, 260.0]),
    silent=st.integers(0, 4),
)
ANIMALS = st.builds(
    lambda held, before, signs, on, species, left: seen(
        *held, days_before=before, signs=tuple(signs), on_drug=on, species=species, left=left
    ),
    st.lists(SESSIONS, max_size=2),
    st.integers(0, 120),
    st.lists(SIGNS, max_size=3),
    st.booleans(),
    st.sampled_from(["cat", "dog", ""]),
    st.booleans(),
)


@given(ANIMALS)
def test_lines_stand_in_order_and_each_says_its_age(animal):
    found = lines(animal)
    assert [one.rule for one in found] == sorted({one.rule for one in found}, key=RULES.index)
    assert all(one.age_days == int((AS_OF - one.on) / DAY) for one in found)
    assert not (animal.left and found)


def _weight(found):
    """How much is withheld: more is more careful."""
    order = ("", "target", "verdicts", "all")
    return max((order.index(one.withholds) for one in found), default=-1)


@given(ANIMALS, SIGNS)
def test_one_more_sign_never_takes_a_line_away(animal, one):
    before, after = lines(animal), lines(replace(animal, signs=(*animal.signs, one)))
    gone = {line.rule for line in before} - {line.rule for line in after}
    # `severe` is told within the sign, and `low_on_treatment` within `low`.
    kept = {line.rule for line in after}
    assert gone <= ({"severe"} if "sign_current" in kept else set()) | (
        {"low_on_treatment"} if "low" in kept else set()
    )
    assert _weight(after) >= _weight(before)


@given(ANIMALS, st.sampled_from(PRESSURES), st.floats(0, 1), st.floats(0, 1))
def test_a_higher_latest_never_takes_away_what_is_urgent_of_a_high_one(animal, step, p, q):
    if animal.latest is None:
        return
    more = replace(
        animal,
        latest=replace(
            animal.latest,
            sessions=animal.latest.sessions.assign(
                systolic=lambda rows: np.maximum(rows["systolic"], step)
            ),
        ),
    )
    upper = {"sign_current", "severe", "sign_open"}
    before = {one.rule for one in lines(animal, p)} & upper
    after = {one.rule for one in lines(more, p)} & upper
    # What was open may become current, and what was severe be told within the current sign.
    assert not before or after
    assert _weight([x for x in lines(more, p) if x.rule in upper]) >= _weight(
        [x for x in lines(animal, p) if x.rule in upper]
    )
    low = {"low", "low_on_treatment"}
    under = min(p, q), max(p, q)
    first, second = ({one.rule for one in lines(animal, share)} & low for share in under)
    assert first <= second


@given(ANIMALS)
def test_a_drug_never_takes_a_line_away(animal):
    off, on = (lines(replace(animal, on_drug=one)) for one in (False, True))
    assert {one.rule for one in off} <= {one.rule for one in on}


@given(ANIMALS, st.integers(0, 120))
def test_a_denied_row_alone_is_never_urgent(animal, days):
    none = replace(animal, signs=(sign("eye", days, reading="denied"),))
    assert not {one.rule for one in lines(none)} & {"sign_current", "sign_open", "sign_unread"}


@pytest.mark.parametrize(
    ("age_days", "systolic", "expected"),
    [
        (60, 119.9, ["kidney_reaction"]),
        (61, 119.9, []),
        (60, 120.0, []),
        (0, 119.9, ["kidney_reaction"]),
    ],
)
def test_a_kidney_reaction_is_urgent_for_sixty_days_below_120(age_days, systolic, expected):
    after = "2026-04-22"
    held = history("2026-03-20 creatinine 190 µmol/L", f"{after} creatinine 252 µmol/L")
    (reaction,) = kidney_reactions(held, [Made(day("2026-04-01"))], day(after) + age_days * DAY)
    assert reaction.urgent_size
    animal = seen(session(systolic), reactions=(reaction,))
    assert rules(animal) == expected


def test_a_line_says_what_it_withholds():
    (line,) = lines(seen(session(185.0)))
    assert line.withholds == WITHHOLDS[line.rule]


@pytest.mark.parametrize(("systolic", "bound"), [(95.0, ""), (95.0, "at most")])
def test_low_on_treatment_tells_the_number_and_whether_it_is_a_bound(systolic, bound):
    (line,) = lines(seen(session(systolic, bound), on_drug=True))
    assert (line.rule, line.value, line.bound) == ("low_on_treatment", systolic, bound)


def test_usually_below_the_floor_without_a_number_is_no_bound():
    (line,) = lines(seen(session(119.9), on_drug=True), 0.9)
    assert (line.rule, line.why, line.bound) == ("low_on_treatment", "usual_below_floor", "")
