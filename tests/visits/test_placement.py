"""Placing readings all at once, against the contract's words on plain rows as a slow twin."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.records import Records
from bpvet.visits.readings import readings_used

GAP = timedelta(hours=2)
ROW = st.fixed_dictionaries(
    {
        "animal": st.sampled_from(["A1", "A10", "b"]),
        "taken_at": st.sampled_from(
            [
                *("2026-03-01", "2026-03-02", "2026-03-01T09:00", "2026-03-01T09:05"),
                *(
                    "2026-03-01T10:30:10",
                    "2026-03-01T12:29",
                    "2026-03-01T12:31",
                    "2026-03-02T09:00",
                ),
            ]
        ),
        "method": st.sampled_from(["doppler", "oscillometric"]),
        "setting": st.sampled_from(["home", "clinic"]),
        "session": st.sampled_from(["", "", "", "x", "am"]),
        "reading": st.sampled_from(["", "", "1", "2", "3", "2.5", "1200"]),
    }
)


def placed(rows: list[dict[str, Any]]) -> dict[int, tuple[int, int]]:
    """Session (number in its animal) and order of each row, by its place."""
    parts: dict[tuple[str, ...], list[list[int]]] = {}
    for place in by_time(rows):
        row = rows[place]
        day = row["taken_at"][:10]
        key = (row["animal"], row["method"], row["setting"], day, row["session"])
        runs = parts.setdefault(key, [[]])
        timed = [one for one in runs[-1] if clock(rows[one])]
        before = clock(rows[timed[-1]]) if timed else None
        now = clock(row)
        if not row["session"] and before and now and now - before >= GAP:
            runs.append([])
        runs[-1].append(place)
    sessions = [
        (key[0], key[3], first_time(rows, run), key[4], min(run), run)
        for key, runs in parts.items()
        for run in runs
    ]
    found: dict[int, tuple[int, int]] = {}
    number: dict[str, int] = {}
    for animal, *_, run in sorted(sessions):
        number[animal] = number.get(animal, 0) + 1
        for order, place in enumerate(as_taken(rows, run), start=1):
            found[place] = (number[animal], order)
    return found


def clock(row: dict[str, Any]) -> datetime | None:
    return datetime.fromisoformat(row["taken_at"]) if "T" in row["taken_at"] else None


def by_time(rows: list[dict[str, Any]]) -> list[int]:
    return sorted(range(len(rows)), key=lambda i: (clock(rows[i]) or datetime.min, i))


def first_time(rows: list[dict[str, Any]], run: list[int]) -> datetime:
    return min(filter(None, (clock(rows[i]) for i in run)), default=datetime.min)


def as_taken(rows: list[dict[str, Any]], run: list[int]) -> list[int]:
    numbered = all(rows[i]["reading"] for i in run)
    timed = all(clock(rows[i]) for i in run)

    def key(i: int) -> tuple[float, datetime, int]:
        number = float(rows[i]["reading"]) if numbered else 0.0
        return number, (clock(rows[i]) or datetime.min) if timed else datetime.min, i

    return sorted(run, key=key)


@given(st.lists(ROW, min_size=1, max_size=14))
def test_every_row_has_the_place_that_the_contract_gives_it(rows: list[dict[str, Any]]) -> None:
    # No two rows are copies.
    frame = pd.DataFrame([{**row, "systolic": 100 + i} for i, row in enumerate(rows)])
    used = readings_used(Records.from_frames(frame, as_of="2026-12-31"))
    expected = placed(rows)
    found = zip(used["session"].tolist(), used["order"].tolist(), strict=True)
    assert list(found) == [expected[i] for i in range(len(rows))]
