"""What earlier visits let one expect of a session: from these alone, and never reassuring."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pandas as pd
import pytest

from bpvet.answers.room.expected import Expected, expected
from bpvet.answers.room.result import RoomReading, RoomVisit
from bpvet.answers.room.room import room_answer
from bpvet.models.trend.fit import fit_trend
from bpvet.records.records import Records


@pytest.fixture(scope="module")
def records() -> Records:
    days = pd.date_range("2025-06-01", periods=8, freq="28D").strftime("%Y-%m-%d")
    rows = [(day, 148 + 2 * (i % 3) + k) for i, day in enumerate(days) for k in range(4)]
    frame = pd.DataFrame(rows, columns=["taken_at", "systolic"])
    frame = frame.assign(animal="A17", method="doppler")
    animals = pd.DataFrame({"animal": ["A17"], "species": ["cat"]})
    return Records.from_frames(frame, animals=animals, as_of="2026-03-01")


def of(records: Records, *values: float, on: str = "2026-02-01", **more: str) -> Expected:
    readings = [RoomReading(value) for value in values]
    answer = room_answer(readings, "doppler", RoomVisit(animal="A17", taken_at=on, **more))
    return expected(records, "A17", answer)


def test_it_is_the_next_session_of_the_earlier_visits(records: Records) -> None:
    found = of(records, 150, 151, 152)
    trend = fit_trend(records.speaking_on("2026-02-01"), "A17", method="doppler")
    coming = trend.next_session("2026-02-01", readings=3)
    assert found.mean == pytest.approx(coming.mean)
    assert (found.lower, found.upper) == pytest.approx(coming.interval(0.95))
    assert found.sessions == len(trend.series.date) == 8
    assert "lies within." in found.text


def test_later_visits_are_not_known_yet(records: Records) -> None:
    assert of(records, 150, on="2025-07-15").sessions == 2


def test_where_the_session_lies(records: Records) -> None:
    assert of(records, 240, 241).lies == "above"
    assert of(records, 70, 72).lies == "below"
    readings = [RoomReading(300.0, "at least")]
    answer = room_answer(readings, "doppler", RoomVisit(taken_at="2026-02-01"))
    assert expected(records, "A17", answer).lies == "above"
    readings = [RoomReading(150.0, "at least")]
    answer = room_answer(readings, "doppler", RoomVisit(taken_at="2026-02-01"))
    found = expected(records, "A17", answer)
    assert found.lies == "open"
    assert "whether it lies within is not known" in found.text


def test_within_is_no_less_urgent(records: Records) -> None:
    high = pd.DataFrame({"taken_at": ["2026-01-01", "2026-01-10"], "systolic": [196, 190]})
    mine = Records.from_frames(high.assign(animal="A17", method="doppler"), as_of="2026-03-01")
    found = of(mine, 195, 190)
    assert found.lies == "within"
    assert "what is urgent is no less urgent for that" in found.text


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"setting": "home"}, "no earlier home Doppler session is on record"),
        ({"state": "anaesthetised"}, "an anaesthetised Doppler session is not set beside others"),
    ],
)
def test_what_nothing_is_known_of(records: Records, more: dict[str, str], why: str) -> None:
    found = of(records, 150, **more)
    assert (found.mean, found.lower, found.lies) == (None, None, "")
    assert why in found.text
    assert found.to_dict()["sessions"] == 0


def test_a_first_visit(records: Records) -> None:
    assert "no earlier Doppler session" in of(records, 150, on="2025-05-01").text


def test_what_was_expected_stays_as_it_was(records: Records) -> None:
    found = of(records, 150, 151, 152)
    with pytest.raises(FrozenInstanceError):
        found.lies = "within"  # type: ignore[misc]
