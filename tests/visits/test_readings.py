"""Sessions out of readings: the key, splitting, order, numbering and fates."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.facts.words import condition_of
from bpvet.visits.choice import fates
from bpvet.visits.readings import accounting, coded_readings_used, judged, readings_used
from bpvet.visits.sessions import sessions

Clinic = Callable[..., Any]
Taken = Callable[..., list[dict[str, Any]]]


def sessions_of(frame: pd.DataFrame) -> list[int]:
    return [int(number) for number in frame["session"]]


def test_readings_two_hours_apart_are_two_sessions(clinic: Clinic) -> None:
    # Gaps: 1 h 59, then 2 h exactly.
    times = ["2026-03-01T09:00", "2026-03-01T10:59", "2026-03-01T12:59"]
    used = readings_used(clinic([{"taken_at": at, "systolic": 150} for at in times]))
    assert sessions_of(used) == [1, 1, 2]


def test_gaps_are_between_consecutive_readings_not_from_the_first(clinic: Clinic) -> None:
    # 90 minutes apart each: one session over three hours, whatever the order of the rows.
    times = ["2026-03-01T12:00", "2026-03-01T09:00", "2026-03-01T10:30"]
    used = readings_used(clinic([{"taken_at": at, "systolic": 150} for at in times]))
    assert sessions_of(used) == [1, 1, 1]
    assert list(used["order"]) == [3, 1, 2]


def test_untimed_readings_join_the_first_session_of_their_date(clinic: Clinic) -> None:
    times = ["2026-03-01T15:00", "2026-03-01", "2026-03-01T09:00"]
    used = readings_used(clinic([{"taken_at": at, "systolic": 150} for at in times]))
    assert sessions_of(used) == [2, 1, 1]


def test_an_untimed_reading_bridges_no_gap(clinic: Clinic) -> None:
    times = ["2026-03-01T09:00", "2026-03-01", "2026-03-01T11:00"]
    used = readings_used(clinic([{"taken_at": at, "systolic": 150} for at in times]))
    assert sessions_of(used) == [1, 1, 2]


def test_a_filled_label_is_never_split_nor_mixed_with_blank(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01T09:00", "systolic": 150, "session": "a"},
        {"taken_at": "2026-03-01T09:01", "systolic": 151, "session": ""},
        {"taken_at": "2026-03-01T17:00", "systolic": 152, "session": "a"},
        {"taken_at": "2026-03-01T09:02", "systolic": 153, "session": "b"},
    ]
    assert sessions_of(readings_used(clinic(rows))) == [1, 2, 1, 3]


def test_method_condition_and_date_separate(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01", "systolic": 150},
        {"taken_at": "2026-03-01", "systolic": 150, "method": "oscillometric"},
        {"taken_at": "2026-03-01", "systolic": 150, "setting": "home"},
        {"taken_at": "2026-03-01", "systolic": 150, "setting": "home", "state": "calmed"},
        {"taken_at": "2026-03-01", "systolic": 151, "setting": "hospital"},
        {"taken_at": "2026-03-02", "systolic": 150},
    ]
    assert sessions_of(readings_used(clinic(rows))) == [1, 2, 3, 4, 1, 5]


def test_midnight_parts_sessions(clinic: Clinic) -> None:
    rows = [{"taken_at": at, "systolic": 150} for at in ("2026-03-01T23:59", "2026-03-02T00:01")]
    assert sessions_of(readings_used(clinic(rows))) == [1, 2]


def test_sessions_are_numbered_by_date_first_time_label_and_line(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-02", "systolic": 150, "session": "b"},  # untimed, label b
        {"taken_at": "2026-03-02T08:00", "systolic": 150},  # timed: after the untimed
        {"taken_at": "2026-03-02", "systolic": 150, "session": "a"},
        {"taken_at": "2026-03-01T18:00", "systolic": 150, "setting": "home"},  # earlier date
        {"taken_at": "2026-03-02T08:00", "systolic": 150, "method": "oscillometric"},  # later line
    ]
    assert sessions_of(readings_used(clinic(rows))) == [3, 4, 2, 1, 5]


def test_order_is_by_reading_then_time_then_line(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01T09:02", "systolic": 150, "reading": 1},
        {"taken_at": "2026-03-01T09:01", "systolic": 151, "reading": 2},
    ]
    assert list(readings_used(clinic(rows))["order"]) == [1, 2]
    rows[0].pop("reading")  # now not all have it: time
    assert list(readings_used(clinic(rows))["order"]) == [2, 1]
    rows[0]["taken_at"] = "2026-03-01"  # now not all have a time: line
    assert list(readings_used(clinic(rows))["order"]) == [1, 2]


def test_equal_reading_numbers_go_by_time_and_equal_times_by_line(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01T09:02", "systolic": 150, "reading": 1},
        {"taken_at": "2026-03-01T09:01", "systolic": 151, "reading": 1},
    ]
    assert list(readings_used(clinic(rows))["order"]) == [2, 1]
    tied = [{"taken_at": "2026-03-01T09:00", "systolic": v} for v in (150, 151, 149)]
    assert list(readings_used(clinic(tied))["order"]) == [1, 2, 3]


def test_taken_counts_all_but_duplicates(clinic: Clinic) -> None:
    # Excluded, no sound and unusable were taken: with the two good ones that is five.
    rows = [
        {"taken_at": "2026-03-01T09:00", "systolic": "160"},
        {"taken_at": "2026-03-01T09:01", "systolic": "150", "excluded": "moved"},
        {"taken_at": "2026-03-01T09:02", "systolic": "no sound"},
        {"taken_at": "2026-03-01T09:03", "systolic": "15O"},
        {"taken_at": "2026-03-01T09:04", "systolic": "151"},
        {"taken_at": "2026-03-01T09:04", "systolic": "151"},
    ]
    used = readings_used(clinic(rows))
    assert list(used["fate"]) == [
        "left out",
        "excluded",
        "no sound",
        "set aside",
        "used",
        "set aside",
    ]
    assert list(used["order"]) == [1, 2, 3, 4, 5, 0]
    assert used["reason"][0] == "the first of 5 taken: left out under rule guideline"
    assert used["reason"][1] == "moved"
    assert used["reason"][4] == ""
    assert accounting(used) == {
        **{"in": 6, "used": 1, "left_out": 2, "excluded": 1, "set_aside": 2},
    }


def test_a_duplicate_does_not_make_a_fourth_reading(clinic: Clinic, taken: Taken) -> None:
    rows = taken("2026-03-01T09:00", 170, 150, 151)
    used = readings_used(clinic([*rows, rows[0]]))
    assert list(used["fate"]) == ["used", "used", "used", "set aside"]


def test_the_future_enters_nothing(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01", "systolic": 150},
        {"taken_at": "2026-03-09", "systolic": 150},
    ]
    used = readings_used(clinic(rows, as_of="2026-03-05"))
    assert sessions_of(used) == [1, 0]
    assert list(used["fate"]) == ["used", "set aside"]
    assert used["reason"][1] != ""


def test_a_row_without_a_place_keeps_its_reason(clinic: Clinic) -> None:
    rows = [{"taken_at": "yesterday", "systolic": 150}, {"taken_at": "2026-03-01", "systolic": 150}]
    used = readings_used(clinic(rows))
    assert list(used["session"]) == [0, 1]
    assert used["fate"][0] == "set aside"
    assert used["reason"][0] != ""


def test_rule_all_leaves_nothing_out(clinic: Clinic, taken: Taken) -> None:
    records = clinic(taken("2026-03-01T09:00", 190, 150, 151, 152))
    assert list(readings_used(records)["fate"]) == ["left out", "used", "used", "used"]
    assert set(readings_used(records, rule="all")["fate"]) == {"used"}
    with pytest.raises(CallError):
        readings_used(records, rule="some")


def test_foreign_columns_make_way(clinic: Clinic) -> None:
    row = {"taken_at": "2026-03-01", "systolic": 150, "label": "x", "order": "y", "fate": "z"}
    used = readings_used(clinic([row]))
    assert list(used["label"]) == [""]
    assert list(used["order"]) == [1]
    assert list(used["fate"]) == ["used"]
    assert list(used["label_as_written"]) == ["x"]


def test_animals_do_not_mix(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-02", "systolic": 150, "animal": "B"},
        {"taken_at": "2026-03-01", "systolic": 150, "animal": "A"},
        {"taken_at": "2026-03-01", "systolic": 151, "animal": "B"},
    ]
    assert sessions_of(readings_used(clinic(rows))) == [2, 1, 1]


def random_rows(seed: int, n: int) -> list[dict[str, Any]]:
    """Readings of two animals over three days, with and without time, label and number."""
    rng = np.random.default_rng(seed)
    timed = rng.random() < 0.7
    rows = []
    for _ in range(n):
        moment = datetime(2026, 3, 1) + timedelta(days=int(rng.integers(3)))
        row: dict[str, Any] = {
            "animal": str(rng.choice(["A17", "B2"])),
            "method": str(rng.choice(["doppler", "oscillometric"])),
            "systolic": str(rng.integers(120, 200)),
            "session": str(rng.choice(["", "", "", "x", "y"])),
            "setting": str(rng.choice(["", "home"], p=[0.8, 0.2])),
            "excluded": str(rng.choice(["", "moved"], p=[0.9, 0.1])),
            "taken_at": moment.date().isoformat(),
        }
        if timed and rng.random() < 0.9:
            moment += timedelta(minutes=int(rng.integers(8 * 60, 20 * 60)))
            row["taken_at"] = moment.isoformat(timespec="minutes")
        if rng.random() < 0.9:
            row["reading"] = str(rng.integers(1, 30))
        if rng.random() < 0.1:
            row["systolic"] = "no sound"
        rows.append(row)
    return rows


def plainly(rows: list[dict[str, Any]]) -> list[tuple[int, int, str]]:
    """The contract's session key, order and fates, one row after another."""
    groups: dict[Any, list[int]] = {}
    for i, row in enumerate(rows):
        condition = condition_of(row["setting"], "")
        day = row["taken_at"][:10]
        key = (row["animal"], row["method"], condition, day, row["session"])
        groups.setdefault(key, []).append(i)
    sessions: list[tuple[Any, list[int]]] = []
    for key, members in groups.items():
        with_time = sorted(
            (i for i in members if "T" in rows[i]["taken_at"]), key=lambda i: time(rows[i])
        )
        parts: list[list[int]] = [[i for i in members if i not in with_time]]
        for before, i in zip([None, *with_time], with_time, strict=False):
            far = before is not None and time(rows[i]) - time(rows[before]) >= timedelta(hours=2)
            if far and key[-1] == "":
                parts.append([])
            parts[-1].append(i)
        sessions += [(key, part) for part in parts]

    def place(session: tuple[Any, list[int]]) -> Any:
        key, part = session
        times = [time(rows[i]) for i in part if "T" in rows[i]["taken_at"]]
        return (key[0], key[3], min(times, default=datetime.min), key[4], min(part))

    found: dict[int, tuple[int, int, str]] = {}
    number = {"A17": 0, "B2": 0}
    for key, part in sorted(sessions, key=place):
        number[key[0]] += 1
        timed = all("T" in rows[i]["taken_at"] for i in part)
        numbered = all("reading" in rows[i] for i in part)
        ordered = sorted(
            part,
            key=lambda i: (
                int(rows[i]["reading"]) if numbered else 0,
                time(rows[i]) if timed else datetime.min,
                i,
            ),
        )
        kinds = [
            "excluded"
            if rows[i]["excluded"]
            else "no sound"
            if rows[i]["systolic"] == "no sound"
            else "number"
            for i in ordered
        ]
        for order, (i, fate) in enumerate(zip(ordered, fates(kinds), strict=True), start=1):
            found[i] = (number[key[0]], order, fate)
    return [found[i] for i in range(len(rows))]


