"""Recorded changes of measuring: which sessions have a column, on whose scale, with which prior."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet import Priors
from bpvet.models.trend.changes import recorded_changes
from bpvet.models.trend.outlook import surprise, usual_as_latest, without_tense
from bpvet.pictures.trend import trend_picture as picture
from reference_checks.changes.check import differences
from tests.models.small_records import drug, records, rows

DATES = ("2026-01-10", "2026-02-10", "2026-03-12", "2026-04-14", "2026-05-20")
MEANS = (151.0, 158.0, 149.0, 138.0, 143.0)
FIXED = {"sv": 11.0, "sr": 7.0, "sw": 6.0}


def sessions(means=MEANS, dates=DATES, kind="site", values=(), method="doppler", **columns):
    """Readings of five sessions, each with its own site (or other circumstance)."""
    found = []
    for i, (date, mean) in enumerate(zip(dates, means, strict=True)):
        own = {kind: values[i]} if values else {}
        readings = [mean + part for part in (3.0, -2.0, 1.0, 0.0, -2.0)]
        found += rows([(date, readings)], method=method, **own, **columns)
    return found


def trend(readings, treatments=(), **more):
    kept = {key: more.pop(key) for key in ("bridge", "fixed", "priors", "rule") if key in more}
    return bpvet.fit_trend(records(readings, list(treatments), **more), "A1", **kept)


def test_the_reference_is_met():
    for what, difference, tolerance in differences():
        assert abs(difference) <= tolerance, what


def test_a_column_stands_where_both_are_recorded_and_differ():
    values = ("tail", "Tail ", "", "foreleg", "foreleg")
    found = recorded_changes(trend(sessions(values=values)).series)
    assert [(one.kind, one.latest, one.other) for one in found] == [("site", "foreleg", "tail")]
    assert found[0].column.tolist() == [-1, -1, 0, 0, 0]
    assert found[0].same.tolist() == [False, False, False, True, True]


@pytest.mark.parametrize(
    "values",
    [
        ("tail", "tail", "tail", "tail", ""),  # the latest has none recorded
        ("Foreleg", "foreleg ", "", "FORELEG", "foreleg"),
    ],
)
def test_without_a_difference_the_answer_does_not_change_by_a_digit(values):
    plain, own = trend(sessions()), trend(sessions(values=values))
    assert own.columns.terms == plain.columns.terms
    assert own.latest == plain.latest
    assert own.changes == ()


def test_a_session_whose_readings_hold_two_values_has_none():
    readings = sessions(values=("tail", "tail", "foreleg", "foreleg", "foreleg"))
    readings[0]["site"] = "foreleg"
    found = recorded_changes(trend(readings).series)
    assert found[0].column.tolist() == [0, -1, 0, 0, 0]
    # And where it is the latest that holds two, nothing is known to differ from it.
    readings[-1]["site"] = "tail"
    assert recorded_changes(trend(readings).series) == ()


def test_each_kind_and_each_other_value_has_its_own_column():
    readings = sessions(values=("tail", "hind leg", "foreleg", "foreleg", "foreleg"))
    for i, one in enumerate(readings):
        one["operator"], one["instrument"] = ("Ann", "I") if i < 10 else ("Bea", "II")
    own = trend(readings)
    terms = [one for one in own.columns.terms if one.startswith("change")]
    assert terms == [
        "change site tail",
        "change site hind leg",
        "change instrument i",
        "change operator ann",
    ]
    sds = dict(zip(own.columns.terms, own.columns.forms[0].sd, strict=True))
    assert [sds[term] for term in terms] == [20, 20, 12, 6]
    assert {one.prior for one in own.changes} == {(0, 20), (0, 12), (0, 6)}


def test_the_usual_pressure_stands_on_the_scale_of_the_latest_session():
    there = trend(sessions(values=("tail", "foreleg", "tail", "foreleg", "tail")), fixed=FIXED)
    back = trend(sessions(values=("foreleg", "tail", "foreleg", "tail", "foreleg")), fixed=FIXED)
    assert there.latest.mean == pytest.approx(back.latest.mean, abs=1e-9)
    # What reads higher by 30 at one site pulls the level there and leaves the other.
    high = [mean + 30 * (i % 2) for i, mean in enumerate(MEANS)]
    moved = trend(sessions(high, values=("tail", "foreleg") * 2 + ("tail",)), fixed=FIXED)
    (change,) = moved.changes
    assert change.difference.mean < -12
    assert moved.latest.mean < trend(sessions(high), fixed=FIXED).latest.mean - 3


def test_instruments_are_compared_within_one_method():
    doppler = sessions(kind="instrument", values=("A", "A", "B", "B", "B"))
    cuff = sessions(
        dates=("2026-01-11", "2026-02-11", "2026-03-13", "2026-04-15", "2026-05-18"),
        kind="instrument",
        values=("B", "C", "C", "C", "C"),
        method="oscillometric",
    )
    own = trend(doppler + cuff, bridge=("methods",))
    found = {one.term: one for one in recorded_changes(own.series)}
    assert list(found) == ["change instrument a", "change instrument b, oscillometric"]
    told = found["change instrument b, oscillometric"]
    assert (told.latest, told.other, int(told.column.sum())) == ("C", "B", -1)
    assert own.bridged


@pytest.mark.parametrize(
    ("species", "latest", "other", "centre"),
    [
        ("dog", "sitting", "left lateral recumbency", 15),
        ("dog", "lateral", "Sitting", -15),
        ("dog", "sternal", "lateral", 0),
        ("cat", "sitting", "lateral", 0),
    ],
)
def test_a_dog_reads_higher_sitting_than_on_its_side(species, latest, other, centre):
    values = (other, other, latest, latest, latest)
    own = trend(sessions(kind="posture", values=values), species=species)
    assert own.changes[0].prior == (centre, 20)


def test_what_the_priors_do_not_name_has_no_column():
    values = ("tail", "tail", "tail", "foreleg", "foreleg")
    priors = replace(Priors.default("cat", "doppler"), change_sd={"operator": 6.0})
    assert trend(sessions(values=values), priors=priors).changes == ()
    heart = [dict(one, heart_rate=180.0) for one in sessions(values=values, method="oscillometric")]
    found = bpvet.fit_trend(records(heart), "A1", "oscillometric", "heart_rate")
    assert found.changes == ()


def test_a_surprise_at_a_new_site_allows_for_it():
    old = ("tail",) * 4
    same = surprise(trend(sessions(values=(*old, "tail")), fixed=FIXED))
    new = surprise(trend(sessions(values=(*old, "foreleg")), fixed=FIXED))
    assert new.expected.mean == pytest.approx(same.expected.mean, abs=1e-9)
    assert new.expected.sd**2 == pytest.approx(same.expected.sd**2 + 400, abs=1e-9)
    # A site that was met before is on the scale of what was learnt of it.
    known = surprise(trend(sessions(values=("foreleg", "tail") * 2 + ("foreleg",)), fixed=FIXED))
    assert same.expected.sd < known.expected.sd < new.expected.sd


def test_a_part_of_the_sessions_answers_on_the_scale_of_the_latest():
    values = ("foreleg", "tail", "foreleg", "tail", "foreleg")
    readings = sessions(MEANS, values=values)
    whole = trend(readings, fixed=FIXED)
    for one in readings[-5:]:
        one["demeanour"] = "tense"
    tense = trend(readings, fixed=FIXED)
    calm = without_tense(tense)
    # The calm ones end at the tail; asked at the foreleg it is their usual less the difference.
    (change,) = calm.changes
    assert (change.change.latest, change.change.other) == ("tail", "foreleg")
    expected = calm.at(DATES[-1]).mean - change.difference.mean
    assert usual_as_latest(calm, tense) == pytest.approx(expected, abs=1e-9)
    assert usual_as_latest(whole, whole) == pytest.approx(whole.latest.mean, abs=1e-12)


def test_the_caption_says_that_other_sites_are_drawn_as_they_read():
    values = ("tail", "tail", "foreleg", "foreleg", "foreleg")
    said = picture(trend(sessions(values=values))).caption
    assert "recorded with another site are drawn as they read" in said
    assert "drawn as they read" not in picture(trend(sessions())).caption


@pytest.mark.parametrize(
    ("values", "told"),
    [
        (("tail", "tail", "foreleg", "foreleg", "foreleg"), True),
        (("tail", "tail", "", "foreleg", "foreleg"), True),
        (("tail", "tail", "tail", "foreleg", "foreleg"), False),
        (("tail", "tail", "foreleg", "tail", "foreleg"), False),
    ],
)
def test_a_change_on_the_start_of_a_drug_cannot_be_told_from_it(values, told):
    own = trend(sessions(values=values), [drug("2026-02-10")])
    assert [course.drug for course in own.changes[0].courses] == ["amlodipine"] * told
    keys = [one.key for one in own.answer().statements]
    assert ("effect.same_time" in keys) is told
    assert "context.change" in keys


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.sampled_from(["tail", "foreleg", "hind leg", ""]), min_size=5, max_size=5),
    st.integers(-900, 900),
    st.floats(-20, 20),
)
def test_dates_shift_and_readings_shift(values, days, by):
    plain = trend(sessions(values=values), fixed=FIXED)
    dates = [str(np.datetime64(date) + days) for date in DATES]
    moved = trend(sessions(dates=dates, values=values), fixed=FIXED, as_of="2028-12-01")
    assert moved.latest.mean == pytest.approx(plain.latest.mean, abs=1e-9)
    assert moved.latest.sd == pytest.approx(plain.latest.sd, abs=1e-9)
    priors = Priors.default("cat", "doppler")
    priors = replace(priors, level=(priors.level[0] + by, priors.level[1]))
    raised = [mean + by for mean in MEANS]
    higher = trend(sessions(raised, values=values), fixed=FIXED, priors=priors)
    assert higher.latest.mean - by == pytest.approx(plain.latest.mean, abs=1e-8)
    for one, two in zip(plain.changes, higher.changes, strict=True):
        assert one.difference.mean == pytest.approx(two.difference.mean, abs=1e-8)
