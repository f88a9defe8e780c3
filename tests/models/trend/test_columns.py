"""How far a course has risen: with and without missed doses, exact piece by piece."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bpvet
from bpvet.models.trend.columns import on_share
from bpvet.visits.treatments.courses import Course
from tests.models.small_records import drug, records, rows

START = np.datetime64("2026-02-01")
DAY = float(START.astype(np.int64))
COURSE = Course("amlodipine", "base", START, np.datetime64("NaT", "D"), 3.0, 0, "", True)


def stretch(first: int, last: int) -> tuple[np.datetime64, np.datetime64]:
    return START + first, START + last


def day_by_day(course: Course, days: int) -> np.ndarray:
    """Return the share at the start of each day: each day either a dose is given or it is not."""
    share, found = 0.0, []
    for ahead in range(days):
        found.append(share)
        date = course.started_on + ahead
        given = np.isnat(course.stopped_on) or date < course.stopped_on
        given = given and not any(first <= date <= last for first, last in course.missed)
        kept = np.exp(-1 / course.tau_days)
        share = 1 - (1 - share) * kept if given else share * kept
    return np.array(found)


def test_without_missed_doses_the_share_is_the_closed_form_to_the_last_digit() -> None:
    day = DAY + np.arange(-3, 60, 0.5)
    stopped = replace(COURSE, stopped_on=START + 20)
    rise = -np.expm1(-np.maximum(day - DAY, 0.0) / 3.0)
    fall = -np.expm1(-20 / 3.0) * np.exp(-np.maximum(day - DAY - 20, 0.0) / 3.0)
    assert (on_share(COURSE, day) == rise).all()
    assert (on_share(stopped, day) == np.where(day <= DAY + 20, rise, fall)).all()


def test_one_missed_day_tells_from_the_next_day_on() -> None:
    gap = replace(COURSE, missed=(stretch(10, 10),))
    whole, with_gap = (on_share(one, DAY + np.arange(10.0, 13.0)) for one in (COURSE, gap))
    assert with_gap[0] == pytest.approx(whole[0], abs=1e-15)
    assert with_gap[1] == pytest.approx(whole[0] * np.exp(-1 / 3), abs=1e-15)
    assert with_gap[2] == pytest.approx(1 - (1 - with_gap[1]) * np.exp(-1 / 3), abs=1e-15)


@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(0, 9)), max_size=4),
    st.one_of(st.none(), st.integers(0, 60)),
    st.floats(0.5, 20),
)
def test_the_share_is_that_of_day_after_day(
    gaps: list[tuple[int, int]], stop: int | None, tau: float
) -> None:
    stopped = np.datetime64("NaT", "D") if stop is None else START + stop
    taken: list[tuple[int, int]] = []
    for first, more in sorted(gaps):
        last = first + more if stop is None else min(first + more, stop)
        if last >= first and (not taken or first > taken[-1][1] + 1):
            taken.append((first, last))
    course = replace(
        COURSE, stopped_on=stopped, tau_days=tau, missed=tuple(stretch(*one) for one in taken)
    )
    found = on_share(course, DAY + np.arange(80.0))
    np.testing.assert_allclose(found, day_by_day(course, 80), atol=1e-13)
    assert (found >= 0).all()
    assert (found <= 1).all()
    assert (on_share(course, DAY - np.arange(1.0, 5.0)) == 0).all()


def test_missed_doses_move_a_trend_and_late_ones_do_not() -> None:
    sessions = [("2026-01-10", [180] * 3), ("2026-01-20", [178] * 3), ("2026-03-10", [150] * 3)]
    sessions += [("2026-04-15", [172] * 3), ("2026-06-10", [151] * 3)]
    given = records(rows(sessions), [drug("2026-02-01")], as_of="2026-07-01")
    tables = (given.readings, given.treatments, given.animals)
    frames = [one.drop(columns=["file", "line", "set_aside"]) for one in tables[:2]]
    readings = frames[0][["animal", "taken_at", "method", "systolic"]]
    treatments = frames[1][["animal", "drug", "started_on"]]

    def effect(what: str) -> float:
        missed = [{"animal": "A1", "from": "2026-04-01", "to": "2026-04-20", "what": what}]
        made = bpvet.Records.from_frames(
            readings,
            treatments=treatments,
            animals=tables[2][["animal", "species"]],
            missed=pd.DataFrame(missed),
            as_of="2026-07-01",
        )
        return float(bpvet.fit_trend(made, "A1").courses[0].effect.mean)

    plain = float(bpvet.fit_trend(given, "A1").courses[0].effect.mean)
    assert effect("late") == plain
    # The high session of April speaks of doses that were not given, and not against the drug.
    assert effect("missed") < plain - 3
