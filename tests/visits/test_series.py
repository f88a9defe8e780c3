"""Which sessions a series takes, in which arrays, and why there may be none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.visits.defaults import latest
from bpvet.visits.series import (
    Series,
    Source,
    all_series,
    rounding_step,
    series,
)
from bpvet.visits.sessions import session_store, sessions

Clinic = Callable[..., Any]
Taken = Callable[..., list[dict[str, Any]]]
OSC = {"method": "oscillometric"}


def days(found: Series) -> list[str]:
    return [str(day)[5:] for day in found.date]


def test_arrays_of_a_worked_series(clinic: Clinic, taken: Taken) -> None:
    rows = [*taken("2026-03-01", 165, 158, 160), *taken("2026-03-08", 150)]
    records = clinic(rows, treatments=[{"started_on": "2026-03-02", "dose": "1 mg"}])
    found = series(records, "A17")
    assert (found.animal, found.species, found.method) == ("A17", "cat", "doppler")
    assert (found.condition, found.quantity, found.unit) == ("clinic", "systolic", "mmHg")
    assert found.y.tolist() == [161, 150]
    assert found.ss.tolist() == [26, 0]
    assert found.k.tolist() == [3, 1]
    assert found.median.tolist() == [160, 150]
    assert found.scatter_known.tolist() == [True, True]
    assert found.bound.tolist() == ["", ""]
    assert found.visit.tolist() == [0, 1]
    assert found.session.tolist() == [1, 2]
    assert found.date.dtype == np.dtype("datetime64[D]")
    assert [course.drug for course in found.courses] == ["amlodipine"]
    with pytest.raises(ValueError, match="read-only"):
        found.y[0] = 0


def test_a_bound_hides_the_scatter(clinic: Clinic, taken: Taken) -> None:
    rows = [*taken("2026-03-01", "> 300", 290, 280), *taken("2026-03-04", 150, 150)]
    found = series(clinic(rows), "A17")
    assert found.scatter_known.tolist() == [False, True]
    assert found.ss.tolist() == [0, 0]
    assert found.k.tolist() == [3, 2]
    assert found.bound.tolist() == ["at least", ""]


def test_a_summary_hides_the_scatter_unless_its_sd_is_known(clinic: Clinic) -> None:
    row = {"systolic_mean": 150, "systolic_n": 10, "systolic_sd": ""}
    rows = [{"taken_at": "2026-03-02", **row}, {"taken_at": "2026-03-03", **row, "systolic_sd": 6}]
    found = series(clinic(rows), "A17")
    assert found.scatter_known.tolist() == [False, True]
    # (10 − 1)·36 = 324; 0 where unknown.
    assert found.ss.tolist() == [0, 324]
    assert found.k.tolist() == [10, 10]


def test_the_method_is_that_of_the_latest_session(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150, 151),
        *taken("2026-03-08", 150, 151),
        *taken("2026-03-15", 150, 151, **OSC),
    ]
    records = clinic(rows)
    assert series(records, "A17").method == "oscillometric"
    assert days(series(records, "A17", method="doppler")) == ["03-01", "03-08"]


@pytest.mark.parametrize(
    ("doppler_at", "oscillometric_at"),
    [
        ("2026-03-01T09:00", "2026-03-01T09:30"),
        ("2026-03-01T09:30", "2026-03-01T09:00"),
        ("2026-03-01T09:00", "2026-03-01T09:00"),
        ("2026-03-01", "2026-03-01"),
        ("2026-03-01", "2026-03-01T09:00"),
        ("2026-03-01T09:00", "2026-03-01"),
    ],
)
@pytest.mark.parametrize("doppler_first", [True, False])
def test_a_tie_goes_to_doppler_whatever_the_clock_times(
    clinic: Clinic, taken: Taken, doppler_at: str, oscillometric_at: str, doppler_first: bool
) -> None:
    parts = [taken(doppler_at, 150), taken(oscillometric_at, 150, **OSC)]
    rows = [row for part in (parts if doppler_first else parts[::-1]) for row in part]
    assert series(clinic(rows), "A17").method == "doppler"


@pytest.mark.parametrize(
    ("earlier", "method"), [("2025-03-02", "oscillometric"), ("2025-03-01", "doppler")]
)
def test_of_one_date_the_method_with_more_sessions_in_the_last_year_leads(
    clinic: Clinic, taken: Taken, earlier: str, method: str
) -> None:
    """A session of a year ago to the day counts no more; both methods are then equal."""
    rows = [
        *taken(earlier, 150, **OSC),
        *taken("2024-01-05", 150),
        *taken("2024-02-05", 150),
        *taken("2026-03-01T09:00", 150, **OSC),
        *taken("2026-03-01T09:30", 150),
    ]
    assert series(clinic(rows), "A17").method == method
    rows += taken("2026-03-02", 150)
    assert series(clinic(rows), "A17").method == "doppler"


def test_only_sessions_that_may_enter_decide_the_method(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150),
        *taken("2026-03-02", 150, **OSC, state="sedated"),
        *taken("2026-03-03", 150, **OSC, excluded="moved"),
        *taken("2026-03-04", "no sound"),
    ]
    found = series(clinic(rows), "A17")
    assert (found.method, days(found)) == ("doppler", ["03-01"])


def test_the_condition_with_most_sessions_then_the_latest(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150),
        *taken("2026-03-02", 150),
        *taken("2026-03-03", 140, setting="home"),
    ]
    assert series(clinic(rows), "A17").condition == "clinic"
    rows += taken("2026-03-04", 140, setting="home")
    assert series(clinic(rows), "A17").condition == "home"
    assert series(clinic(rows), "A17", condition="clinic").condition == "clinic"
    # Sessions by the other method do not count towards the condition.
    rows += [row for day in (4, 5, 6) for row in taken(f"2026-02-0{day}", 150, **OSC)]
    assert series(clinic(rows), "A17").condition == "home"


def test_a_condition_asked_for_picks_the_method_among_its_own(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150, **OSC, setting="home"),
        *taken("2026-03-02", 150),
    ]
    found = series(clinic(rows), "A17", condition="home")
    assert (found.method, found.condition) == ("oscillometric", "home")


def test_quantities_of_the_oscillometer(clinic: Clinic) -> None:
    row = {"taken_at": "2026-03-01", **OSC, "systolic": 150, "diastolic": 90, "heart_rate": 180}
    records = clinic([row])
    assert series(records, "A17", quantity="diastolic").y.tolist() == [90]
    rate = series(records, "A17", quantity="heart_rate")
    assert (rate.y.tolist(), rate.unit) == ([180], "/min")
    assert series(records, "A17", quantity="pulse_pressure").y.tolist() == [60]


def test_the_visit_index_counts_dates_by_any_method(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150, **OSC),  # visit 0, by the other method
        *taken("2026-03-02", 150, setting="home"),  # no visit
        *taken("2026-03-03", 150, state="sedated"),  # no visit
        *taken("2026-03-04", 150, excluded="moved"),  # nothing used: no visit
        *taken("2026-03-05T09:00", 150),  # visit 1
        *taken("2026-03-05T15:00", 150),  # visit 1 too
        *taken("2026-03-06", 150, state="calmed"),  # visit 2
        *taken("2026-03-06", 150, setting="home"),  # at home, though on a visit's date
        *taken("2026-03-07", 150),  # visit 3
    ]
    records = clinic(rows)
    assert series(records, "A17", "doppler").visit.tolist() == [1, 1, 3]
    assert series(records, "A17", "doppler", condition="calmed").visit.tolist() == [2]
    assert series(records, "A17", "doppler", condition="home").visit.tolist() == [-1, -1]


def test_bridged_series(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 150),
        *taken("2026-03-02", 155, **OSC),
        *taken("2026-03-03", 140, setting="home"),
        *taken("2026-03-04", 141, **OSC, setting="home"),
        *taken("2026-03-05", 151),
        *taken("2026-03-06", 100, state="anaesthetised"),
    ]
    records = clinic(rows)
    methods = series(records, "A17", bridge=("methods",))
    assert days(methods) == ["03-01", "03-02", "03-05"]
    assert methods.methods.tolist() == ["doppler", "oscillometric", "doppler"]
    assert (methods.method, methods.condition) == ("doppler", "clinic")
    conditions = series(records, "A17", bridge=("conditions",))
    assert days(conditions) == ["03-01", "03-03", "03-05"]
    assert conditions.conditions.tolist() == ["clinic", "home", "clinic"]
    assert conditions.visit.tolist() == [0, -1, 2]
    both = series(records, "A17", bridge="methods,conditions")
    assert days(both) == ["03-01", "03-02", "03-03", "03-04", "03-05"]
    # A method named with bridged methods only picks the condition.
    named = series(records, "A17", method="oscillometric", bridge=("methods",), condition="home")
    assert days(named) == ["03-03", "03-04"]
    assert (named.method, named.condition) == ("oscillometric", "home")


def test_tense_sessions_are_marked(clinic: Clinic, taken: Taken) -> None:
    rows = [*taken("2026-03-01", 150, demeanour="tense"), *taken("2026-03-02", 150)]
    assert series(clinic(rows), "A17").tense.tolist() == [True, False]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ({"method": "doppler", "quantity": "diastolic"}, "systolic pressure only"),
        ({"method": "cuff"}, "doppler or oscillometric"),
        ({"quantity": "sbp"}, "is not known. Use systolic"),
        ({"condition": "sedated"}, "never enter a trend"),
        ({"condition": "garden"}, "clinic, home or calmed"),
        ({"bridge": ("animals",)}, "methods or conditions"),
        ({"source": Source(rule="best")}, "guideline or all"),
        ({"quantity": "diastolic"}, "no session with a used number of diastolic"),
        ({"method": "oscillometric"}, "oscillometric under anaesthesia \\(never in a trend\\)"),
        ({"condition": "home"}, "at home that may enter"),
    ],
)
def test_calls_that_are_refused_say_what_there_is(
    clinic: Clinic, taken: Taken, call: dict[str, Any], words: str
) -> None:
    rows = [*taken("2026-03-01", 150), *taken("2026-03-02", 90, **OSC, state="anaesthetised")]
    with pytest.raises(CallError, match=words):
        series(clinic(rows), "A17", **call)


def test_an_animal_without_a_session(clinic: Clinic, taken: Taken) -> None:
    with pytest.raises(CallError, match="hold no session of B"):
        series(clinic(taken("2026-03-01", 150)), "B")
    with pytest.raises(
        CallError, match="1 Doppler in the clinic, awake \\(no used number of it\\)"
    ):
        series(clinic(taken("2026-03-01", 150, excluded="moved")), "A17")


@pytest.fixture
def herd(clinic: Clinic) -> Any:
    """Twenty animals, both methods, three conditions, half of them treated."""
    rng = np.random.default_rng(11)
    rows, treatments = [], []
    for number in range(20):
        animal = f"N{number:02d}"
        for day in rng.choice(300, 8, replace=False):
            date = str(np.datetime64("2026-01-01") + int(day))
            row = {
                "animal": animal,
                "taken_at": date,
                "method": str(rng.choice(["doppler", "oscillometric"])),
            }
            row["setting"] = str(rng.choice(["clinic", "home"], p=[0.7, 0.3]))
            row["state"] = str(rng.choice(["awake", "calmed", "sedated"], p=[0.7, 0.2, 0.1]))
            rows += [
                {**row, "systolic": int(v), "reading": i}
                for i, v in enumerate(rng.integers(110, 200, 5))
            ]
        if number % 2:
            treatments.append({"animal": animal, "started_on": "2026-04-01", "dose": "1 mg"})
    return clinic(rows, treatments=treatments)


@pytest.mark.parametrize("bridge", [(), ("methods",), ("conditions",), ("methods", "conditions")])
def test_all_at_once_is_one_at_a_time(herd: Any, bridge: tuple[str, ...]) -> None:
    found = all_series(herd, bridge=bridge)
    frame = sessions(herd)
    assert len(found) >= 20
    assert list(found) == sorted(found)
    for (animal, method, condition, quantity), one in found.items():
        alone = series(
            herd, animal, method, quantity, condition, bridge=bridge, source=Source(frame)
        )
        assert one == alone
        assert all(
            getattr(one, name).dtype == getattr(alone, name).dtype
            for name in ("date", "y", "methods", "conditions", "bound", "visit")
        )
        assert (one.method, one.condition, one.species) == (method, condition, "cat")
        assert [c.drug for c in one.courses] == [c.drug for c in alone.courses]


def test_a_precomputed_frame_gives_the_same(herd: Any) -> None:
    frame = sessions(herd)
    own = frame[frame["animal"] == "N03"].reset_index(drop=True)
    store = session_store(herd)
    for given in (frame, own, store, store.of_animal("N03")):
        np.testing.assert_array_equal(
            series(herd, "N03", source=Source(given)).y, series(herd, "N03").y
        )


def test_only_what_is_asked_for(herd: Any) -> None:
    found = all_series(herd, methods=("doppler",), conditions=("home",))
    assert {key[1:] for key in found} == {("doppler", "home", "systolic")}
    assert all_series(herd, quantities=("diastolic",)) == {}
    with pytest.raises(CallError):
        all_series(herd, quantities=("sbp",))


def test_row_order_and_a_shift_of_dates_change_no_number(clinic: Clinic) -> None:
    rng = np.random.default_rng(2)
    rows = [
        {"taken_at": f"2026-03-{d:02d}T09:0{i}", "systolic": int(rng.integers(120, 190))}
        for d in range(1, 20)
        for i in range(5)
    ]
    straight = series(clinic(rows), "A17")
    mixed = series(clinic([rows[i] for i in rng.permutation(len(rows))]), "A17")
    shifted = series(
        clinic([{**row, "taken_at": row["taken_at"].replace("-03-", "-05-")} for row in rows]),
        "A17",
    )
    for other in (mixed, shifted):
        for name in ("y", "ss", "k", "visit", "session", "median"):
            np.testing.assert_array_equal(getattr(straight, name), getattr(other, name))
    assert (shifted.date - straight.date == np.timedelta64(61, "D")).all()


def test_latest_takes_the_last_doppler_of_the_date() -> None:
    date = np.array(["2026-03-01", "2026-03-02", "2026-03-02"], dtype="datetime64[D]")
    no_time = pd.to_datetime([None] * 3).to_numpy(dtype="datetime64[ns]")
    method = np.array(["doppler", "doppler", "oscillometric"], dtype=object)
    assert latest(date, no_time, method) == 1
    assert latest(date, no_time, method[[0, 2, 2]]) == 2


@pytest.mark.parametrize(
    ("sessions_held", "step"),
    [
        # Every session of two or more holds equal readings: they are known to a step only.
        ([(150, 150), (164, 164, 164)], 2.0),
        ([(150, 150), (163, 163)], 1.0),
        ([(150, 150), (163,)], 1.0),
        # One pair that differs tells the scatter; single readings tell nothing of it.
        ([(150, 150), (164, 166)], 0.0),
        ([(150,), (164,)], 0.0),
    ],
)
def test_the_step_of_rounded_readings(
    clinic: Clinic, taken: Taken, sessions_held: list[tuple[int, ...]], step: float
) -> None:
    rows = [
        row
        for month, values in enumerate(sessions_held, 1)
        for row in taken(f"2026-0{month}-01T09:00", *values)
    ]
    assert rounding_step(series(clinic(rows), "A17")) == step


def test_a_series_prints_how_many_there_are_not_the_numbers(clinic: Clinic, taken: Taken) -> None:
    rows = [row for day in range(10, 30) for row in taken(f"2026-03-{day}", 151, 153)]
    shown = repr(series(clinic(rows), "A17"))
    assert "animal='A17'" in shown
    assert "y=<20>" in shown
    assert "152" not in shown
