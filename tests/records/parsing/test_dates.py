"""Dates by pattern, against the standard library as a slow twin."""

from __future__ import annotations

import datetime
from dataclasses import fields

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.records.parsing.dates import (
    _by_patterns,
    date_of,
    moments,
)
from bpvet.records.parsing.iso_dates import _ROWS
from bpvet.wording.en.findings.values import both_readings, why_not_a_date

MINUTE = np.timedelta64(1, "m")


def read(text: str, times: bool = True) -> tuple[str, str, bool, bool]:
    found = moments(pa.array([text], pa.large_string()), times)
    return str(found.date[0]), str(found.moment[0]), bool(found.timed[0]), bool(found.bad[0])


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2025-04-03T10:20", "2025-04-03T10:20:00.000000000"),
        ("2025-04-03 10:20", "2025-04-03T10:20:00.000000000"),
        ("2025-04-03T10:20:30", "2025-04-03T10:20:30.000000000"),
        ("2025-04-03T10:20:30.5", "2025-04-03T10:20:30.500000000"),
        ("2025-04-03T10:20Z", "2025-04-03T10:20:00.000000000"),
        ("2025-04-03T23:20:00+13:00", "2025-04-03T23:20:00.000000000"),
        ("2025-04-03 00:20:00.123456789-0500", "2025-04-03T00:20:00.123456789"),
    ],
)
def test_a_time_is_kept_as_it_is_written(text: str, moment: str) -> None:
    assert read(text) == ("2025-04-03", moment, True, False)


def test_a_date_alone_is_untimed() -> None:
    assert read("2024-02-29") == ("2024-02-29", "2024-02-29T00:00:00.000000000", False, False)


NO_DATES = """
2025 2025-4-3 20250403 today now 2025-02-30 2025-13-01 2025-00-10 2025-04-31 2023-02-29 03/04/2025
2025-04-03T24:00 2025-04-03T10:60 2025-04-03T10:20:60 2025-04-03T10:20:30,5 2025-04-03T10
3.4.25 45000 ٢٠٢٥-٠٤-٠٣ 2025-04-03T 1500-01-01 9999-01-01
"""


@pytest.mark.parametrize("text", [*NO_DATES.split(), "2025-04-03\n"])
def test_anything_else_is_bad(text: str) -> None:
    assert read(text) == ("NaT", "NaT", False, True)


def test_a_time_where_only_a_date_may_stand_is_bad() -> None:
    assert read("2025-04-03T10:20", times=False)[3]


@given(st.dates(datetime.date(1700, 1, 1), datetime.date(2250, 1, 1)), st.times())
def test_every_moment_agrees_with_the_standard_library(
    day: datetime.date, time: datetime.time
) -> None:
    moment = datetime.datetime.combine(day, time)
    found = read(moment.isoformat())
    assert found[0] == day.isoformat()
    assert np.datetime64(found[1]) == np.datetime64(moment)


@given(st.integers(1678, 2261), st.integers(0, 99), st.integers(0, 99))
def test_every_impossible_day_is_refused(year: int, month: int, day: int) -> None:
    text = f"{year}-{month:02d}-{day:02d}"
    try:
        datetime.date(year, month, day)
    except ValueError:
        assert read(text)[3]
    else:
        assert read(text)[0] == text


def test_one_day_in_either_order_is_one_reading() -> None:
    assert both_readings("01/01/2025") == "1 January 2025 (in either order)"


def test_both_readings_are_shown() -> None:
    assert both_readings("03/04/2025") == "3 April 2025 (day first) or 4 March 2025 (month first)"
    assert both_readings("25.04.25") == "25 April 2025 (day first)"
    assert both_readings("4/25/2025") == "25 April 2025 (month first)"
    assert both_readings("99/99/2025") == ""


def test_words_for_what_is_wrong() -> None:
    assert "not a day of the calendar" in why_not_a_date("2025-02-30")
    assert "count of days" in why_not_a_date("45000")
    assert why_not_a_date("soon") == '"soon" is not a date.'


@pytest.mark.parametrize(
    "value",
    [
        "2026-03-01",
        datetime.date(2026, 3, 1),
        datetime.datetime(2026, 3, 1, 23, 59),
        np.datetime64("2026-03-01T10:00"),
        pd.Timestamp("2026-03-01 12:00"),
    ],
)
def test_a_callers_date_may_be_of_any_kind(value: object) -> None:
    assert date_of(value, "as_of") == np.datetime64("2026-03-01", "D")


@pytest.mark.parametrize("value", ["01/03/2026", "today", "", 20260301, None, np.datetime64("NaT")])
def test_a_callers_date_that_is_none_is_refused(value: object) -> None:
    with pytest.raises(CallError, match="as_of is a date such as"):
        date_of(value, "as_of")


