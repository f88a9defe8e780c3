"""Laboratory values as events: worked by hand, and what holds of any."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bpvet
from bpvet.visits.labs.events import (
    acute_kidney,
    kidney_stage_now,
    missing_kidney_values,
    potassium_alarm,
    upc_above,
    weight_loss,
)
from bpvet.visits.labs.history import LabHistory, all_lab_histories, lab_history
from tests.visits.labs.lab_values import day, history


def creatinine(*pairs: str, unit: str = "µmol/L", species: str = "cat") -> LabHistory:
    return history(
        *(f"2026-{date} creatinine {value} {unit}" for date, value in (p.split() for p in pairs)),
        species=species,
    )


@pytest.mark.parametrize(
    ("pairs", "unit", "within"),
    [
        # 26.5 µmol/L and 15 % within 48 h: either alone does not do.
        (("03-01 150", "03-03 176.5"), "µmol/L", "48 h"),
        (("03-01 150", "03-03 176.4"), "µmol/L", None),
        (("03-01 100", "03-03 125"), "µmol/L", None),
        (("03-01 300", "03-03 330"), "µmol/L", None),
        (("03-01 150", "03-04 180"), "µmol/L", None),
        # More than half within a week; half itself is not.
        (("03-01 100", "03-08 151"), "µmol/L", "7 d"),
        (("03-01 100", "03-08 150"), "µmol/L", None),
        (("03-01 100", "03-09 190"), "µmol/L", None),
        # 0.3 mg/dL in that unit: 1.9 − 1.6 is 0.3, whatever a computer makes of it.
        (("03-01 1.6", "03-02 1.9"), "mg/dL", "48 h"),
        (("03-01 1.6", "03-02 1.89"), "mg/dL", None),
        # One day is no pair: which came first is not known.
        (("03-01 100", "03-01 300"), "µmol/L", None),
    ],
)
def test_an_acute_rise(pairs: tuple[str, ...], unit: str, within: str | None) -> None:
    found = acute_kidney(creatinine(*pairs, unit=unit), day("2026-03-20"))
    assert (None if found is None else found.within) == within


def test_an_acute_rise_holds_what_it_rests_on() -> None:
    found = acute_kidney(creatinine("03-01 190", "03-03 252"), day("2026-03-20"))
    assert found is not None
    assert (found.first.value, found.second.value) == (190, 252)
    assert found.change.absolute == 62
    assert found.change.percent == pytest.approx(32.63, abs=0.01)
    assert (found.change.days, found.change.unit, found.age_days) == (2, "µmol/L", 17)
    assert not found.change.converted


def test_units_that_differ_are_compared_in_that_of_the_later() -> None:
    held = history("2026-03-01 creatinine 150 µmol/L", "2026-03-02 creatinine 3.0 mg/dL")
    found = acute_kidney(held, day("2026-03-20"))
    assert found is not None
    assert found.change.converted
    assert found.change.unit == "mg/dL"
    assert found.change.absolute == pytest.approx(3.0 - 150 / 88.4, abs=1e-8)


def test_a_newer_value_answers_an_acute_rise_unless_it_is_one_itself() -> None:
    as_of = day("2026-03-20")
    rise = ("03-01 100", "03-02 180")
    assert acute_kidney(creatinine(*rise), as_of) is not None
    assert acute_kidney(creatinine(*rise, "03-03 110"), as_of) is None
    again = acute_kidney(creatinine(*rise, "03-04 260"), as_of)
    assert again is not None
    assert again.second.value == 260
    # An answer a month later, and one that is not yet known on the day looked at.
    assert acute_kidney(creatinine(*rise, "04-01 175"), day("2026-04-02")) is None
    assert acute_kidney(creatinine(*rise, "04-01 175"), day("2026-03-31")) is not None


def test_an_acute_rise_is_told_for_ninety_days() -> None:
    held = creatinine("03-01 100", "03-02 180")
    assert acute_kidney(held, day("2026-05-31")) is not None
    assert acute_kidney(held, day("2026-06-01")) is None


def test_of_two_values_of_one_day_the_one_that_asks_for_care_counts() -> None:
    found = acute_kidney(creatinine("03-01 100", "03-03 101", "03-03 180"), day("2026-03-20"))
    assert found is not None
    assert found.second.value == 180
    found = acute_kidney(creatinine("03-01 170", "03-01 100", "03-03 180"), day("2026-03-20"))
    assert found is not None
    assert found.first.value == 100


def test_bounds_prove_a_rise_or_leave_it_open() -> None:
    as_of = day("2026-03-20")
    proven = acute_kidney(creatinine("03-01 <100", "03-02 >300"), as_of)
    assert proven is not None
    assert proven.change.at_least
    assert acute_kidney(creatinine("03-01 >100", "03-02 300"), as_of) is None
    assert acute_kidney(creatinine("03-01 100", "03-02 <300"), as_of) is None
    # A bound that leaves it open answers nothing; one that settles it does.
    assert acute_kidney(creatinine("03-01 100", "03-02 180", "03-03 <900"), as_of) is not None
    assert acute_kidney(creatinine("03-01 100", "03-02 180", "03-03 >100"), as_of) is not None
    assert acute_kidney(creatinine("03-01 100", "03-02 180", "03-03 <120"), as_of) is None


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("6.1 mmol/L", "high"),
        ("6.0 mmol/L", "repeat"),
        ("6.3 mEq/L", "high"),
        ("5.5 mmol/L", "repeat"),
        ("5.4 mmol/L", None),
        ("3.0 mmol/L", None),
        ("2.9 mmol/L", "low"),
        (">6.0 mmol/L", "high"),
        (">5.8 mmol/L", "repeat"),
        (">4.0 mmol/L", None),
        ("<3.0 mmol/L", "low"),
        ("<9.0 mmol/L", None),
    ],
)
def test_potassium(text: str, level: str | None) -> None:
    found = potassium_alarm(history(f"2026-03-01 potassium {text}"), day("2026-03-20"))
    assert (None if found is None else found.level) == level
    if found is not None:
        assert found.age_days == 19


def test_only_the_newest_potassium_speaks() -> None:
    high, well = "2026-03-01 potassium 6.5 mmol/L", "2026-03-02 potassium 4.5 mmol/L"
    assert potassium_alarm(history(high, well), day("2026-03-20")) is None
    # Bounds that leave it open do not answer, and of one day the worse counts.
    held = history(high, "2026-03-02 potassium >4.0 mmol/L")
    assert potassium_alarm(held, day("2026-03-20")) is not None
    same = history(high, "2026-03-01 potassium 4.5 mmol/L")
    assert potassium_alarm(same, day("2026-03-20")) is not None
    assert potassium_alarm(history(high), day("2026-05-30")) is not None
    assert potassium_alarm(history(high), day("2026-05-31")) is None
    assert potassium_alarm(history("2026-03-01 potassium 6.5 g/L"), day("2026-03-20")) is None


@pytest.mark.parametrize(
    ("lines", "species", "stage", "confirmed"),
    [
        (("2026-01-01 creatinine 300 µmol/L",), "cat", 3, False),
        (("2025-09-01 creatinine 260 µmol/L", "2026-01-01 creatinine 300 µmol/L"), "cat", 3, True),
        (("2025-09-01 creatinine 200 µmol/L", "2026-01-01 creatinine 300 µmol/L"), "cat", 3, False),
        (("2025-09-01 creatinine 500 µmol/L", "2026-01-01 creatinine 300 µmol/L"), "cat", 3, True),
        # The higher of the two markers.
        (("2026-01-01 creatinine 150 µmol/L", "2026-01-01 sdma 40 µg/dL"), "cat", 4, False),
        (("2026-01-01 creatinine 150 µmol/L", "2026-01-01 sdma 40 µg/dL"), "dog", 3, False),
        # In the laboratory's own unit: 2.85 mg/dL is 252 µmol/L, and between 2.8 and 2.9.
        (("2026-01-01 creatinine 2.85 mg/dL",), "cat", 2, False),
        (("2026-01-01 creatinine 250.5 µmol/L",), "cat", 2, False),
        (("2026-01-01 creatinine >440 µmol/L",), "cat", 4, False),
        (("2026-01-01 creatinine 440 µmol/L",), "cat", 3, False),
        (("2026-01-01 creatinine 3 mg/dL", "2025-01-01 creatinine 300 µmol/L"), "dog", 3, True),
    ],
)
def test_the_stage_of_now(
    lines: tuple[str, ...], species: str, stage: int, confirmed: bool
) -> None:
    found = kidney_stage_now(history(*lines), species, day("2026-03-20"))
    assert (found.stage, found.confirmed, found.reason) == (stage, confirmed, "")
    assert found.edition == "IRIS 2019 kidney guidance"
    assert found.age_days == 78


@pytest.mark.parametrize(
    ("lines", "species", "reason"),
    [
        ((), "cat", "no creatinine or SDMA"),
        (("2023-12-01 creatinine 300 µmol/L",), "cat", "no creatinine or SDMA"),
        (("2026-01-01 creatinine 300 µmol/L",), "rabbit", "no bounds for the species"),
        (("2026-01-01 creatinine 300 µmol/L",), "", "no bounds for the species"),
        (("2026-01-01 sdma 1.2 µmol/L",), "cat", "no bounds for the unit"),
        (
            ("2026-03-01 creatinine 300 µmol/L", "2026-03-02 creatinine 400 µmol/L"),
            "cat",
            "not stable",
        ),
    ],
)
def test_no_stage_and_why(lines: tuple[str, ...], species: str, reason: str) -> None:
    found = kidney_stage_now(history(*lines), species, day("2026-03-20"))
    assert found.stage is None
    assert reason in found.reason


def test_a_loss_of_weight() -> None:
    as_of = day("2026-03-20")
    held = history(
        "2025-12-01 weight 5.0 kg", "2026-02-01 weight 4.8 kg", "2026-03-01 weight 4.5 kg"
    )
    found = weight_loss(held, as_of)
    assert found is not None
    assert (found.highest.value, found.newest.value) == (5.0, 4.5)
    assert (found.percent, found.days, found.age_days) == (10.0, 90, 19)
    assert (
        weight_loss(history("2025-12-01 weight 5.0 kg", "2026-03-01 weight 4.51 kg"), as_of) is None
    )
    # The highest lies within 180 days before the newest.
    assert (
        weight_loss(history("2025-09-01 weight 5.0 kg", "2026-03-01 weight 4.5 kg"), as_of) is None
    )
    assert weight_loss(history("2025-09-02 weight 5.0 kg", "2026-03-01 weight 4.5 kg"), as_of)
    # A loss stays until a newer weight answers it; units may differ.
    assert weight_loss(held, day("2028-03-20"))
    again = history("2025-12-01 weight 5.0 kg", "2026-03-01 weight 4500 g")
    assert weight_loss(again, as_of)
    assert weight_loss(history("2026-03-01 weight 4.5 kg"), as_of) is None


@pytest.mark.parametrize(
    ("values", "species", "above"),
    [
        (("0.6", "0.7"), "dog", True),
        (("0.6", "0.5"), "dog", False),
        (("0.6", "0.45"), "dog", False),
        (("0.6", "0.45"), "cat", True),
        (("0.6", "0.45"), "", True),
        (("0.6", "0.7"), "rabbit", False),
        (("0.6",), "dog", False),
        (("0.9", "0.9", "0.1"), "dog", False),
        (("0.1", "0.9", "0.9"), "dog", True),
        ((">13", "0.9"), "dog", True),
        (("<0.1", "0.9"), "dog", False),
        (("0.9", "<5", "0.9"), "dog", True),
    ],
)
def test_the_two_newest_upc(values: tuple[str, ...], species: str, above: bool) -> None:
    lines = (f"2026-0{i + 1}-01 upc {value}" for i, value in enumerate(values))
    found = upc_above(history(*lines), species)
    assert (found is not None) == above
    if found is not None:
        assert found[0].date > found[1].date


def test_missing_kidney_values() -> None:
    as_of = day("2026-03-20")
    never = missing_kidney_values(history("2026-03-01 upc 0.2"), as_of)
    assert never is not None
    assert never.last is None
    old = missing_kidney_values(history("2025-09-20 creatinine 150 µmol/L"), as_of)
    assert old is not None
    assert (str(old.last), old.age_days) == ("2025-09-20", 181)
    assert missing_kidney_values(history("2025-09-21 creatinine 150 µmol/L"), as_of) is None
    # A value in a unit that is not read was measured all the same.
    assert missing_kidney_values(history("2026-03-01 sdma 3 g/L"), as_of) is None


NUMBERS = st.lists(st.tuples(st.integers(0, 25), st.floats(60, 600)), min_size=1, max_size=6)


def _of(pairs: list[tuple[int, float]], scale: float = 1.0, unit: str = "µmol/L") -> LabHistory:
    start = day("2026-03-01")
    return history(
        *(f"{start + np.timedelta64(n, 'D')} creatinine {v * scale:.6f} {unit}" for n, v in pairs)
    )


@given(NUMBERS)
def test_an_acute_rise_is_of_its_own_values_and_the_newest_day(
    pairs: list[tuple[int, float]],
) -> None:
    held, as_of = _of(pairs), day("2026-04-01")
    found = acute_kidney(held, as_of)
    if found is None:
        return
    values = held.of("creatinine")
    assert {found.first, found.second} <= set(values)
    assert found.second.date == max(one.date for one in values)
    assert 1 <= found.change.days <= 7
    assert found.change.percent >= 15
    assert found.change.absolute > 0


@given(NUMBERS, st.floats(1, 3))
def test_a_higher_newest_value_never_ends_an_acute_rise(
    pairs: list[tuple[int, float]], more: float
) -> None:
    as_of = day("2026-04-01")
    last = max(n for n, _ in pairs)
    worse = [(n, v * more if n == last else v) for n, v in pairs]
    if acute_kidney(_of(pairs), as_of) is not None:
        assert acute_kidney(_of(worse), as_of) is not None


@given(NUMBERS, st.floats(1, 3))
def test_a_worse_newest_value_never_gives_a_lower_stage(
    pairs: list[tuple[int, float]], more: float
) -> None:
    as_of = day("2026-04-01")
    last = max(n for n, _ in pairs)
    worse = [(n, v * more if n == last else v) for n, v in pairs]
    now, then = (kidney_stage_now(_of(each), "cat", as_of).stage for each in (pairs, worse))
    if now is not None and then is not None:
        assert then >= now


def _records(labs: pd.DataFrame) -> bpvet.Records:
    readings = pd.DataFrame(
        {"animal": ["A1"], "taken_at": ["2025-01-01"], "method": ["doppler"], "systolic": [150]}
    )
    animals = pd.DataFrame([{"animal": "A1", "species": "dog"}, {"animal": "B2", "species": ""}])
    return bpvet.Records.from_frames(readings, labs=labs, animals=animals, as_of="2026-03-20")


def test_a_history_from_records_keeps_values_as_given_and_passes_none_over_in_silence() -> None:
    rows = [
        ("A1", "2026-03-01", "Creatinine", "1.8", "mg/dl"),
        ("A1", "2026-01-01", "creatinine", "150", "umol/L"),
        ("A1", "2026-01-01", "creatinine", "186", "umol/L"),
        ("A1", "2026-02-01", "creatinine", "1.8", "umol/L"),  # set aside: not plausible
        ("A1", "2026-04-01", "creatinine", "900", "umol/L"),  # later than the day looked at
        ("A1", "2026-01-01", "upc", "<0.1", ""),
        ("A1", "2026-01-01", "total_t4", "30", "nmol/L"),
        ("A1", "2026-01-01", "sdma", "3", "g/L"),
        ("B2", "2026-01-01", "weight", "4100", "g"),
    ]
    columns = ["animal", "sampled_on", "analyte", "value", "unit"]
    held = _records(pd.DataFrame(rows, columns=columns))
    mine = lab_history(held, "A1")
    assert mine.species == "dog"
    assert [(one.value, one.unit) for one in mine.of("creatinine")] == [
        (150, "µmol/L"), (186, "µmol/L"), (1.8, "mg/dL")
    ]  # fmt: skip
    assert mine.of("creatinine")[2].modelled == pytest.approx(159.12)
    assert [(one.value, one.bound) for one in mine.of("upc")] == [(0.1, "at most")]
    assert sorted(one.analyte for one in mine.unread()) == ["sdma", "total_t4"]
    assert mine.of("creatinine")[2].line == 1
    everyone = all_lab_histories(held)
    assert list(everyone) == ["A1", "B2"]
    assert everyone["A1"].analytes == mine.analytes
    assert everyone["B2"].of("weight")[0].modelled == pytest.approx(4.1)
    assert lab_history(held, "nobody").analytes == {}
