"""The same reading twice, and readings that contradict each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.checks import duplicates
from bpvet.records.checks.duplicates import at_one_time
from bpvet.records.findings import Finding
from bpvet.records.parsing.packed import PackedTimes, Values
from bpvet.records.records import Records

Make = Callable[..., Records]
NUMBERED = "animal,taken_at,method,systolic,reading,note"
SIDE = "animal,taken_at,method,systolic_1,systolic_2"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


@pytest.mark.parametrize(
    ("line", "duplicate"),
    [
        ("A17,2025-01-01T10:00,doppler,150,,", True),
        ("A17,2025-01-01,doppler,150,2,", True),
        ("A17,2025-01-01,doppler,150,,", False),
    ],
)
def test_only_rows_with_a_time_or_a_number_are_duplicates(
    rows: Make, line: str, duplicate: bool
) -> None:
    found = rows(line, line, header=NUMBERED)
    assert found.readings["duplicate"].tolist() == [False, duplicate]
    assert (found.readings["set_aside"] != "").tolist() == [False, duplicate]
    said = [str(finding) for finding in of_kind(found, "exact duplicate")]
    assert said == duplicate * [
        "readings.csv, line 3: readings.csv, line 2 holds exactly the same. The row is set aside. "
        "Delete one of the two."
    ]


@pytest.mark.parametrize(
    "other",
    ["A17,2025-01-01T10:00,doppler,150,,x", "A17,2025-01-01T10:00,doppler,150.0,,"],
)
def test_rows_that_differ_in_any_cell_are_no_duplicates(rows: Make, other: str) -> None:
    found = rows("A17,2025-01-01T10:00,doppler,150,,", other, header=NUMBERED)
    assert not found.readings["duplicate"].any()


def test_each_variant_is_held_against_its_own_copy(rows: Make) -> None:
    a, b = "A17,2025-01-01T10:00,doppler,150,,a", "A17,2025-01-01T10:00,doppler,150,,b"
    found = rows(a, b, b, a, header=NUMBERED)
    assert found.readings["duplicate"].tolist() == [False, False, True, True]


def test_a_copy_of_a_bad_row_is_a_copy_too(rows: Make) -> None:
    line = "A17,2025-01-01T10:00,doppler,16O,,"
    found = rows(line, line, header=NUMBERED)
    assert found.readings["duplicate"].tolist() == [False, True]
    assert "holds exactly the same" in found.readings["set_aside"][1]


def test_a_line_side_by_side_is_compared_as_a_whole(rows: Make) -> None:
    same = rows("A17,2025-01-01,doppler,150,148", "A17,2025-01-01,doppler,150,148", header=SIDE)
    assert same.readings["duplicate"].tolist() == [False, False, True, True]
    partly = rows("A17,2025-01-01,doppler,150,148", "A17,2025-01-01,doppler,150,146", header=SIDE)
    assert not partly.readings["duplicate"].any()


def test_equal_untimed_rows_in_two_files_are_kept_and_said(records: Make) -> None:
    text = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n"
    other = text + "A17,2025-01-02,doppler,150\n"
    found = records(text, **{"readings2": other})
    assert not found.readings["duplicate"].any()
    assert len(of_kind(found, "perhaps a duplicate")) == 1


def test_the_same_number_twice_is_said_and_both_are_kept(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,150,1,", "A17,2025-01-01,doppler,148,1,", header=NUMBERED)
    (finding,) = of_kind(found, "same number")
    assert (finding.line, "line 2" in finding.reason) == (3, True)
    assert (found.readings["set_aside"] == "").all()


@pytest.mark.parametrize(
    "other",
    [
        "A17,2025-01-02,doppler,148,1,",
        "B3,2025-01-01,doppler,148,1,",
        "A17,2025-01-01,oscillometric,148,1,",
        "A17,2025-01-01,doppler,148,2,",
    ],
)
def test_the_same_number_elsewhere_is_no_contradiction(rows: Make, other: str) -> None:
    found = rows("A17,2025-01-01,doppler,150,1,", other, header=NUMBERED)
    assert not of_kind(found, "same number")


def test_one_time_for_the_whole_visit_is_no_contradiction(rows: Make) -> None:
    visit = [f"A17,2025-01-01T10:00,doppler,{value},," for value in (150, 148, 146)]
    assert not of_kind(rows(*visit, header=NUMBERED), "same time")
    others = "A17,2025-01-01T10:05,doppler,144,,"
    found = rows(*visit, others, header=NUMBERED)
    assert [finding.line for finding in of_kind(found, "same time")] == [3, 4]
    assert (found.readings["set_aside"] == "").all()


VISIT = "animal,taken_at,method,systolic,operator\n"


@pytest.mark.parametrize(
    ("first", "second", "copies"),
    [
        # Times and values are the same; who wrote what is not.
        (
            ["A17,2025-01-01T10:00,doppler,150,EN", "A17,2025-01-01T10:01,doppler,148,EN"],
            ["A17,2025-01-01T10:00,doppler,150,", "A17,2025-01-01T10:01,doppler,148.0,EN"],
            [True, True],
        ),
        # One reading more: the visit is not the same, and both stay.
        (
            ["A17,2025-01-01T10:00,doppler,150,EN"],
            ["A17,2025-01-01T10:00,doppler,150,", "A17,2025-01-01T10:01,doppler,148,"],
            [False, False],
        ),
        # Without times: two readings or more, as many as in the other file.
        (
            ["A17,2025-01-01,doppler,150,", "A17,2025-01-01,doppler,150,"],
            ["A17,2025-01-01,doppler,150,x", "A17,2025-01-01,doppler,150,"],
            [True, True],
        ),
        (
            ["A17,2025-01-01,doppler,150,", "B3,2025-01-01,doppler,150,"],
            ["A17,2025-01-01,doppler,150,", "A17,2025-01-01,doppler,150,"],
            [False, False],
        ),
        # One untimed reading may be another; a file that is the other's copy is not.
        (
            ["A17,2025-01-01,doppler,150,", "B3,2025-01-01,doppler,150,"],
            ["A17,2025-01-01,doppler,150,", "B3,2025-01-02,doppler,150,"],
            [False, False],
        ),
        (
            ["A17,2025-01-01,doppler,150,", "B3,2025-01-01,doppler,150,"],
            ["A17,2025-01-01,doppler,150,x", "B3,2025-01-01,doppler,150,"],
            [True, True],
        ),
        (
            ["A17,2025-01-01T10:00,doppler,150,"],
            ["A17,2025-01-01T10:00,doppler,152,"],
            [False],
        ),
    ],
)
def test_a_visit_that_stands_in_two_files_is_set_aside_in_the_later(
    records: Make, first: list[str], second: list[str], copies: list[bool]
) -> None:
    found = records(
        VISIT + "\n".join(first) + "\n", **{"readings2": VISIT + "\n".join(second) + "\n"}
    )
    frame = found.readings
    assert not found.stopping
    assert not frame["duplicate"][: len(first)].any()
    assert frame["duplicate"][len(first) :].tolist() == copies
    assert (frame["set_aside"] != "")[len(first) :].tolist() == copies


def test_a_visit_in_three_files_stays_once(records: Make) -> None:
    visit = VISIT + "A17,2025-01-01,doppler,150,\nA17,2025-01-01,doppler,148,\n"
    others = {"readings2": visit.replace(",148,", ",148,x"), "readings3": visit}
    found = records(visit, **others)
    assert found.readings["duplicate"].tolist() == [False, False, True, True, True, True]


def test_one_file_alone_holds_no_copied_visit(rows: Make) -> None:
    lines = ["A17,2025-01-01T10:00,doppler,150,,x", "A17,2025-01-01T10:00,doppler,150,,y"]
    assert not rows(*lines, header=NUMBERED).readings["duplicate"].any()


#: Readings of a visit stand together, minute by minute; any may be astray, at no time, or copied.
VISITS = st.lists(
    st.tuples(st.sampled_from("ABC"), st.integers(-3, 3), st.lists(st.integers(0, 9), min_size=1)),
    max_size=12,
)


@given(visits=VISITS, rising=st.booleans(), rows=st.sampled_from([2, 3, 1 << 15]))
def test_rows_of_one_time_are_found_as_they_are_by_counting(
    visits: list[tuple[str, int, list[int]]], rising: bool, rows: int
) -> None:
    never = int(np.iinfo(np.int32).min)
    met = [
        (animal, never if minute == 9 else day * 86_400 + minute * 7_000)
        for animal, day, minutes in visits
        for minute in (sorted(set(minutes)) if rising else minutes)
    ]
    count = Counter(met)
    expected = [row for row, both in enumerate(met) if count[both] > 1]
    animal = pa.array([animal for animal, _ in met], pa.large_string())
    times = PackedTimes(np.array([time for _, time in met], dtype=np.int32))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(duplicates, "_ROWS", rows)
        for taken_at in (times, times.whole()):
            values = Values()
            values["animal"], values["taken_at"] = animal, taken_at
            assert at_one_time(values).tolist() == expected