def time(row: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(row["taken_at"])


def distinct(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Drop exact duplicates, which the records would set aside."""
    return [dict(row) for row in {tuple(sorted(row.items())): row for row in rows}.values()]


@pytest.mark.parametrize("seed", range(12))
def test_the_columns_agree_with_one_row_after_another(clinic: Clinic, seed: int) -> None:
    rows = distinct(random_rows(seed, 250))
    used = readings_used(clinic(rows))
    got = list(zip(used["session"], used["order"], used["fate"], strict=True))
    assert got == plainly(rows)


@pytest.mark.parametrize("seed", range(4))
def test_row_order_changes_nothing_where_times_differ(clinic: Clinic, seed: int) -> None:
    rng = np.random.default_rng(seed)
    minutes = rng.permutation(24 * 60)[:120]
    rows = [
        {
            "taken_at": (datetime(2026, 3, 1) + timedelta(minutes=int(m))).isoformat()[:16],
            "systolic": int(rng.integers(120, 200)),
        }
        for m in minutes
    ]
    straight = readings_used(clinic(rows)).set_index("taken_at").sort_index()
    mixed = readings_used(clinic([rows[i] for i in rng.permutation(120)])).set_index("taken_at")
    columns = ["session", "order", "fate", "reason"]
    pd.testing.assert_frame_equal(straight[columns], mixed.sort_index()[columns])


def test_no_readings_at_all(clinic: Clinic) -> None:
    used = readings_used(clinic([{"taken_at": "never", "systolic": 1}]))
    assert list(used["session"]) == [0]


@pytest.mark.parametrize("rule", ["guideline", "all"])
@pytest.mark.parametrize("most", [1, 7, 60])
def test_blocks_of_any_number_of_rows_are_placed_as_all_at_once(
    clinic: Any, monkeypatch: pytest.MonkeyPatch, rule: str, most: int
) -> None:
    rng = np.random.default_rng(most)
    rows = [
        {
            "animal": rng.choice(["B9", "A1", "É2", "a1", "B10", "", "C"]),
            "taken_at": f"2026-03-{1 + i % 4:02d}" + ("" if i % 7 == 0 else f" 1{i % 6}:0{i % 9}"),
            "method": rng.choice(["doppler", "oscillometric"]),
            "systolic": rng.choice(["140", "> 300", "no sound", "999", "", "151"]),
            "session": rng.choice(["", "", "am"]),
            "reading": str(i % 5),
            "setting": rng.choice(["clinic", "home"]),
        }
        for i in range(400)
    ]
    records = clinic(rows)
    used, frame = readings_used(records, rule), sessions(records, rule)
    assert accounting(judged(records, rule)[0]) == accounting(used)
    coded = coded_readings_used(records, rule)
    monkeypatch.setattr("bpvet.visits.readings._ROWS", most)
    monkeypatch.setattr("bpvet.visits.placement._ROWS", most)
    # Sessions of records are kept; these are made anew.
    records = clinic(rows)
    pd.testing.assert_frame_equal(readings_used(records, rule), used)
    pd.testing.assert_frame_equal(sessions(records, rule), frame)
    pd.testing.assert_frame_equal(coded_readings_used(records, rule), coded)
