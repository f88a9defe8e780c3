"""A clinic's animals over time on treatment: each is somewhere; times are those by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.models.clinic.over_time import PLACES, _ends, over_time, started_animals
from bpvet.records.records import Records

START = np.datetime64("2025-01-10")


def _records(histories, as_of="2026-11-01", drug="amlodipine", **animals):
    """Records of animals given as days after the start and means: all begun on one day."""
    readings, given, own = [], [], []
    for name, sessions in histories.items():
        readings += [
            {
                "animal": name,
                "taken_at": str(START + np.timedelta64(day, "D")),
                "method": "doppler",
                "systolic": mean,
                "reading": k + 1,
            }
            for day, mean in sessions
            for k in range(3)
        ]
        given.append({"animal": name, "drug": drug, "started_on": str(START)})
        left = animals.get(name, {})
        own.append({"animal": name, "species": "cat", "left_on": "", "left_reason": "", **left})
    return Records.from_frames(
        pd.DataFrame(readings),
        treatments=pd.DataFrame(given),
        animals=pd.DataFrame(own),
        as_of=as_of,
    )


def _on(day):
    return str(START + np.timedelta64(day, "D"))


HISTORIES = {
    "reached": [(-3, 190), (20, 175), (80, 150), (170, 145)],
    "above": [(-3, 190), (85, 175), (185, 172)],
    "unseen": [(-3, 190), (10, 180)],
    "died": [(-3, 190), (20, 178)],
    "moved": [(-3, 190), (70, 170)],
    "low": [(-3, 150), (90, 148), (180, 147)],
    "blank": [(90, 150), (180, 166)],
}
GONE = {
    "died": {"left_on": _on(40), "left_reason": "died"},
    "moved": {"left_on": _on(100), "left_reason": "moved"},
}


@pytest.fixture(scope="module")
def found():
    return over_time(_records(HISTORIES, **GONE))


def test_every_animal_is_somewhere(found):
    three, six = found.shares[0], found.shares[1]
    assert three.counts == dict(zip(PLACES, (3, 2, 1, 1, 0, 0), strict=True))
    assert six.counts == dict(zip(PLACES, (2, 2, 1, 1, 1, 0), strict=True))
    assert all(sum(one.counts.values()) == one.started for one in found.shares)
    # Of those measured, never of those begun.
    assert (three.share, six.share) == (3 / 5, 2 / 4)
    # Wilson's interval of 3 of 5, by hand.
    assert (three.lower, three.upper) == pytest.approx((0.2307, 0.8824), abs=1e-3)


def test_only_animals_above_target_before_wait_for_it(found):
    assert (found.started, found.waited, found.below_before, found.unknown_before) == (7, 5, 1, 1)
    by_name = {one.animal: one for one in started_animals(_records(HISTORIES, **GONE), 160)}
    assert (by_name["reached"].days, by_name["reached"].since) == (80, 20)
    assert (by_name["died"].event, by_name["died"].days) == ("died", 40)
    assert (by_name["unseen"].event, by_name["unseen"].days) == ("", 10)
    assert found.wide_days == 60


def test_death_and_leaving_are_competing_events(found):
    by_day = {(one.day, one.event): one.share for one in found.incidence}
    # Aalen and Johansen by hand: five wait; one is censored on day 10, one of four dies on day 40,
    # one of three is at target on day 80, one of two leaves on day 100; the last ends on day 185.
    assert by_day[90, "died"] == pytest.approx(1 / 4)
    assert by_day[90, "at target"] == pytest.approx(3 / 4 * 1 / 3)
    assert by_day[90, "left"] == 0
    assert by_day[180, "left"] == pytest.approx(3 / 4 * 2 / 3 * 1 / 2)
    assert sum(by_day[180, one] for one in ("at target", "died", "left")) < 1


def test_who_was_not_followed_long_enough_is_told_apart():
    found = over_time(_records({"young": [(-3, 190), (20, 175)]}, as_of=_on(60)))
    assert found.shares[0].counts["not yet due"] == 1
    assert found.shares[0].share is None
    assert {one.share for one in found.incidence} == {None}


def test_classes_stand_apart_and_small_numbers_are_hidden():
    many = {f"a{k}": [(-3, 190), (90, 150), (180, 150)] for k in range(6)}
    shown = over_time(_records(many), pseudonyms=True)
    assert shown.shares[0].counts["at target"] == 6
    assert shown.waited == 6
    mixed = many | {"b": [(-3, 190), (90, 175), (180, 175)]}
    hidden = over_time(_records(mixed), pseudonyms=True)
    assert set(hidden.shares[0].counts.values()) == {None}
    assert hidden.shares[0].share is None
    assert hidden.shares[0].started == 7
    few = over_time(_records({"a": many["a0"]}), pseudonyms=True)
    assert few.incidence == ()
    assert few.shares[0].started is None
    # What one class hides could be had from the other and the sum: then no class is shown.
    records = _records(many | {f"c{k}": many["a0"] for k in range(2)})
    treatments = records.treatments.copy()
    treatments.loc[treatments["animal"].str.startswith("c"), "drug"] = "benazepril"
    both = Records.from_frames(
        records.readings[["animal", "taken_at", "method", "systolic", "reading"]],
        treatments=treatments[["animal", "drug", "started_on"]],
        animals=records.animals[["animal", "species"]],
        as_of="2026-11-01",
    )
    classes = [one for one in over_time(both, pseudonyms=True).shares if one.drug_class]
    assert {one.started for one in classes} == {None}
    renin = over_time(_records({"a": many["a0"]}, drug="benazepril"))
    assert {one.drug_class for one in renin.shares} == {"", "renin group"}


def test_a_share_that_gives_a_small_number_back_is_hidden():
    some = {f"a{k}": [(-3, 190), (90, 150), (180, 150)] for k in range(3)}
    some |= {f"b{k}": [(-3, 190), (90, 190), (180, 190)] for k in range(6)}
    shown = [by_day for by_day in over_time(_records(some)).incidence if by_day.share]
    assert [round(by_day.share * 9) for by_day in shown if by_day.event == "at target"][-1] == 3
    hidden = over_time(_records(some), pseudonyms=True)
    assert hidden.waited == 9
    assert not [by_day for by_day in hidden.incidence if by_day.share]
    # Eight of nine are no small number.
    most = some | {f"b{k}": some["a0"] for k in range(5)}
    assert [
        by_day for by_day in over_time(_records(most), pseudonyms=True).incidence if by_day.share
    ]


def test_an_own_target_counts():
    one = {"a": [(-3, 158), (90, 152), (180, 149)]}
    records = _records(one, a={"target_systolic": 150})
    found = over_time(records)
    assert [share.counts["at target"] for share in found.shares[:2]] == [0, 1]
    assert found.waited == 1


def test_a_share_of_nought_or_one_has_no_interval_of_incidence():
    assert _ends(0.0, 0.0) == _ends(1.0, 0.1) == _ends(0.5, float("nan")) == (None, None)
    low, high = _ends(0.5, 0.1)
    assert 0 < low < 0.5 < high < 1


def test_a_clinic_without_treated_animals_is_told_of_nobody():
    records = _records({"a": [(-3, 150)]}, drug="renal diet")
    found = bpvet.over_time(records)
    assert (found.started, found.incidence) == (0, ())
    assert repr(found).startswith("0 animals begun")
    assert list(found.to_frame()["started"]) == [0, 0]
