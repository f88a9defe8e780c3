"""Packed columns give back every digit and every letter, whatever was changed in them."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bpvet
from bpvet.records.parsing import packed
from bpvet.records.parsing.columns import bits
from bpvet.records.parsing.dates import moments
from bpvet.records.parsing.packed import (
    PackedNumbers,
    PackedTexts,
    PackedTimes,
    Values,
    packed_numbers,
    packed_texts,
    packed_times,
)

TEXT = pa.large_string()
#: More rows than are packed at once.
ROWS = 2 * packed._ROWS + 5


@pytest.mark.parametrize("changes", [0, 1, 700])
def test_numbers_come_back_to_the_bit(changes: int) -> None:
    rng = np.random.default_rng(changes)
    few = np.append(rng.normal(150, 20, 60), [np.nan, 0.0, -0.0])
    code = rng.integers(0, len(few), ROWS).astype(np.int8)
    value = few[code]
    rows = rng.choice(ROWS, changes, replace=False)
    value[rows] = rng.normal(size=changes)
    column = packed_numbers(value, few, code)
    assert isinstance(column, PackedNumbers)
    assert len(column.rows) == changes
    np.testing.assert_array_equal(bits(column.whole()), bits(value))
    some = rng.permutation(ROWS)[:9000]
    np.testing.assert_array_equal(bits(column.at(some)), bits(value[some]))
    part = slice(packed._ROWS - 7, packed._ROWS + 4000)
    np.testing.assert_array_equal(bits(column.at(part)), bits(value[part]))
    for row in [*rows[:20].tolist(), 0, ROWS - 1]:
        np.testing.assert_equal(column[row], value[row])


def test_numbers_that_mostly_differ_are_kept_as_they_are() -> None:
    value = np.arange(100.0)
    assert packed_numbers(value, value, np.arange(100)) is value
    few, code = np.array([1.0, 2.0]), np.zeros(100, dtype=np.int8)
    assert packed_numbers(value, few, code) is value


def test_a_packed_column_that_is_changed_says_what_it_said_to_those_who_hold_it() -> None:
    few, code = np.array([120.0, 999.0]), np.array([0, 1] + [0] * 98, dtype=np.int8)
    values = Values({"systolic": packed_numbers(few[code], few, code)})
    old = values.packed("systolic")
    changed = values["systolic"]
    changed[1] = np.nan
    assert values["systolic"][1] == 999.0
    values["systolic"] = changed
    assert old[1] == 999.0
    assert np.isnan(values["systolic"][1])
    assert isinstance(values.packed("systolic"), PackedNumbers)


def _times(seconds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    moment = (seconds * 1_000_000_000).view("datetime64[ns]").copy()
    moment[3] = np.datetime64("NaT")
    return moment, moment.astype("datetime64[D]")


def test_times_and_their_dates_come_back() -> None:
    moment, date = _times(np.random.default_rng(5).integers(-(2**31) + 1, 2**31, ROWS))
    found = packed_times(moment, date)
    assert found is not None
    rows = np.array([ROWS - 1, 3, 0])
    for column, whole in zip(found, (moment, date), strict=True):
        np.testing.assert_array_equal(column.whole(), whole)
        np.testing.assert_array_equal(column.at(rows), whole[rows])
        np.testing.assert_equal(column[7], whole[7])


@pytest.mark.parametrize("wrong", ["part of a second", "beyond four bytes", "another date"])
def test_times_that_would_lose_something_are_not_packed(wrong: str) -> None:
    moment, date = _times(np.arange(ROWS) * 600)
    assert packed_times(moment, date) is not None
    if wrong == "part of a second":
        moment[-1] += np.timedelta64(1, "ns")
    elif wrong == "beyond four bytes":
        moment[-1] = np.datetime64("2100-01-01", "ns")
        date[-1] = np.datetime64("2100-01-01", "D")
    else:
        date[-1] -= np.timedelta64(1, "D")
    assert packed_times(moment, date) is None


ODD = ["", "2020-01-0l", "2020-13-01", "1. 2. 2020", "2020-01-01T10:00+01", "2020-01-01 9:00:000"]


@pytest.mark.parametrize("shape", ["%Y-%m-%d", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"])
@pytest.mark.parametrize("odd", [[], ODD])
def test_texts_come_back_by_their_times(shape: str, odd: list[str]) -> None:
    days = pd.date_range("1999-12-25 00:00:03", periods=ROWS, freq="37min")
    texts = days.strftime(shape).tolist()
    for i, text in enumerate(odd):
        texts[1 + 11 * i] = text
    cells = pa.array(texts, TEXT)
    read = moments(cells, times=True)
    times = packed_times(read.moment, read.date)
    assert times is not None
    found = packed_texts(cells, times[0])
    assert isinstance(found, PackedTexts)
    assert found.whole().equals(cells)
    rows = np.array([ROWS - 1, 12, 1, 23, 34, 45, 56, 5])
    assert found.at(rows).to_pylist() == [texts[row] for row in rows.tolist()]


def test_texts_of_several_shapes_are_kept() -> None:
    cells = pa.array(["2020-01-01", "2020-01-02 10:00"] * 50, TEXT)
    read = moments(cells, times=True)
    times = packed_times(read.moment, read.date)
    assert times is not None
    assert packed_texts(cells, times[0]) is None
    assert (
        packed_texts(pa.array(["soon"] * 100, TEXT), PackedTimes(np.zeros(100, np.int32))) is None
    )


def test_records_are_read_again_from_what_is_packed(tmp_path: Path) -> None:
    days = pd.date_range("2019-01-01 08:00", periods=900, freq="31h")
    frame = pd.DataFrame(
        {"animal": "A1", "taken_at": days.strftime("%Y-%m-%d %H:%M"), "method": "doppler"}
    ).assign(systolic=[140 + i % 30 for i in range(900)])
    frame.loc[[4, 800], "taken_at"] = ["yesterday", "2019-02-30 10:00"]
    frame.to_csv(tmp_path / "readings.csv", index=False)
    records = bpvet.read(tmp_path, as_of="2026-03-01")
    texts = records._tables._tables["readings"]._raw["taken_at"]
    assert isinstance(texts, PackedTexts)
    assert [one.value for one in records.findings if one.column == "taken_at"] == [
        "yesterday",
        "2019-02-30 10:00",
    ]
    early = bpvet.read(tmp_path, as_of="2020-01-01")
    for again in (records.speaking_on("2020-01-01"), pickle.loads(pickle.dumps(early))):
        assert again.findings == early.findings
        pd.testing.assert_frame_equal(again.readings, early.readings)


@given(
    seconds=st.lists(st.integers(-3, 3).map(lambda half: half * 43_200) | st.just(-(2**31))),
    day=st.integers(-2, 2) | st.just(3_000_000),
)
def test_times_are_judged_as_they_are_when_whole(seconds: list[int], day: int) -> None:
    times = PackedTimes(np.array(seconds, dtype=np.int32), days=True)
    limit = np.datetime64(day, "D")
    assert times.dated_after(limit).tolist() == (times.whole() > limit).tolist()
    values = Values()
    for column in (times, times.whole()):
        values["date"] = column
        assert values.given("date").tolist() == (~np.isnat(times.whole())).tolist()


@given(cells=st.lists(st.tuples(st.integers(0, 2), st.sampled_from([None, 5.0, np.nan]))))
def test_numbers_pass_a_test_as_they_do_when_whole(
    cells: list[tuple[int, float | None]],
) -> None:
    aside = {row: value for row, (_, value) in enumerate(cells) if value is not None}
    numbers = PackedNumbers(
        np.array([4.0, np.nan, 6.0]),
        np.array([code for code, _ in cells], dtype=np.int8),
        np.array(list(aside), dtype=np.int64),
        np.array(list(aside.values()), dtype=float),
    )
    values = Values()
    values["systolic"] = numbers
    for test in (np.isnan, lambda value: value > 4, lambda value: value > 9):
        assert values.which("systolic", test).tolist() == test(numbers.whole()).tolist()
