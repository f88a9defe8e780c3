"""Sessions matched in pairs: at one visit, under one condition, each at most once."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.records.records import Records
from bpvet.visits.pairs import Pairs, pairs


def rows(at: str, method: str, *values: Any, **more: Any) -> list[dict[str, Any]]:
    """Return the rows of one session, a minute apart if a time is given."""
    made = []
    for minute, value in enumerate(values):
        moment = at
        if "T" in at:
            start = pd.Timestamp(at) + pd.Timedelta(minutes=minute)
            moment = start.isoformat(timespec="minutes")
        made.append({"taken_at": moment, "method": method, "systolic": value} | more)
    return made


def matched(*sessions: list[dict[str, Any]], **choice: Any) -> Pairs:
    frame = pd.DataFrame([{"animal": "A1"} | row for session in sessions for row in session])
    animals = pd.DataFrame({"animal": frame["animal"].unique(), "species": "cat"})
    return pairs(Records.from_frames(frame, animals=animals, as_of="2026-12-31"), **choice)


def test_one_session_by_each_method() -> None:
    found = matched(
        rows("2026-03-01T10:00", "oscillometric", 150, 154, 152),
        rows("2026-03-01T10:20", "doppler", 140, 142),
        rows("2026-04-01", "doppler", 150),
    )
    assert found.sessions["method"].tolist() == ["doppler", "oscillometric"]
    assert found.sessions["mean"].tolist() == [141, 152]
    assert found.sessions["count"].tolist() == [2, 3]
    assert found.sessions["ss"].tolist() == [2, 8]
    assert found.single_sessions == 1
    assert found.readings["value"].tolist() == [140, 142, 150, 154, 152]
    assert found.readings["place"].tolist() == [0, 1, 0, 1, 2]


def test_several_sessions_go_by_label_then_time() -> None:
    found = matched(
        rows("2026-03-01T09:00", "doppler", 140),
        rows("2026-03-01T15:00", "doppler", 150),
        rows("2026-03-01T15:30", "oscillometric", 160),
    )
    assert found.sessions["mean"].tolist() == [150, 160]
    found = matched(
        rows("2026-03-01T09:00", "doppler", 140, session="am"),
        rows("2026-03-01T15:00", "doppler", 150, session="pm"),
        rows("2026-03-01T15:30", "oscillometric", 160, session="am"),
        rows("2026-03-01T16:00", "oscillometric", 170, session="pm"),
    )
    assert found.sessions["mean"].tolist() == [140, 160, 150, 170]
    assert found.sessions["visit"].tolist() == [0, 0, 1, 1]


def test_conditions_are_not_pooled() -> None:
    home = {"setting": "home"}
    sessions = [
        rows("2026-03-01", "doppler", 140),
        rows("2026-03-01", "oscillometric", 150, **home),
        rows("2026-04-01", "doppler", 140, **home),
        rows("2026-04-01", "oscillometric", 150, **home),
    ]
    found = matched(*sessions)
    assert found.condition == "home"
    assert len(found.sessions) == 2
    assert matched(*sessions, condition="clinic").others == {"home": 1}
    assert matched(*sessions, condition="clinic").sessions.empty


def test_bounds_are_left_out_and_counted() -> None:
    found = matched(
        rows("2026-03-01", "doppler", "> 300", 280),
        rows("2026-03-01", "oscillometric", 250),
    )
    assert found.sessions.empty
    assert found.beyond_gauge == 1


def test_the_rule_chooses_the_readings() -> None:
    sessions = [
        rows("2026-03-01", "doppler", 180, 140, 141, 142),
        rows("2026-03-01", "oscillometric", 150),
    ]
    assert matched(*sessions).sessions["mean"].tolist() == [141, 150]
    assert matched(*sessions, rule="all").sessions["count"].tolist() == [4, 1]


@pytest.mark.parametrize(
    "choice",
    [
        {"quantity": "weight"},
        {"methods": ("doppler", "doppler")},
        {"methods": ("doppler", "cuff")},
        {"condition": "asleep"},
    ],
)
def test_unknown_names_are_refused(choice: dict[str, Any]) -> None:
    with pytest.raises(CallError):
        matched(rows("2026-03-01", "doppler", 140), **choice)


def test_the_matched_sessions_are_numbered_anew_and_hold_what_is_compared_alone() -> None:
    found = matched(
        rows("2026-02-01", "doppler", 150),
        rows("2026-03-01T10:00", "oscillometric", 150, 154, 152),
        rows("2026-03-01T10:20", "doppler", 140, 142),
    ).sessions
    names = ["animal", "date", "visit", "method", "session", "mean", "count", "ss"]
    assert found.columns.tolist() == names
    assert found.index.tolist() == [0, 1]


def test_two_visits_are_two_pairs() -> None:
    found = matched(
        rows("2026-03-01", "oscillometric", 150, 154),
        rows("2026-03-01", "doppler", 140, 142),
        rows("2026-04-01", "oscillometric", 160, 164),
        rows("2026-04-01", "doppler", 150, 152),
    ).sessions
    assert found["visit"].tolist() == [0, 0, 1, 1]