def test_pandas_nat_is_refused() -> None:
    with pytest.raises(CallError):
        date_of(pd.NaT, "as_of")


STATED = {
    "dmy": "3/4/2025 03.04.25 3-4-2025 3_Apr_2025 03-APR-25 April_3,_2025 Apr_3_2025 3_april_2025",
    "mdy": "4/3/2025 04.03.25 4-3-2025 3_Apr_2025 03-APR-25 April_3,_2025 Apr_3_2025 3_april_2025",
    "ymd": "2025/4/3 2025.04.03 2025-4-3",
}


@pytest.mark.parametrize(("order", "texts"), STATED.items())
def test_a_stated_order_is_read_in_the_ways_people_write_it(order: str, texts: str) -> None:
    cells = [text.replace("_", " ") for text in [*texts.split(), "2025-04-03"]]
    found = moments(pa.array(cells, pa.large_string()), True, order)
    assert set(map(str, found.date)) == {"2025-04-03"}
    assert not found.bad.any()
    assert not found.swappable.any()


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("3/4/2025 9:05", "2025-04-03T09:05:00"),
        ("3/4/2025 09:05:30", "2025-04-03T09:05:30"),
        ("3/4/2025, 2:05 pm", "2025-04-03T14:05:00"),
        ("3/4/25 12:05 a.m.", "2025-04-03T00:05:00"),
        ("3/4/2025 12:05PM", "2025-04-03T12:05:00"),
        ("31/12/69", "2069-12-31T00:00:00"),
        ("31/12/70", "1970-12-31T00:00:00"),
    ],
)
def test_times_and_short_years_beside_a_stated_order(text: str, moment: str) -> None:
    found = moments(pa.array([text], pa.large_string()), True, "dmy")
    assert str(found.moment[0].astype("datetime64[s]")) == moment


@pytest.mark.parametrize(
    "text", ["4/13/2025", "31/02/2025", "3/4/2025 13:05 pm", "3/4/2025 0:05 am", "3/4", "2025/4/3"]
)
def test_what_does_not_fit_the_stated_order_is_bad(text: str) -> None:
    found = moments(pa.array([text], pa.large_string()), True, "dmy")
    assert found.bad[0]
    assert not found.swappable[0]


def test_a_month_with_another_name_is_never_taken_for_one() -> None:
    found = moments(pa.array(["3 Avr 2025", "3 Okt 2025"], pa.large_string()), True, "dmy")
    assert found.bad.all()


@given(st.dates(datetime.date(1970, 1, 1), datetime.date(2069, 12, 31)))
def test_every_day_comes_back_from_each_order(day: datetime.date) -> None:
    for order, form in (("dmy", "%d/%m/%Y"), ("mdy", "%m/%d/%y"), ("dmy", "%d-%b-%y")):
        found = moments(pa.array([day.strftime(form)], pa.large_string()), False, order)
        assert found.date[0] == np.datetime64(day)


#: Texts near the shapes that are read from their bytes.
SHAPES = st.sampled_from(["2025-04-03", "2025-04-03T10:20", "2025-04-03 10:20:30"])
LETTERS = st.sampled_from("0123456789-:T Zé/;")


@st.composite
def near_shapes(draw: st.DrawFn) -> str:
    text = list(draw(SHAPES))
    for _ in range(draw(st.integers(0, 2))):
        text[draw(st.integers(0, len(text) - 1))] = draw(LETTERS)
    return "".join(text)


@given(st.lists(st.one_of(near_shapes(), st.just("")), max_size=12), st.booleans())
def test_bytes_and_patterns_read_the_same(texts: list[str], times: bool) -> None:
    # A slice, so that the column's bytes do not begin with its first text.
    cells = pa.array(["2001-01-01T09:00", *texts], pa.large_string()).slice(1)
    found, twin = moments(cells, times), _by_patterns(cells, times, "")
    for part in fields(found):
        np.testing.assert_array_equal(getattr(found, part.name), getattr(twin, part.name))


def test_a_long_column_is_read_in_blocks() -> None:
    days = np.arange("1990-01-01", "2100-01-01", dtype="datetime64[D]")
    texts = [str(day) + ("" if i % 3 else "T07:08") for i, day in enumerate(days)]
    assert len(texts) > _ROWS
    found = moments(pa.array(texts, pa.large_string()), times=True)
    assert (found.date == days).all()
    assert (found.timed == (np.arange(len(days)) % 3 == 0)).all()
    np.testing.assert_array_equal(found.moment - days, np.where(found.timed, 428, 0) * MINUTE)
