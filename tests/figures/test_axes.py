"""Scales and ticks."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.figures.axes import (
    Scale,
    date_ticks,
    date_words,
    days,
    value_label,
    value_step,
    value_ticks,
)
from bpvet.figures.lettering import width_mm


def day(text: str) -> float:
    return float((np.datetime64(text, "D") - np.datetime64("1970-01-01")).astype(int))


def test_a_date_stands_at_noon_and_a_time_where_it_is() -> None:
    assert days(np.array(["1970-01-02"], dtype="datetime64[D]"))[0] == 1.5
    assert days(np.array(["1970-01-02T06:00"], dtype="datetime64[m]"))[0] == 1.25
    assert days(np.array(["1970-01-02T06:00"], dtype="datetime64[ns]"))[0] == 1.25
    assert np.isnan(days(np.datetime64("NaT"))[0])


def labels(low: str, high: str, width: float = 120.0) -> list[str]:
    return [tick.label for tick in date_ticks(Scale(day(low), day(high), 0.0, width))]


def test_years_stand_under_the_first_tick_and_where_they_change() -> None:
    assert labels("2024-10-20", "2025-03-10") == [*("Nov\n2024", "Dec", "Jan\n2025", "Feb", "Mar")]


def test_weeks_begin_on_a_monday() -> None:
    ticks = date_ticks(Scale(day("2026-01-07"), day("2026-02-20"), 0.0, 120.0))
    dates = [date.fromordinal(date(1970, 1, 1).toordinal() + int(tick.at)) for tick in ticks]
    assert len(dates) > 3
    assert all(one.weekday() == 0 for one in dates)


def test_long_spans_have_years_alone() -> None:
    assert labels("2001-06-01", "2026-06-01") == ["2005", "2010", "2015", "2020", "2025"]


def test_a_day_has_hours() -> None:
    ticks = date_ticks(Scale(day("2026-02-03") + 0.3, day("2026-02-03") + 0.8, 0.0, 120.0))
    assert ticks[0].label == "08:00\n3 Feb"
    assert all(":" in tick.label for tick in ticks)


@given(st.floats(-20000, 40000), st.floats(0.2, 30000), st.floats(20, 150))
@settings(deadline=None)
def test_date_labels_never_meet(low: float, span: float, width: float) -> None:
    scale = Scale(low, low + span, 0.0, width)
    ticks = date_ticks(scale)
    ends = -np.inf
    for tick in ticks:
        assert low <= tick.at <= low + span
        half = max(width_mm(line) for line in tick.label.split("\n")) / 2
        assert scale.mm(tick.at) - half >= ends
        ends = scale.mm(tick.at) + half


@given(st.floats(0, 300), st.floats(0.001, 400), st.floats(25, 90))
def test_values_written_are_round_and_apart(low: float, span: float, height: float) -> None:
    ticks = value_ticks(low, low + span, height)
    step = value_step(low, low + span, height)
    assert step * height / span >= 7 - 1e-6
    assert len(ticks) >= 1 or step > span
    assert len({value_label(value, step) for value in ticks}) == len(ticks)


@pytest.mark.parametrize(
    ("value", "step", "label"), [(140, 20, "140"), (0.25, 0.05, "0.25"), (-1, 0.5, "−1.0")]
)
def test_a_tick_has_the_decimals_of_its_step(value: float, step: float, label: str) -> None:
    assert value_label(value, step) == label


def test_scale_goes_both_ways() -> None:
    scale = Scale(100.0, 200.0, 60.0, 0.0)
    assert scale.mm(200.0) == 0.0
    assert scale.value(scale.mm(137.0)) == pytest.approx(137.0)


def test_prose_dates_do_not_follow_the_locale() -> None:
    assert date_words(np.datetime64("2026-03-01T12:00")) == "1 March 2026"
