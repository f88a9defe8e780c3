"""What decides when an animal is measured again, from records and a trend."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import NothingLeft
from bpvet.facts.categories import guideline
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import safety
from bpvet.models.safety.standing import dates_of
from bpvet.models.trend.fit import animal_sessions
from bpvet.visits.treatments.courses import courses
from tests.models.small_records import drug, records, rows, sign, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]


def _held(readings, treatments=(), observations=(), *, chosen="acvim2018", **more):
    held = records(readings, treatments, observations, **more)
    try:
        trend = bpvet.fit_trend(held, "A1")
    except NothingLeft:
        trend = None
    table = animal_sessions(held, "A1")
    case = AnimalCase(held, "A1", table, courses(held, "A1"), trend)
    return safety(case, guideline(chosen)).standing


def test_home_and_calmed_are_judged_on_more_in_every_pressure():
    for columns, added in (({}, 0), ({"setting": "home"}, 15), ({"state": "calmed"}, 12)):
        held = _held(rows(steady(150, DATES), **columns))
        plain = _held(rows(steady(150 + added, DATES)))
        assert held.highest == pytest.approx(plain.highest)
        assert held.lowest == pytest.approx(plain.lowest)
        assert held.raised_dates == plain.raised_dates == 5
        assert held.dates_160 == (5 if added else 0)
        assert held.p_160 > 0.3 if added else held.p_160 < 0.3


def test_bounds_count_where_they_can():
    high = _held(rows([*steady(150, DATES[:4]), (DATES[4], [">300", ">300", ">300"])]))
    assert (high.highest, high.lowest) == (300.0, None)
    assert high.severe_dates == 1
    low = _held(rows([*steady(150, DATES[:4]), (DATES[4], ["<60", "<60", "<60"])]))
    assert (low.highest, low.lowest) == (None, 60.0)


def test_sedated_counts_in_urgency_and_not_in_when_again():
    readings = rows(steady(130, DATES)) + rows(steady(200, ["2026-09-01"]), state="sedated")
    held = _held(readings)
    assert [one.rule for one in held.urgent] == ["severe"]
    assert str(held.latest) == DATES[-1]
    assert held.highest < 140
    assert held.severe_dates == 0


def test_dates_are_counted_and_never_sessions_or_rows():
    twice = rows(steady(170, DATES)) + rows(steady(172, DATES), method="oscillometric")
    held = _held(twice)
    assert (held.dates_160, held.raised_dates) == (5, 5)


def test_only_the_last_24_months_count():
    readings = rows(steady(170, ["2024-01-10", "2024-03-10", "2026-08-01"]))
    assert _held(readings).dates_160 == 1


def test_24_months_are_730_days():
    # As of 1 November 2026: 729 and 730 days before.
    readings = rows(steady(170, ["2024-11-01", "2024-11-02", "2026-08-01"]))
    assert _held(readings, as_of="2026-11-01").dates_160 == 2


def test_a_date_settles_after_three_time_constants_and_a_week_after_the_one_before():
    # Nine days after the start of amlodipine; six days later is too soon, seven is not.
    given = [drug("2026-02-08")]
    assert _held(rows(steady(130, ["2026-01-10", "2026-02-16"])), given).since == 0
    assert _held(rows(steady(130, ["2026-01-10", "2026-02-17", "2026-02-23"])), given).since == 1
    assert _held(rows(steady(130, ["2026-01-10", "2026-02-17", "2026-02-24"])), given).since == 2


@pytest.mark.parametrize(
    ("treatments", "changed_on"),
    [
        ([drug("2026-07-25")], None),  # 1 August is a week after it
        ([drug("2026-07-26")], "2026-07-26"),
        ([drug("2026-01-15", stopped_on="2026-07-30")], "2026-07-30"),
        (
            [drug("2026-01-15", stopped_on="2026-07-28", dose="1", dose_unit="ml"),
             drug("2026-07-28", dose="2", dose_unit="ml")],
            "2026-07-28",
        ),
        (
            [drug("2026-01-15", stopped_on="2026-07-28", product="tablet"),
             drug("2026-07-28", product="paste")],
            "2026-07-28",
        ),
        ([drug("2026-07-30", "wonder drops")], "2026-07-30"),  # off the list, while it is on
        ([drug("2026-07-30", "wonder drops", stopped_on="2026-08-20")], None),
        ([drug("2026-07-30", "prednisolone")], "2026-07-30"),  # known to raise pressure
        ([drug("2026-01-30", "prednisolone", stopped_on="2026-07-30")], None),
        ([drug("2026-07-30", "insulin")], None),
    ],
)  # fmt: skip
def test_a_change_waits_for_a_date_a_week_after_it(treatments, changed_on):
    held = _held(rows(steady(130, DATES)), treatments)
    assert held.changed_on == (None if changed_on is None else np.datetime64(changed_on))


@pytest.mark.parametrize(
    ("after", "stopped"),
    [([], True), (["2026-10-01"], True), (["2026-10-01", "2026-10-20"], False)],
)
def test_a_stop_waits_for_two_settled_dates(after, stopped):
    held = _held(rows(steady(130, [*DATES, *after])), [drug("2026-01-15", stopped_on="2026-07-30")])
    assert (held.stopped_on is not None) is stopped


@pytest.mark.parametrize(("stopped_on", "held_so"), [("2026-04-03", True), ("2026-04-02", False)])
def test_a_stop_is_forgotten_after_120_days(stopped_on, held_so):
    # One date after it, and 1 August lies 120 days after 3 April.
    given = [drug("2026-01-15", stopped_on=stopped_on)]
    held = _held(rows(steady(130, [*DATES[:3], DATES[4]])), given)
    assert (held.stopped_on is not None) is held_so


def test_since_counts_settled_dates_a_week_apart():
    given = [drug("2026-02-08")]
    close = ["2026-08-01", "2026-08-03", "2026-08-05", "2026-08-08"]
    assert _held(rows(steady(130, [*DATES[:2], *close])), given).since == 2
    # Within three time constants of the change none counts.
    early = ["2026-02-16", "2026-02-23"]
    assert _held(rows(steady(130, [*DATES[:1], *early])), given).since < 2


def test_a_drug_off_the_list_makes_no_animal_treated():
    held = _held(rows(steady(95, DATES)), [drug("2026-02-08", "wonder drops")])
    assert (held.treated, held.on_drug) == (False, True)
    named = _held(
        rows(steady(95, DATES)), [drug("2026-02-08", "wonder drops", purpose="blood pressure")]
    )
    assert (named.treated, named.on_drug) == (True, True)


def test_low_dates_count_since_the_last_change():
    given = [drug("2026-02-08")]
    held = _held(rows(steady(170, DATES[:2]) + steady(95, DATES[2:])), given)
    assert held.low_dates == 3
    assert held.urgent_on("low_on_treatment") == np.datetime64(DATES[-1])
    later = [*given, drug("2026-05-03", "telmisartan")]
    assert _held(rows(steady(170, DATES[:2]) + steady(95, DATES[2:])), later).low_dates == 1


def test_a_date_below_the_floor_before_counts_within_180_days():
    given = [drug("2026-01-15")]
    dates = [*DATES[:4], "2026-10-01"]
    values = steady(130, dates[:3]) + steady(112, dates[3:])
    assert not _held(rows(values), given).below_floor_before  # 2 May lies 183 days back
    nearer = steady(130, dates[:3]) + steady(112, ["2026-06-02", "2026-10-01"])
    assert _held(rows(nearer), given).below_floor_before


def test_home_without_a_clinic_date_is_away():
    home = rows(steady(130, DATES[1:]), setting="home")
    assert _held(home).away
    assert _held(home + rows(steady(130, ["2026-07-01"]))).away is False
    assert _held(home + rows(steady(130, ["2026-01-09"]))).away


def test_the_animals_own_target_decides():
    held = _held(rows(steady(150, DATES)), [drug("2026-01-15")], target_systolic=140)
    assert (held.target, held.p_target < 0.5) == (140.0, True)
    assert _held(rows(steady(150, DATES)), [drug("2026-01-15")]).target == 160.0
    feline = _held(rows(steady(150, DATES)), [drug("2026-01-15")], chosen="isfm2017")
    assert (feline.target, feline.raised, feline.floor) == (160.0, 150.0, 110.0)


def test_the_age_is_that_of_the_latest_session():
    assert _held(rows(steady(130, DATES)), birth_date="2020-08-01").age_years == pytest.approx(
        6.0, abs=0.01
    )
    assert _held(rows(steady(130, DATES))).age_years is None


def test_without_a_number_nothing_is_supposed():
    silent = _held(rows([("2026-10-30", ["no sound"])]))
    assert silent.p_target is silent.p_160 is silent.highest is silent.lowest is None
    assert str(silent.latest) == "2026-10-30"


def test_risks_are_found_in_signs_and_drugs():
    assert _held(rows(steady(130, DATES)), (), [sign("2026-03-01", "blind", "longstanding")]).risks
    told = {
        "hyperthyroidism": "thyroid",
        "diabetes": "diabetes",
        "chronic kidney disease": "kidney",
    }
    for text, risk in told.items():
        assert risk in _held(rows(steady(130, DATES)), (), [sign("2026-03-01", text)]).risks
    assert _held(rows(steady(130, DATES)), [drug("2026-03-01", "prednisolone")]).risks == (
        "raising_drug",
    )


def test_a_date_has_its_highest_and_its_lowest_session_as_judged():
    table = pd.DataFrame(
        {
            "date": np.array(["2026-05-01"] * 3 + ["2026-06-01"], dtype="datetime64[s]"),
            "condition": ["clinic", "home", "sedated", "home"],
            "systolic": [150.0, 140.0, 220.0, 120.0],
            "systolic_bound": ["", "", "", "at most"],
        }
    )
    found = dates_of(table)
    assert found.high.tolist() == [155.0, -np.inf]
    assert found.low.tolist() == [150.0, 135.0]
    assert found.low_measured.tolist() == [140.0, 120.0]
    assert found.clinic.tolist() == [True, False]


@pytest.mark.parametrize(("sdma", "expected"), [("30", True), ("15", False)])
def test_of_two_kidney_values_of_one_day_both_are_looked_at(sdma, expected):
    base = records(rows(steady(130, DATES)), [drug("2026-05-10")])
    labs = pd.DataFrame(
        [("A1", day, analyte, value, unit)
         for day, creatinine, other in (("2026-05-01", "150", "14"), ("2026-05-28", "151", sdma))
         for analyte, value, unit in
         (("creatinine", creatinine, "umol/L"), ("sdma", other, "ug/dL"))],
        columns=["animal", "sampled_on", "analyte", "value", "unit"],
    )  # fmt: skip
    held = bpvet.Records.from_frames(
        pd.DataFrame(rows(steady(130, DATES))),
        treatments=pd.DataFrame([drug("2026-05-10")]),
        animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
        labs=labs,
        as_of=str(base.as_of),
    )
    of_animal = animal_sessions(held, "A1"), courses(held, "A1"), bpvet.fit_trend(held, "A1")
    found = safety(AnimalCase(held, "A1", *of_animal), guideline("acvim2018")).found
    assert ("reaction" in found.at_risk) is expected
