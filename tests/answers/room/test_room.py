"""The in-room sum by hand, its words, and the line for the chart."""

import math
import re

import pytest

from bpvet.answers.room.chart_line import quoted, short
from bpvet.answers.room.result import RoomReading, RoomVisit
from bpvet.answers.room.room import room_answer
from bpvet.errors import CallError


def taken(*values):
    return [RoomReading(None if value is None else float(value)) for value in values]


def test_three_readings_by_hand():
    # (165 + 158 + 160) / 3 = 161; squares 16 + 9 + 1 = 26; SD = sqrt(26 / 2).
    answer = room_answer(taken(165, 158, 160), "doppler")
    assert answer.systolic.mean == 161.0
    assert answer.systolic.sd == pytest.approx(math.sqrt(13), abs=1e-12)
    assert (answer.systolic.lowest, answer.systolic.highest) == (158.0, 165.0)
    assert answer.systolic.relative_range == pytest.approx(7 / 161)
    assert (answer.n_taken, answer.n_used) == (3, 3)


def test_the_first_of_four_is_left_out_under_the_guideline_and_kept_under_all():
    values = taken(190, 160, 162, 164)
    guideline = room_answer(values, "doppler")
    assert (guideline.systolic.mean, guideline.n_used) == (162.0, 3)
    assert guideline.readings[0].fate == "left out"
    assert room_answer(values, "doppler", rule="all").systolic.mean == 169.0


@pytest.mark.parametrize(
    ("readings", "rule", "minimum", "enough"),
    [
        # One taken: three in all make three used; five used need six taken.
        (taken(160), "guideline", 2, 5),
        (taken(160, 158), "guideline", 1, 4),
        (taken(160, 158, 159), "guideline", 0, 3),
        (taken(160, 158, 159), "all", 0, 2),
        # No sound takes the place of the first taken, so nothing else is left out.
        (taken(None, 158, 159), "guideline", 1, 3),
        (taken(160, 158, 159, 160, 161, 158), "guideline", 0, 0),
    ],
)
def test_how_many_more_readings(readings, rule, minimum, enough):
    go_on = room_answer(readings, "doppler", rule=rule).go_on
    assert (go_on.more_for_minimum, go_on.more_for_enough) == (minimum, enough)


def test_five_that_agree_are_enough():
    answer = room_answer(taken(170, 158, 160, 159, 161, 160), "doppler")
    assert answer.go_on.reasons == ()
    assert answer.words.go_on == (
        "Enough: five readings count, they agree, and they are not falling.",
    )


def test_still_falling_says_go_on_and_that_it_is_remembered():
    answer = room_answer(taken(190, 180, 176, 172, 168, 165), "doppler")
    (line,) = answer.words.go_on
    assert "still falling" in line
    assert line.endswith("(ACVIM 2018 consensus statement†).")


def test_readings_that_disagree():
    answer = room_answer(taken(100, 200, 120, 220), "doppler", rule="all")
    assert any("disagree" in line and "cuff" in line for line in answer.words.go_on)


def test_a_session_lies_in_a_range_and_never_is_one():
    answer = room_answer(taken(165, 158, 160), "doppler")
    assert answer.range.name == "hypertensive"
    assert answer.words.range.startswith(
        'In the range of "hypertensive" (160 up to 180 mmHg; ACVIM 2018'
    )
    assert not re.search(r"\bis (a )?hypertensive", answer.words.range)


def test_the_unrounded_mean_decides_the_range():
    # 159.67 is shown as 159.7 and lies below 160.
    answer = room_answer(taken(159, 160, 160), "doppler")
    assert answer.range.name == "prehypertensive"
    assert "Systolic 159.7 mmHg" in answer.chart_line


def test_another_guideline_is_named():
    answer = room_answer(
        taken(150, 151, 152), "doppler", RoomVisit(species="dog"), guideline_key="iris2023"
    )
    assert "IRIS" in answer.words.range
    with pytest.raises(CallError, match="not of the dog"):
        room_answer(taken(150), "doppler", RoomVisit(species="dog"), guideline_key="isfm2017")
    with pytest.raises(CallError, match="acvim2018"):
        room_answer(taken(150), "doppler", guideline_key="acvim")


