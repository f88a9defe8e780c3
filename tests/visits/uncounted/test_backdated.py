"""The old year typed in January: the newest visit lies a year back, where nothing is amiss."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.visits.uncounted import backdated
from bpvet.visits.uncounted.backdated import Backdated, backdated_rows

ABOVE = ("2025-04-10", "2025-07-14", "2025-07-14", "2025-10-20")


def _found(dates, as_of="2026-01-06", others=()):
    rows = [("A", date) for date in dates] + [("B", date) for date in others]
    frame = pd.DataFrame(rows, columns=["animal", "taken_at"])
    frame = frame.assign(method="doppler", systolic=range(140, 140 + len(frame)))
    return backdated_rows(bpvet.Records.from_frames(frame, as_of=as_of))


def test_a_step_back_at_the_end_that_a_year_makes_the_newest():
    found = _found([*ABOVE, "2025-01-05", "2025-01-05"], others=ABOVE)
    assert {animal: (one.date, one.rows, one.above) for animal, one in found.items()} == {
        "A": (np.datetime64("2025-01-05"), 2, np.datetime64("2025-10-20"))
    }
    assert isinstance(found["A"], Backdated)
    assert not found["A"].exchanged
    assert found["A"].line == 5  # of data frames the place of the row, from 1


@pytest.mark.parametrize(
    "dates",
    [
        ABOVE,
        (*ABOVE, "2025-01-05", "2025-12-01"),  # not at the end
        ABOVE[::-1],  # the newest first throughout
        ("2025-10-20", "2025-01-05"),  # too few to have an order
        (*ABOVE, "2025-08-01"),  # next August nobody has been there
        (*ABOVE, "2024-09-01"),  # a year on it is not the newest either
        (*ABOVE, "2026-01-05"),
    ],
)
def test_what_is_no_such_step(dates):
    assert _found(dates) == {}


def test_one_that_is_in_the_future_of_the_day_looked_at_is_not_asked():
    assert _found([*ABOVE, "2025-01-05"], as_of="2025-12-20") == {}
    assert _found([*ABOVE, "2025-01-05"], as_of="2026-01-05") != {}


def test_it_is_linear_where_every_file_has_its_newest_rows_first(monkeypatch):
    """Of such animals none is looked at one by one."""
    monkeypatch.setattr(backdated, "_step", lambda *_: pytest.fail("looked at one by one"))
    rows = [(f"A{i}", date) for i in range(30) for date in ABOVE[::-1]]
    frame = pd.DataFrame(rows, columns=["animal", "taken_at"]).assign(
        method="doppler", systolic=140
    )
    assert backdated_rows(bpvet.Records.from_frames(frame, as_of="2026-01-06")) == {}


@pytest.mark.parametrize(
    ("last", "is_asked"),
    [
        ("2025-04-12", True),  # 4 December 2025
        ("2025-04-13", False),  # there is no thirteenth month
        ("2025-06-10", False),  # 6 October lies before the newest
        ("2025-10-10", False),  # the same, turned about
    ],
)
def test_day_and_month_in_each_others_place(last, is_asked):
    found = _found([*ABOVE, last], as_of="2025-12-20")
    assert [one.exchanged for one in found.values()] == [True] * is_asked
    # A day on which that date was still to come.
    assert not _found([*ABOVE, last], as_of="2025-12-03")
