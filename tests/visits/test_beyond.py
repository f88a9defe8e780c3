"""Readings beyond the gauge, as the sessions hold them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.records import Records
from bpvet.visits.beyond import parsed, texts_of, written
from bpvet.visits.series import Source, series
from bpvet.visits.sessions import sessions

Clinic = Callable[..., Records]
Taken = Callable[..., list[dict[str, Any]]]

BOUNDS = st.lists(st.tuples(st.floats(20, 400), st.sampled_from(["at least", "at most"])))


@given(BOUNDS, st.integers(0, 5))
def test_what_is_written_is_read(bounds, numbers):
    text = written([value for value, _ in bounds], [sense for _, sense in bounds])
    found = parsed(text, numbers, 150.0, 4.0)
    if not bounds:
        assert found is None
        return
    assert found is not None
    assert [side for _, side in found.limits] == [1 if s == "at least" else -1 for _, s in bounds]
    np.testing.assert_allclose([at for at, _ in found.limits], [at for at, _ in bounds], rtol=1e-9)
    assert found.readings == numbers + len(bounds)
    assert found.above + found.below == len(bounds)


def test_numbers_and_bounds_stand_apart(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", "> 300", 290, "> 280", 280),
        *taken("2026-03-04", "> 300", "> 300"),
        *taken("2026-03-08", 150, 156),
    ]
    table = sessions(clinic(rows), rule="all")
    assert table["systolic_numbers"].tolist() == [2, 0, 2]
    assert table["systolic_beyond"].tolist() == ["> 300; > 280", "> 300; > 300", ""]
    np.testing.assert_allclose(table["systolic_numbers_mean"], [285, np.nan, 153])
    np.testing.assert_allclose(table["systolic_numbers_ss"], [50, np.nan, 18])
    # What a bound hides is not given; its mean is a bound, and says so.
    np.testing.assert_allclose(table["systolic_ss"], [np.nan, np.nan, 18])
    np.testing.assert_allclose(table["systolic_median"], [np.nan, np.nan, 153])
    np.testing.assert_allclose(table["systolic_sd"], [np.nan, np.nan, 18**0.5])
    assert table["systolic"].tolist() == [287.5, 300, 153]
    assert table["systolic_bound"].tolist() == ["at least", "at least", ""]
    assert table["systolic_n"].tolist() == [4, 2, 2]


def test_a_bound_counts_like_any_reading(clinic: Clinic, taken: Taken) -> None:
    records = clinic(taken("2026-03-01", "> 300", 290, 280, 270))
    assert sessions(records, rule="guideline")["systolic_bound"].tolist() == [""]
    assert sessions(records, rule="all")["systolic_bound"].tolist() == ["at least"]
    (held,) = series(records, "A17", source=Source(rule="all")).beyond_by_session
    assert held is not None
    assert (held.numbers, held.mean, held.ss) == (3, 280.0, 200.0)
    assert held.limits == ((300.0, 1.0),)


def test_other_quantities_leave_such_sessions_out(clinic: Clinic) -> None:
    rows = [
        {"taken_at": date, "method": "oscillometric", "systolic": 150, "heart_rate": rate}
        for date, rate in (("2026-03-01", "> 240"), ("2026-03-08", 180), ("2026-03-15", 190))
    ]
    found = series(clinic(rows), "A17", quantity="heart_rate")
    assert found.y.tolist() == [180, 190]
    assert not found.bounded


def test_the_bounds_of_a_session_stand_at_its_place_whichever_sessions_have_one() -> None:
    session = np.array([1, 1, 3])
    bound = np.array(["at least", "at least", "at most"], dtype=object)
    found = texts_of(session, np.array([300.0, 280.0, 40.0]), bound, 5)
    assert found.tolist() == [
        "",
        written([300.0, 280.0], ["at least", "at least"]),
        "",
        written([40.0], ["at most"]),
        "",
    ]
