"""One row a session: worked sums, bounds, summaries, flags, and the animal's columns."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.facts.words import QUANTITIES
from bpvet.visits.choice import Reading, median_of, session_sum
from bpvet.visits.readings import readings_used
from bpvet.visits.session_sums import summed
from bpvet.visits.sessions import SESSION_COLUMNS, sessions

Clinic = Callable[..., Any]
Taken = Callable[..., list[dict[str, Any]]]


def flags_of(row: Any) -> list[str]:
    return [flag for flag in str(row["flags"]).split("; ") if flag]


def only(frame: pd.DataFrame) -> Any:
    assert len(frame) == 1
    return frame.iloc[0]


@pytest.mark.parametrize(
    ("values", "mean", "ss", "sd"),
    [
        # 161: 16 + 9 + 1 = 26, SD √(26/2).
        ((165, 158, 160), 161, 26, 3.605551275463989),
        ((150,), 150, 0, math.nan),
        # 168: 9 + 0 + 4 + 9 + 4 = 26, SD √(26/4).
        ((171, 168, 166, 165, 170), 168, 26, 2.5495097567963922),
    ],
)
def test_worked_sessions(
    clinic: Clinic, taken: Taken, values: tuple[int, ...], mean: float, ss: float, sd: float
) -> None:
    row = only(sessions(clinic(taken("2026-03-01T09:00", *values)), rule="all"))
    assert (row["systolic"], row["systolic_ss"]) == (mean, ss)
    assert (row["systolic_n"], row["n_taken"], row["n_used"]) == (len(values),) * 3
    assert row["systolic_sd"] == pytest.approx(sd, nan_ok=True)


def test_columns_are_the_contract_s(clinic: Clinic, taken: Taken) -> None:
    frame = sessions(clinic(taken("2026-03-01", 150, 151)))
    expected = [
        *("animal", "species", "breed", "age_years", "sex", "clinic", "date", "method"),
        *("condition", "session", "label", "operator", "site", "demeanour", "months", "treated"),
        "n_taken",
    ]
    for quantity in ("systolic", "diastolic", "mean", "heart_rate", "pulse_pressure"):
        expected += [quantity, f"{quantity}_n", f"{quantity}_ss", f"{quantity}_bound"]
    expected.append("flags")
    assert list(SESSION_COLUMNS) == expected
    assert list(frame.columns[: len(expected)]) == expected
    assert frame["session"].dtype == np.int64
    assert frame["treated"].dtype == bool


def test_the_first_of_four_goes_under_the_guideline(clinic: Clinic, taken: Taken) -> None:
    # (150 + 152 + 154)/3 = 152; with the first (190 + 456)/4 = 161.5.
    records = clinic(taken("2026-03-01T09:00", 190, 150, 152, 154))
    guideline, everything = only(sessions(records)), only(sessions(records, rule="all"))
    assert (guideline["systolic"], guideline["systolic_ss"], guideline["n_left_out"]) == (152, 8, 1)
    assert (everything["systolic"], everything["n_left_out"]) == (161.5, 0)
    assert guideline["n_taken"] == everything["n_taken"] == 4


def test_which_is_first_does_not_depend_on_the_quantity(clinic: Clinic) -> None:
    # The first of four has a diastolic only: it is the one left out, for every quantity.
    pairs = [("", 95), (150, 90), (152, 92), (154, 94)]
    rows = [
        {
            "taken_at": f"2026-03-01T09:0{i}",
            "method": "oscillometric",
            "systolic": s,
            "diastolic": d,
        }
        for i, (s, d) in enumerate(pairs)
    ]
    row = only(sessions(clinic(rows)))
    assert (row["systolic"], row["systolic_n"]) == (152, 3)
    assert (row["diastolic"], row["diastolic_n"]) == (92, 3)


def test_pulse_pressure_needs_both_plain_numbers(clinic: Clinic) -> None:
    # 150 − 90 = 60 and 160 − 96 = 64: mean 62, sum of squares 8; "> 300" gives none.
    rows = [
        {"systolic": 150, "diastolic": 90},
        {"systolic": 160, "diastolic": 96},
        {"systolic": "> 300", "diastolic": 100},
    ]
    rows = [{"taken_at": "2026-03-01", "method": "oscillometric", **row} for row in rows]
    row = only(sessions(clinic(rows)))
    assert (row["pulse_pressure"], row["pulse_pressure_n"], row["pulse_pressure_ss"]) == (62, 2, 8)
    assert row["pulse_pressure_bound"] == ""
    assert (row["systolic_n"], row["diastolic_n"]) == (3, 3)


def test_a_bound_stands_at_its_value_and_is_said(clinic: Clinic, taken: Taken) -> None:
    # (300 + 290)/2 = 295.
    row = only(sessions(clinic(taken("2026-03-01", "> 300", 290))))
    assert (row["systolic"], row["systolic_bound"]) == (295, "at least")
    assert "bound: the mean is at least this" in flags_of(row)
    low = only(sessions(clinic(taken("2026-03-01", "< 40", 60))))
    assert (low["systolic"], low["systolic_bound"]) == (50, "at most")
    both = only(sessions(clinic(taken("2026-03-01", "< 40", "> 300"))))
    assert both["systolic_bound"] == "at least and at most"
    assert any("both ends" in flag for flag in flags_of(both))


def test_a_bound_that_is_left_out_leaves_no_mark(clinic: Clinic, taken: Taken) -> None:
    row = only(sessions(clinic(taken("2026-03-01T09:00", "> 300", 280, 282, 284))))
    assert (row["systolic"], row["systolic_bound"]) == (282, "")


def test_a_session_without_a_number_is_kept(clinic: Clinic, taken: Taken) -> None:
    silent = only(sessions(clinic(taken("2026-03-01", "no sound", "no sound"))))
    assert (silent["n_taken"], silent["n_no_sound"], silent["systolic_n"]) == (2, 2, 0)
    assert np.isnan(silent["systolic"])
    assert np.isnan(silent["systolic_ss"])
    assert flags_of(silent) == ["no reading used", "no sound"]
    out = only(sessions(clinic(taken("2026-03-01", 150, 152, excluded="moved"))))
    assert flags_of(out) == ["all readings excluded"]
    assert (out["n_excluded"], out["n_used"]) == (2, 0)


def test_a_session_known_by_mean_and_count(clinic: Clinic) -> None:
    # Ten readings, SD 6: (10 − 1)·36 = 324. Nothing is left out of a summary.
    row = {"taken_at": "2026-03-01", "systolic_mean": 150, "systolic_n": 10, "systolic_sd": 6}
    known = only(sessions(clinic([row])))
    assert (known["systolic"], known["systolic_n"], known["n_taken"]) == (150, 10, 10)
    assert (known["systolic_ss"], known["systolic_sd"]) == (324, 6)
    assert known["systolic_median"] == 150
    assert "summary only" in flags_of(known)
    del row["systolic_sd"]
    unknown = only(sessions(clinic([row])))
    assert (unknown["systolic"], unknown["systolic_n"]) == (150, 10)
    assert np.isnan(unknown["systolic_ss"])


def test_two_summaries_of_one_session_are_joined(clinic: Clinic) -> None:
    # (4·150 + 6·160)/10 = 156; 3·25 + 5·16 + 4·36 + 6·16 = 75 + 80 + 144 + 96 = 395.
    rows = [
        {"taken_at": "2026-03-01", "systolic_mean": 150, "systolic_n": 4, "systolic_sd": 5},
        {"taken_at": "2026-03-01", "systolic_mean": 160, "systolic_n": 6, "systolic_sd": 4},
    ]
    row = only(sessions(clinic(rows)))
    assert row["systolic"] == pytest.approx(156)
    assert row["systolic_ss"] == pytest.approx(395)


def test_medians(clinic: Clinic, taken: Taken) -> None:
    rows = [*taken("2026-03-01", 150, 170, 151), *taken("2026-03-02", 150, 160)]
    assert list(sessions(clinic(rows))["systolic_median"]) == [151, 155]


@pytest.mark.parametrize(
    ("values", "flag"),
    [
        ((150, 152), "fewer than 3 readings used"),
        ((119, 150, 181), "spread beyond 20 %"),
        ((180, 171, 165), "still falling: its mean reads high"),
        ((300, 299, 300), "at the gauge's ceiling: the true value may be higher"),
        (tuple(range(150, 163)), "more than 12 readings taken"),
    ],
)
def test_flags_of_the_numbers(
    clinic: Clinic, taken: Taken, values: tuple[int, ...], flag: str
) -> None:
    assert flags_of(only(sessions(clinic(taken("2026-03-01T09:00", *values))))) == [flag]


def test_a_good_session_has_no_flag(clinic: Clinic, taken: Taken) -> None:
    row = only(sessions(clinic(taken("2026-03-01T09:00", 160, 150, 151, 150, 149, 150))))
    assert (row["flags"], row["go_on"]) == ("", "")


def test_counted_pulse_against_heart_rate(clinic: Clinic) -> None:
    # 198 is 10 % above 180: not further apart; 199 is.
    rows = [
        {"taken_at": f"2026-03-0{day}", "systolic": 150, "diastolic": 90, "mean": 110}
        | {"method": "oscillometric", "heart_rate": rate, "counted_pulse": 180}
        for day, rate in ((1, 198), (2, 199), (3, 161))
    ]
    found = sessions(clinic(rows))
    flagged = ["counted pulse disagrees" in flags_of(row) for _, row in found.iterrows()]
    assert flagged == [False, True, True]


@pytest.mark.parametrize(
    ("demeanour", "tense"),
    [("tense", True), ("Very anxious", True), ("calm", False), ("not tense", False), ("", False)],
)
def test_tense(clinic: Clinic, taken: Taken, demeanour: str, tense: bool) -> None:
    row = only(sessions(clinic(taken("2026-03-01", 150, 151, 152, demeanour=demeanour))))
    assert row["tense"] == tense
    assert ("tense" in flags_of(row)) == tense
    assert row["demeanour"] == demeanour


def test_kept_out_conditions_are_listed_with_their_own(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01", 100, 101, 102, state="anaesthetised"),
        *taken("2026-03-01", 120, 121, 122, state="sedated", setting="home"),
    ]
    found = sessions(clinic(rows))
    assert list(found["condition"]) == ["anaesthetised", "sedated"]
    assert [flags_of(row) for _, row in found.iterrows()] == [
        ["anaesthetised: kept out of trends"],
        ["sedated: kept out of trends"],
    ]


def test_text_that_differs_within_a_session_is_joined_in_order(clinic: Clinic) -> None:
    rows = [
        {"taken_at": "2026-03-01T09:02", "systolic": 150, "operator": "AB", "site": "tail"},
        {"taken_at": "2026-03-01T09:00", "systolic": 150, "operator": "KM"},
        {"taken_at": "2026-03-01T09:01", "systolic": 150, "operator": "", "site": "tail"},
        {"taken_at": "2026-03-01T09:03", "systolic": 150, "operator": "KM", "cuff_width_cm": 2.5},
        {"taken_at": "2026-03-02T09:03", "systolic": 150, "operator": "AB", "cuff_width_cm": 3},
    ]
    found = sessions(clinic(rows))
    assert list(found["operator"]) == ["KM; AB", "AB"]
    assert list(found["site"]) == ["tail", ""]
    assert list(found["cuff_width_cm"]) == [2.5, 3]


def test_months_age_and_the_animal(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-05-01", 150),
        *taken("2026-03-01", 160),
        *taken("2026-03-01", 1, animal="B"),
    ]
    rows[-1]["systolic"] = 140
    animals = [
        {"animal": "A17", "species": "cat", "birth_date": "2016-03-01", "sex": "f", "clinic": "c"},
        {"animal": "B", "species": "dog", "breed": "whippet"},
    ]
    found = sessions(clinic(rows, animals=animals))
    assert list(found["animal"]) == ["A17", "A17", "B"]
    # 1 March to 1 May: 61 days of 30.4375 to the month.
    assert list(found["months"]) == pytest.approx([0, 61 / 30.4375, 0])
    # 2016-03-01 to 2026-03-01: 3652 days.
    assert found["age_years"][0] == pytest.approx(3652 / 365.25)
    assert np.isnan(found["age_years"][2])
    assert list(found["species"]) == ["cat", "cat", "dog"]
    assert list(found["breed"]) == ["", "", "whippet"]


def test_treated_from_the_day_after_the_start_to_the_last_day(clinic: Clinic, taken: Taken) -> None:
    days = ["2026-03-01", "2026-03-10", "2026-03-11", "2026-03-20", "2026-03-21"]
    rows = [row for day in days for row in taken(day, 150)]
    rows += taken("2026-03-15", 150, animal="B")
    records = clinic(
        rows, treatments=[{"started_on": "2026-03-10", "stopped_on": "2026-03-20", "dose": "1 mg"}]
    )
    assert list(sessions(records)["treated"]) == [False, False, True, True, False, False]


def test_other_drugs_do_not_treat(clinic: Clinic, taken: Taken) -> None:
    given = [{"drug": "gabapentin", "started_on": "2026-03-01"}]
    assert not sessions(clinic(taken("2026-03-05", 150), treatments=given))["treated"].any()


def test_the_home_session_of_a_visit_date_is_its_own(clinic: Clinic, taken: Taken) -> None:
    rows = [
        *taken("2026-03-01T08:00", 140, 141, setting="home"),
        *taken("2026-03-01T10:00", 160, 161),
        *taken("2026-03-01T10:10", 158, 159, method="oscillometric"),
        *taken("2026-03-01T16:00", 150, 151),
    ]
    found = sessions(clinic(rows))
    assert list(found["session"]) == [1, 2, 3, 4]
    assert list(found["systolic"]) == [140.5, 160.5, 158.5, 150.5]
    assert list(found["first_time"].dt.hour) == [8, 10, 10, 16]


def random_clinic(clinic: Clinic, seed: int) -> Any:
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(40):
        k = int(rng.integers(1, 9))
        for minute in range(k):
            row = {
                "taken_at": f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}T09:{minute:02d}",
                "method": "oscillometric",
                "systolic": str(rng.integers(90, 220)),
                "diastolic": str(rng.integers(50, 85)),
                "excluded": str(rng.choice(["", "moved"], p=[0.85, 0.15])),
            }
            if rng.random() < 0.1:
                row["systolic"] = str(rng.choice(["> 300", "no sound", "< 40"]))
            rows.append(row)
    return clinic(rows)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("rule", ["guideline", "all"])
def test_the_columns_agree_with_the_in_room_sum(clinic: Clinic, seed: int, rule: str) -> None:
    records = random_clinic(clinic, seed)
    found = sessions(records, rule=rule).set_index("session")
    used = readings_used(records, rule=rule)
    used = used[used["session"] > 0].sort_values(["session", "order"])
    for number, part in used.groupby("session"):
        # A row whose systolic gave no sound may still be used for its diastolic.
        plain = [
            Reading(
                None if row.systolic_bound == "no sound" else row.systolic,
                row.systolic_bound if row.systolic_bound != "no sound" else "",
                row.excluded,
                row.set_aside,
            )
            for row in part.itertuples()
        ]
        expected = session_sum(plain, rule)
        row = found.loc[number]
        if plain[0].kind == "no sound":
            continue
        assert row["systolic_n"] == expected.n_used
        assert row["systolic"] == pytest.approx(
            math.nan if expected.mean is None else expected.mean, nan_ok=True
        )
        assert row["systolic_ss"] == pytest.approx(
            math.nan if expected.ss is None else expected.ss, nan_ok=True, abs=1e-9
        )
        assert row["systolic_bound"] == expected.bound
        assert ("still falling: its mean reads high" in row["flags"]) == expected.falling
        assert ("spread beyond 20 %" in row["flags"]) == expected.inconsistent


def test_renaming_an_animal_changes_its_name_only(clinic: Clinic, taken: Taken) -> None:
    rows = [*taken("2026-03-01", 150, 151), *taken("2026-03-08", 150, 153)]
    before = sessions(clinic(rows))
    after = sessions(clinic([{**row, "animal": "=1+1"} for row in rows]))
    assert set(after["animal"]) == {"=1+1"}
    pd.testing.assert_frame_equal(before.drop(columns="animal"), after.drop(columns="animal"))


def test_row_order_changes_nothing_where_times_are_given(clinic: Clinic) -> None:
    records = random_clinic(clinic, 3)
    rows = records.readings[["taken_at", "method", "systolic", "diastolic"]]
    rows = rows.assign(taken_at=rows["taken_at"].dt.strftime("%Y-%m-%dT%H:%M"))
    straight = clinic(rows.to_dict("records"))
    mixed = clinic(rows.sample(frac=1, random_state=1).to_dict("records"))
    # Only the position in the input may differ; the sums agree to the last bit.
    pd.testing.assert_frame_equal(
        sessions(straight).drop(columns="line"),
        sessions(mixed).drop(columns="line"),
        check_exact=True,
    )


def test_no_session_at_all(clinic: Clinic) -> None:
    found = sessions(clinic([{"taken_at": "never", "systolic": 150}]))
    assert len(found) == 0
    assert list(found.columns[: len(SESSION_COLUMNS)]) == list(SESSION_COLUMNS)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_quantity_has_its_numbers(clinic: Clinic, quantity: str) -> None:
    row = {"systolic": 150, "diastolic": 90, "mean": 110, "heart_rate": 180}
    rows = [{"taken_at": "2026-03-01", "method": "oscillometric", **row}]
    expected = {**row, "pulse_pressure": 60}[quantity]
    found = only(sessions(clinic(rows)))
    assert (found[quantity], found[f"{quantity}_n"], found[f"{quantity}_ss"]) == (expected, 1, 0)


NUMBERS = st.one_of(
    st.integers(0, 400).map(float),
    st.floats(0, 400),
    st.floats(-50, 5000, allow_subnormal=False),
    st.sampled_from([150.1, 148.7, 4095.999]),
)


@given(st.lists(st.tuples(st.integers(0, 5), NUMBERS), min_size=1))
def test_medians_are_those_of_each_session_to_the_last_bit(
    rows: list[tuple[int, float]],
) -> None:
    values = {place: [value for which, value in rows if which == place] for place in range(6)}
    ordered = [(place, value) for place in range(6) for value in values[place]]
    *_, found = summed(
        np.array([place for place, _ in ordered]),
        np.array([value for _, value in ordered]),
        None,
        None,
        6,
    )
    expected = [median_of(some) if some else math.nan for some in values.values()]
    np.testing.assert_array_equal(found, expected)


@pytest.mark.parametrize("block", [1, 2, 5])
def test_blocks_of_any_number_of_sessions_give_the_same(
    clinic: Clinic, taken: Taken, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    rows = [
        *taken("2026-03-01T09:00", 150, 151, "> 300", "> 280", operator="A"),
        *taken("2026-03-02T09:00", 190, 150, 140, 130, 120, operator="B", demeanour="tense"),
        *taken("2026-03-03T09:00", "no sound", operator="A"),
        *taken("2026-03-04T09:00", 150, 149, 148, excluded="moved"),
        *taken("2026-03-05T09:00", "< 40", 60, animal="B2"),
    ]
    for row, operator in zip(rows[4:8], ("B", "A", "", "C"), strict=True):
        row["operator"] = operator
    records = clinic(rows)
    whole = sessions(records)
    assert len(whole) == 5
    assert set(whole["systolic_beyond"]) == {"", "> 300; > 280", "< 40"}
    assert set(whole["operator"]) == {"A", "B; A; C", ""}
    monkeypatch.setattr("bpvet.visits.sessions._SESSIONS", block)
    pd.testing.assert_frame_equal(sessions(records), whole)


def test_texts_that_are_the_same_throughout_are_each_their_own(
    clinic: Clinic, taken: Taken
) -> None:
    frame = sessions(clinic(taken("2026-03-01T09:00", 150, 151)))
    assert frame["site"].tolist() == frame["breed"].tolist() == [""]
    frame.loc[0, "site"] = "tail"
    assert frame["breed"].tolist() == [""]


def test_texts_of_a_session_are_joined_once_each_in_order(clinic: Clinic, taken: Taken) -> None:
    rows = taken("2026-03-01T09:00", 150, 151, 152, 153, 154)
    for row, operator in zip(rows, ("B", "", "A", "B", "A"), strict=True):
        row["operator"] = operator
    others = taken("2026-03-08T09:00", 150, 151, operator="A")
    found = sessions(clinic([*others, *rows]))
    assert found["operator"].tolist() == ["B; A", "A"]


def test_a_session_without_a_number_has_no_scatter(clinic: Clinic, taken: Taken) -> None:
    row = only(sessions(clinic(taken("2026-03-01", "no sound", "no sound"))))
    assert row["systolic_n"] == 0
    assert [math.isnan(row[f"systolic{name}"]) for name in ("", "_sd", "_ss")] == [True] * 3
