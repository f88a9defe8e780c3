"""What stands beside an effect: when it can be known, the verdict's bounds, plain means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet import Priors
from bpvet.answers.trend.drugs import treatment_answers
from bpvet.maths.mixture import Mixture
from bpvet.models.trend.plain_means import CAUSES, plain_difference
from bpvet.reports.animal.sections import numbers
from tests.models.small_records import drug, records, rows, steady

DATES = ("2026-01-10", "2026-02-10", "2026-03-12", "2026-04-14", "2026-05-20")
WITHOUT = replace(Priors.default("cat", "doppler"), groups=None)


def trend(means, treatments=(), dates=DATES, **more):
    kept = {key: more.pop(key) for key in ("fixed", "priors") if key in more}
    found = [one for date, mean in zip(dates, means, strict=True) for one in steady(mean, [date])]
    return bpvet.fit_trend(records(rows(found), list(treatments), **more), "A1", **kept)


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        (drug("2026-02-01"), ""),
        # The session of the start's day comes before the first dose.
        (drug("2026-01-10"), ""),
        (drug("2026-01-01"), "none_before"),
        # Amlodipine's time constant is 3 d: nine days after the stop.
        (drug("2026-01-01", stopped_on="2026-05-10"), ""),
        (
            drug("2026-01-01", stopped_on="2026-05-12"),
            "none_before",
        ),
        (drug("2026-05-20"), "none_on"),
        (drug("2026-05-18"), "none_on"),  # on = 0.49
        (drug("2026-05-17"), ""),  # on = 0.63
        (drug("2026-02-11", stopped_on="2026-02-20"), "none_on"),
    ],
)
def test_when_an_effect_can_be_known(given, reason):
    own = trend([180.0] * 5, [given])
    assert own.treatments[0].unknowable == reason
    (held,) = treatment_answers(own, 0.95)
    assert (held.reason.code if held.reason else "") == (reason and f"effect.{reason}")
    known = reason == ""
    assert (held.verdict != "cannot be known") is known
    for value in (held.effect, held.effect_now, held.p_lower_by_10, held.effect_at_half_tau):
        assert (value is not None) is known
    assert (held.told_by_readings is not None) is known
    answer = own.answer()
    assert all((course.effect is not None) is known for course in answer.courses)
    assert ("cannot be known yet" in numbers(answer).text) is not known
    assert ("cannot be known yet" in repr(own)) is not known
    assert ("cannot be known yet" in " ".join(answer.sentences)) is not known


def test_the_verdicts_bounds_are_nine_tenths_and_one_twentieth(monkeypatch):
    own = trend([180.0] * 5, [drug("2026-02-01")])
    for p, verdict in (
        (0.9001, "has lowered"),
        (0.8999, "cannot tell yet"),
        (0.0501, "cannot tell yet"),
        (0.0499, "fall unlikely"),
    ):
        # Two points: one far below −10, one far above.
        mixture = Mixture(np.array([p, 1 - p]), np.array([-90.0, 60.0]), np.array([0.1, 0.1]))
        spell = replace(own.treatments[0], effect=mixture)
        monkeypatch.setitem(own.__dict__, "treatments", (spell,))
        (held,) = treatment_answers(own, 0.95)
        assert held.verdict == verdict
        assert held.p_lower_by_10 == pytest.approx(p)
        # An urgent line withholds it, and the number stays.
        (held,) = treatment_answers(own, 0.95, "severe")
        assert (held.verdict, held.withheld) == (None, "severe")
        assert held.effect is not None


def test_a_change_of_dose_after_the_latest_session_is_not_in_the_effect():
    first = drug("2026-02-01", dose="1", dose_unit="mg", stopped_on="2026-06-01")
    later = drug("2026-06-01", dose="2", dose_unit="mg")
    plain = trend([190.0, 185.0, 160.0, 158.0, 161.0], [replace_stop(first)])
    own = trend([190.0, 185.0, 160.0, 158.0, 161.0], [first, later])
    assert len(own.courses) == 2
    assert own.treatments[0].effect.mean == pytest.approx(plain.treatments[0].effect.mean, abs=1e-6)
    assert own.treatments[0].effect.sd == pytest.approx(plain.treatments[0].effect.sd, abs=1e-6)
    assert own.treatments[0].changed_on == np.datetime64("2026-02-01")
    early = [dict(first, stopped_on="2026-04-20"), dict(later, started_on="2026-04-20")]
    both = trend([190.0, 185.0, 160.0, 158.0, 161.0], early).treatments[0]
    assert both.effect.sd > plain.treatments[0].effect.sd + 0.1


def replace_stop(row):
    return {key: value for key, value in row.items() if key != "stopped_on"}


def test_plain_means_are_told_where_they_part_and_the_verdict_would_be_another():
    # One high session before, under one narrow prior of effects: the model believes little of it.
    narrow = replace(WITHOUT, effect_sd=5.0)
    own = trend([190.0, 150.0, 148.0, 151.0, 149.0], [drug("2026-01-10")], priors=narrow)
    answer = own.answer()
    (held,) = answer.treatments
    assert held.plain.told
    assert held.plain.difference == pytest.approx(149.5 - 190, abs=1e-9)
    assert held.plain.cause == "chance"
    (said,) = [one.text for one in answer.statements if one.key == "effect.plain_means"]
    assert "190 before, 150 on it" in said or "190 before, 149 on it" in said
    assert "may have read high" in said
    # Where the two agree nothing is said, and the numbers stay.
    agree = trend([200.0, 198.0, 150.0, 148.0, 151.0], [drug("2026-02-10")]).answer()
    assert not agree.treatments[0].plain.told
    assert "effect.plain_means" not in {one.key for one in agree.statements}
    assert "plain mean on it less that before it" in numbers(agree).text


@pytest.mark.parametrize(
    ("moved", "cause"), [({"site": "tail"}, "recorded change"), ({}, "chance")]
)
def test_the_gap_is_put_down_to_what_makes_most_of_it(moved, cause):
    narrow = replace(WITHOUT, effect_sd=3.0, change_sd={"site": 40.0})
    before = rows(steady(190, DATES[:2]), **moved)
    after = rows(steady(150, DATES[2:]), **(moved and {"site": "foreleg"}))
    held = records(before + after, [drug("2026-02-10")])
    own = bpvet.fit_trend(held, "A1", priors=narrow)
    found = plain_difference(own, own.treatments[0])
    assert found.cause == cause
    assert found.plain == pytest.approx(-40, abs=1e-9)
    assert found.before_sessions == 2


@settings(max_examples=10, deadline=None)
@given(
    st.lists(st.floats(120, 220), min_size=5, max_size=5),
    st.floats(-20, 20),
    st.integers(-700, 700),
)
def test_dates_and_readings_shift_without_a_change_of_what_is_told(means, by, days):
    fixed = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
    plain = trend(means, [drug("2026-02-10")], fixed=fixed, priors=WITHOUT)
    dates = [str(np.datetime64(date) + days) for date in DATES]
    started = str(np.datetime64("2026-02-10") + days)
    level = (WITHOUT.level[0] + by, WITHOUT.level[1])
    moved = trend(
        [mean + by for mean in means],
        [drug(started)],
        dates=dates,
        fixed=fixed,
        priors=replace(WITHOUT, level=level),
        as_of="2028-12-01",
    )
    one, two = treatment_answers(plain, 0.95)[0], treatment_answers(moved, 0.95)[0]
    assert one.effect.estimate == pytest.approx(two.effect.estimate, abs=1e-8)
    assert one.told_by_readings == pytest.approx(two.told_by_readings, abs=1e-9)
    assert one.plain.difference == pytest.approx(two.plain.difference, abs=1e-8)
    assert one.plain.cause in CAUSES
    assert (one.plain.cause, one.plain.told) == (two.plain.cause, two.plain.told)


def test_once_beside_the_effects_an_unrecorded_change_is_named():
    given = [drug("2026-02-01", stopped_on="2026-03-01"), drug("2026-04-01", "telmisartan")]
    keys = [one.key for one in trend([180.0] * 5, given).answer().statements]
    assert keys.count("effect.unrecorded") == 1
    assert "effect.unrecorded" not in [one.key for one in trend([180.0] * 5).answer().statements]
    none = trend([180.0] * 5, [drug("2026-01-01")]).answer()
    assert "effect.unrecorded" not in [one.key for one in none.statements]


def test_the_last_three_sessions_are_a_plain_mean_with_the_t_interval():
    own = trend([180.0, 120.0, 150.0, 156.0, 144.0]).answer().companions.last_three
    assert own.estimate == pytest.approx(150)
    # t of 2 degrees of freedom at 97.5 %: 4.302652729911275; the SD is 6.
    assert own.upper - own.estimate == pytest.approx(4.302652729911275 * 6 / np.sqrt(3))
    assert own.estimate - own.lower == pytest.approx(own.upper - own.estimate)
    assert (str(own.first), str(own.last)) == (DATES[2], DATES[4])
    alike = trend([180.0, 120.0, 150.0, 150.0, 150.0]).answer().companions.last_three
    assert (alike.lower, alike.upper) == (None, None)
    assert "equal" in alike.reason
    few = trend([180.0, 120.0], dates=DATES[:2]).answer()
    assert few.companions.last_three.estimate is None
    assert "fewer than three" in few.companions.last_three.reason
    assert "companions.last_three" not in {one.key for one in few.statements}
    changed = trend([180.0] * 5, [drug("2026-04-01")]).answer().companions.last_three
    assert changed.changed == ("amlodipine",)


def test_a_bound_is_no_part_of_the_last_three():
    readings = rows([(date, [150.0, 152.0, 148.0]) for date in DATES[:4]])
    readings += rows([(DATES[4], [">300", ">300", ">300"])])
    answer = bpvet.fit_trend(records(readings), "A1").answer()
    found = answer.companions.last_three
    assert (found.estimate, found.passed_over) == (150, 1)
    (said,) = [one.text for one in answer.statements if one.key == "companions.last_three"]
    assert "beyond the end of the gauge is left out" in said


@pytest.mark.parametrize(
    ("species", "before", "visits", "told"),
    [
        ("dog", "no", 2, True),
        ("dog", "", 2, True),
        ("dog", "yes", 2, False),
        ("dog", "no", 3, False),
        ("cat", "no", 2, False),
    ],
)
def test_a_dog_new_to_measurement_needs_three_visits(species, before, visits, told):
    own = trend([170.0] * visits, dates=DATES[:visits], species=species, measured_before=before)
    answer = own.answer()
    assert ("usual.new_dog" in {one.key for one in answer.statements}) is told
    first = {"no": (25, 18), "": (16, 16), "yes": None}[before] if species == "dog" else (5, 8)
    assert own.priors.first_visit == first
    assert answer.visits == visits


def test_the_assumptions_name_the_groups_of_a_treated_animal_alone():
    treated = " ".join(
        trend([200.0, 198, 150, 148, 151], [drug("2026-02-10")]).answer().assumptions
    )
    assert "ended near 150–160 mmHg on treatment" in treated
    assert "a place is kept for a drug that does nothing" in treated
    assert "level 130 ± 16 with an effect of 0 ± 20 (60 %" in treated
    assert "a recorded change may read higher or lower" in treated.casefold()
    plain = " ".join(trend([150.0] * 5).answer().assumptions)
    assert "ended near" not in plain
    assert "Level 140 ± 35 mmHg" in plain


ONE_HIGH = "effect.one_high_session"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        # One session of 160 or more, then lower: part of it comes back without a drug.
        ([160.0], [140.0, 140.0], True),
        ([190.0], [150.0, 150.0], True),
        # Not high, or not one, or no fall.
        ([159.0], [140.0, 140.0], False),
        ([190.0, 190.0], [150.0, 150.0], False),
        ([162.0], [190.0, 190.0], False),
    ],
)
def test_a_fall_from_one_high_session_may_be_the_return_to_usual(before, after, said):
    days = [f"2026-0{i + 1}-10" for i in range(len(before) + len(after))]
    sessions = [(day, [value] * 3) for day, value in zip(days, [*before, *after], strict=True)]
    started = days[len(before) - 1]
    answer = bpvet.fit_trend(records(rows(sessions), [drug(started)]), "A1", rule="all").answer()
    told = {one.key: one.text for one in answer.statements}
    assert (ONE_HIGH in told) is said
    if said:
        assert f"({before[0]:.0f} mmHg)" in told[ONE_HIGH]
        assert "only in part" in told[ONE_HIGH]


def test_plain_means_about_the_last_change_go_back_to_the_change_before_it():
    own = trend(
        [200.0, 190.0, 170.0, 168.0, 140.0],
        [
            drug("2026-01-20", stopped_on="2026-03-20", dose="0.625 mg"),
            drug("2026-03-20", dose="1.25 mg"),
        ],
    )
    found = own.answer().recorded.since_change
    # 190 and 170 lie between the two changes; 200 was before either.
    assert (found.before_sessions, found.before_mean) == (2, pytest.approx(180))
    assert (found.after_sessions, found.after_mean) == (2, pytest.approx(154))
    assert str(found.date) == "2026-03-20"


def test_the_last_three_sessions_have_student_s_interval_about_their_plain_mean():
    # Means 140, 150, 160: SD 10; t of 2 degrees of freedom, 97.5 %: 4.3027 (any table).
    found = trend([190.0, 185.0, 140.0, 150.0, 160.0]).answer().companions.last_three
    half = 4.302652729911275 * 10 / np.sqrt(3)
    assert found.estimate == pytest.approx(150, abs=1e-9)
    assert (found.lower, found.upper) == pytest.approx((150 - half, 150 + half), abs=1e-9)
