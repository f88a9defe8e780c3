"""Readings of the newest visit that the clinic excluded, where the others may look better by it."""

from __future__ import annotations

import pandas as pd
import pytest

import bpvet
from bpvet.visits.uncounted.excluded import excluded_readings


def _records(rows, as_of="2026-05-21"):
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic", "excluded"])
    return bpvet.Records.from_frames(readings.assign(method="doppler"), as_of=as_of)


def _rows(*readings, day="2026-05-20"):
    """Readings of a day in order of taking; an excluded one has a ! behind it."""
    return [
        ("A", f"{day}T09:{i:02}", text.rstrip("!"), "moved" if text.endswith("!") else "")
        for i, text in enumerate(readings)
    ]


def _found(records):
    found = excluded_readings(records)
    alone = [*excluded_readings(records, "A").values()]
    assert str(alone) == str([found[name] for name in found if name == "A"])
    return [(one.rows, [value for value, _ in one.values], one.kept) for one in found.values()]


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        (("150", "205!", "208!"), [(2, [205.0, 208.0], 1)]),
        (("150", "151", "149", "205!"), [(1, [205.0], 3)]),
        # Lower, and enough are left; the first reading of enough, as the protocol has it.
        (("150", "151", "149", "130!"), []),
        (("190!", "150", "151", "149"), []),
        (("190!", "150", "151"), [(1, [190.0], 2)]),
        (("190!", "188!", "150", "151", "149"), [(2, [190.0, 188.0], 3)]),
        (("150", "no sound!"), [(1, [], 1)]),
        (("150", "151", "149", "no sound!"), []),
        (("205!", "208!"), [(2, [205.0, 208.0], 0)]),
        (("150",), []),
    ],
)
def test_which_are_told(readings, found):
    assert _found(_records(_rows(*readings))) == found


def test_only_of_the_newest_visit():
    rows = [*_rows("150", "205!", day="2026-05-01"), *_rows("150", "151", "149")]
    assert _keys(rows) == []
    assert _keys(rows, as_of="2026-05-10") == ["unmeasured.excluded"]
    # All of a later day: no session knows of them.
    later = [*rows, *_rows("205!", "208!", day="2026-05-21")]
    assert _keys(later) == ["unmeasured", "unmeasured.excluded"]


def _keys(rows, as_of="2026-05-21"):
    answer = bpvet.fit_trend(_records(rows, as_of), "A").answer()
    return [one.key for one in answer.statements if one.topic == "unmeasured"]


def test_it_is_told_with_its_numbers_and_whose_three_are():
    answer = bpvet.fit_trend(_records(_rows("150", "205!", "> 300!")), "A").answer()
    (told,) = (one for one in answer.statements if one.key == "unmeasured.excluded")
    assert told.text.startswith(
        "On 20 May 2026 the clinic excluded two readings (205 and at least 300 mmHg); none that "
        "counts reads above 150. One reading is left of that day; at least three readings are "
        "asked for ("
    )
    assert answer.urgent == ()


@pytest.mark.parametrize(
    ("readings", "band"),
    [
        (("130", "131", "129", "165!", "168!"), "due"),
        (("130", "131", "129", "136!"), "later"),
        (("130", "131", "129", "1 65"), "due"),
        (("130", "131", "129"), "later"),
    ],
)
def test_the_list_asks_before_it_leaves_the_animal_until_later(readings, band):
    rows = [*_rows("130", "131", "129", day="2026-03-01"), *_rows(*readings)]
    (row,) = bpvet.due(_records(rows)).rows
    assert row.band == band
    assert not row.urgent
    assert bpvet.owner(_records(rows), "A").partly is (len(readings) > 3)