@pytest.mark.parametrize("state", ["sedated", "anaesthetised"])
def test_no_range_and_no_caution_unless_awake(state):
    answer = room_answer(taken(70, 71, 72), "doppler", RoomVisit(state=state))
    assert answer.range.name is None
    assert "awake" in (answer.range.withheld or "")
    assert answer.words.cautions == ()


@pytest.mark.parametrize(
    ("value", "rules", "words"),
    [
        (180, ["severe"], "160 mmHg or more"),
        (179, [], "160 mmHg or more"),
        (160, [], "160 mmHg or more"),
        (159, [], None),
        (120, [], None),
        (119, [], "Below 120 mmHg"),
        (100, [], "Below 120 mmHg"),
        (99, [], "Below 100 mmHg"),
        (90, [], "Below 100 mmHg"),
        (89, ["low"], "Below 100 mmHg"),
    ],
)
def test_urgent_lines_and_cautions_at_their_bounds(value, rules, words):
    answer = room_answer(taken(value, value, value), "doppler")
    assert [one.rule for one in answer.urgent] == rules
    cautions = answer.words.cautions
    assert (cautions == ()) if words is None else words in cautions[0]


@pytest.mark.parametrize(
    ("readings", "more", "rules"),
    [
        ([RoomReading(None), RoomReading(None), RoomReading(118.0)], {}, ["low"]),
        ([RoomReading(None), RoomReading(118.0), RoomReading(118.0)], {}, []),
        ([RoomReading(None)], {}, []),
        ([RoomReading(88.0, "at least")] * 3, {}, []),
        ([RoomReading(170.0)] * 3, {"setting": "home"}, ["severe"]),
        ([RoomReading(164.0)] * 3, {"setting": "home"}, []),
        ([RoomReading(169.0)] * 3, {"state": "calmed"}, ["severe"]),
        ([RoomReading(85.0)] * 3, {"state": "anaesthetised"}, ["low"]),
        ([RoomReading(190.0)] * 3, {"state": "anaesthetised"}, []),
    ],
)
def test_what_is_urgent_in_the_room(readings, more, rules):
    answer = room_answer(readings, "doppler", RoomVisit(species="cat", **more))
    assert [one.rule for one in answer.urgent] == rules


def test_a_low_mean_arterial_pressure_is_urgent_under_anaesthesia_too():
    readings = [RoomReading(101.0, mean=56.0)] * 3
    for state in ("", "anaesthetised"):
        answer = room_answer(readings, "oscillometric", RoomVisit(state=state))
        assert [one.rule for one in answer.urgent] == ["low"]
    assert not room_answer(readings, "oscillometric", RoomVisit(state="sedated")).urgent


def test_a_bound_makes_the_mean_one():
    readings = [RoomReading(290.0), RoomReading(300.0, "at least"), RoomReading(298.0)]
    answer = room_answer(readings, "doppler")
    assert (answer.systolic.mean, answer.systolic.bound) == (296.0, "at least")
    assert answer.range.or_beyond == ""
    assert answer.words.notes[1].startswith("Reading 2 is a bound")
    line = "Systolic at least 296 mmHg (Doppler, mean of 3 of 3 readings; 290, > 300, 298)"
    assert answer.chart_line == line
    low = room_answer([RoomReading(150.0, "at least")] * 3, "doppler")
    assert '"prehypertensive" or above' in low.words.range


def test_bounds_at_both_ends_have_no_range():
    readings = [RoomReading(300.0, "at least"), RoomReading(40.0, "at most"), RoomReading(150.0)]
    answer = room_answer(readings, "doppler")
    assert answer.systolic.bound == "at least and at most"
    assert answer.range.name is None


def test_no_sound_at_all():
    answer = room_answer(taken(None, None, None), "doppler")
    assert answer.systolic.mean is None
    assert "a vet should see it today" in answer.words.cautions[0]
    assert answer.chart_line == (
        "Systolic: no number (Doppler, mean of 0 of 3 readings; no sound, no sound, no sound)"
    )


def test_oscillometric_quantities_follow_the_used_readings():
    readings = [
        RoomReading(190.0, "", 120.0, 140.0, 200.0),
        RoomReading(160.0, "", 100.0, 118.0, 180.0),
        RoomReading(158.0, "", 96.0, 116.0, 184.0),
        RoomReading(162.0, "", None, None, 182.0),
        RoomReading(120.0, "", 60.0, 80.0, 150.0, excluded='moved; "twice", (badly)'),
    ]
    answer = room_answer(
        readings, "oscillometric", RoomVisit(animal='the "big", cat', taken_at="2026-03-01")
    )
    # Used: the second to the fourth.
    assert answer.systolic.mean == 160.0
    assert (answer.diastolic.mean, answer.diastolic.n) == (98.0, 2)
    assert answer.mean.mean == 117.0
    assert (answer.heart_rate.mean, answer.heart_rate.unit) == (182.0, "/min")
    assert answer.chart_line == (
        '2026-03-01 animal "the ""big"", cat" Systolic 160, diastolic 98, mean 117 mmHg, '
        "heart rate 182 /min (oscillometric, mean of 3 of 5 readings, SD 2; 190/120/140/200 left "
        'out, 160/100/118/180, 158/96/116/184, 162///182, 120/60/80/150 excluded "moved; '
        '""twice"", (badly)")'
    )


def test_a_condition_other_than_the_clinic_stands_in_the_line():
    answer = room_answer(taken(150, 151, 152), "doppler", RoomVisit(setting="home"))
    assert "(Doppler, home, mean of" in answer.chart_line


def test_doppler_gives_systolic_only():
    with pytest.raises(CallError, match="gives no diastolic"):
        room_answer([RoomReading(150.0, "", 90.0)], "doppler")


@pytest.mark.parametrize(("readings", "method"), [([], "doppler"), (taken(150), "finger")])
def test_wrong_calls(readings, method):
    with pytest.raises(CallError):
        room_answer(readings, method)


def test_to_dict_is_plain():
    held = room_answer(taken(165, None, 160), "doppler").to_dict()
    assert held["systolic"]["n"] == 2
    assert held["diastolic"] is None
    assert held["go_on"]["reasons"][0]["fact_id"] == "protocol.n.minimum"


def test_unusual_values_are_noted():
    notes = room_answer(taken(255, 300, 160), "doppler").words.notes
    assert "255 mmHg is unusual (outside 80 to 250)" in notes[0]
    assert "over300" in notes[1]


def test_small_parts():
    assert [short(value) for value in (160.0, 160.04, 160.06)] == ["160", "160", "160.1"]
    assert quoted("plain") == '"plain"'


@pytest.mark.parametrize(
    ("width", "limb", "told"),
    [(2.3, 8, True), (2.4, 8, False), (3.2, 8, False), (3.3, 8, True), (2.3, None, False)],
)
@pytest.mark.parametrize("species", ["cat", "dog", ""])
def test_a_cuff_too_narrow_or_too_wide_is_told(
    species: str, width: float, limb: float | None, told: bool
) -> None:
    answer = room_answer(
        [RoomReading(150.0)] * 5,
        "doppler",
        RoomVisit(species=species, cuff_width_cm=width, limb_circumference_cm=limb),
    )
    assert any("30 to 40 % is advised" in line for line in answer.words.notes) is told


def test_of_a_species_without_bounds_nothing_is_judged_and_that_is_said():
    answer = room_answer(taken(45, 46, 44, 45), "doppler", RoomVisit(species="rabbit"))
    assert answer.urgent == ()
    (line,) = answer.words.cautions
    assert "this session's mean of 45 mmHg is judged neither as too low nor as too high" in line
    assert room_answer(taken(45, 46, 44, 45), "doppler", RoomVisit(species="cat")).urgent != ()
