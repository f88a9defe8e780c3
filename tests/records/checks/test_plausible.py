"""Limits of each quantity, and quantities against another."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bpvet.records.checks import plausible
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding
from bpvet.records.records import Records

Make = Callable[..., Records]
WIDE = "animal,taken_at,method,systolic,diastolic,mean,heart_rate,counted_pulse"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


@pytest.mark.parametrize(
    ("value", "mend"),
    [
        ("12", "Is it in kPa? 12 kPa is 90 mmHg."),
        ("1650", "A digit too many, or a lost decimal mark (165)?"),
        ("0", 'If no sound was heard, write "no sound"'),
        ("39.9", "Is it in kPa?"),
        ("351", "Typing error?"),
        ("> 400", "Typing error?"),
    ],
)
def test_an_impossible_systolic_sets_the_row_aside(rows: Make, value: str, mend: str) -> None:
    found = rows(f"A17,2025-01-01,doppler,{value}")
    (finding,) = of_kind(found, "impossible value")
    assert finding.value == value
    assert finding.mend.startswith(mend)
    assert found.readings["set_aside"][0] != ""
    assert np.isnan(found.readings["systolic"][0])
    # Why it is set aside says all of it; what is lower than any animal has it still counts as a
    # reading without sound to whoever asks what is urgent.
    assert found.readings["systolic_bound"].tolist() == [""]
    low = value.strip("> ").isdigit() is False or float(value.strip("> ")) < 40
    assert found.coded_readings().columns["below_gauge"].tolist() == [low]


@pytest.mark.parametrize("value", ["40", "79", "251", "350"])
def test_an_unusual_systolic_is_kept_and_noted(rows: Make, value: str) -> None:
    found = rows(f"A17,2025-01-01,doppler,{value}")
    assert len(of_kind(found, "unusual value")) == 1
    assert found.readings["systolic"].tolist() == [float(value)]
    assert found.readings["set_aside"].tolist() == [""]


@pytest.mark.parametrize("value", ["80", "160", "250", "> 300", "< 40"])
def test_a_usual_systolic_and_a_bound_are_not_noted(rows: Make, value: str) -> None:
    found = rows(f"A17,2025-01-01,doppler,{value}")
    assert not of_kind(found, "unusual value")
    assert found.readings["set_aside"].tolist() == [""]


def test_the_ceiling_of_gauges_is_noted(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,300")
    assert 'write "> 300"' in of_kind(found, "gauge's ceiling")[0].mend
    assert found.readings["systolic"].tolist() == [300]


def test_a_column_in_kilopascal_stops(rows: Make) -> None:
    lines = [f"A17,2025-01-0{i},doppler,{value}" for i, value in enumerate((16, 18.5, 41, 24), 1)]
    found = rows(*lines)
    (finding,) = found.stopping
    assert finding.column == "systolic"
    assert "not in mmHg" in finding.reason
    assert "kPa" in finding.mend
    assert (found.readings["set_aside"] != "").all()
    assert not of_kind(found, "impossible value")
    assert found.understood["unit"] == "not settled: the values do not fit"


def test_the_unit_is_judged_file_by_file(records: Make) -> None:
    head = "animal,taken_at,method,systolic\n"
    low = "".join(f"A17,2025-01-0{i},doppler,1{i}\n" for i in range(1, 5))
    high = "".join(f"A17,2025-02-0{i},doppler,15{i}\n" for i in range(1, 5))
    found = records(head + low, **{"readings2": head + high})
    assert [finding.file for finding in found.stopping] == ["readings.csv"]
    assert (found.readings["set_aside"] == "").sum() == 4
    assert found.understood["unit"] == 'not settled in "readings.csv": the values do not fit'


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ("150,10,,,", "diastolic"),
        ("150,,310,,", "mean"),
        ("150,,,400,", "heart_rate"),
        ("150,,,,30", "counted_pulse"),
    ],
)
def test_other_impossible_values_cost_only_themselves(rows: Make, cells: str, column: str) -> None:
    found = rows(
        f"A17,2025-01-01,oscillometric,{cells}", header=WIDE, animals="animal,species\nA17,cat\n"
    )
    assert [finding.column for finding in of_kind(found, "impossible value")] == [column]
    assert np.isnan(found.readings[column][0])
    assert found.readings["systolic"].tolist() == [150]
    assert found.readings["set_aside"].tolist() == [""]


@pytest.mark.parametrize(
    ("species", "kinds"),
    [("cat", ["impossible value"]), ("dog", ["unusual value"]), ("", ["unusual value"])],
)
def test_heart_rates_are_judged_by_species(rows: Make, species: str, kinds: list[str]) -> None:
    animals = f"animal,species\nA17,{species}\n"
    found = rows("A17,2025-01-01,oscillometric,150,,,30,", header=WIDE, animals=animals)
    judged = [f.kind for f in found.findings if f.column == "heart_rate"]
    assert judged == kinds


def test_a_diastolic_that_is_not_below_the_systolic_sets_the_row_aside(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,oscillometric,95,160,,,",
        "A17,2025-01-01,oscillometric,95,95,,,",
        header=WIDE,
    )
    assert "wrong way round" in of_kind(found, "order of pressures")[0].mend
    assert (found.readings["set_aside"] != "").all()


@pytest.mark.parametrize("mean", ["90", "80", "150", "200"])
def test_a_mean_outside_its_pressures_is_set_aside_alone(rows: Make, mean: str) -> None:
    found = rows(f"A17,2025-01-01,oscillometric,150,90,{mean},,", header=WIDE)
    assert "one of the three is wrong" in of_kind(found, "order of pressures")[0].reason
    assert np.isnan(found.readings["mean"][0])
    assert found.readings[["systolic", "diastolic"]].iloc[0].tolist() == [150, 90]


@pytest.mark.parametrize(
    ("mean", "noted"), [("98", True), ("99", False), ("126", False), ("127", True)]
)
def test_a_mean_near_either_end_is_noted(rows: Make, mean: str, noted: bool) -> None:
    # 0.15 and 0.60 of the way from 90 to 150 are 99 and 126.
    found = rows(f"A17,2025-01-01,oscillometric,150,90,{mean},,", header=WIDE)
    assert bool(of_kind(found, "unusual mean")) == noted
    assert found.readings["mean"].tolist() == [float(mean)]


@pytest.mark.parametrize(
    ("diastolic", "noted"), [("136", True), ("135", False), ("30", False), ("29", True)]
)
def test_an_unusual_pulse_pressure_is_noted(rows: Make, diastolic: str, noted: bool) -> None:
    found = rows(f"A17,2025-01-01,oscillometric,150,{diastolic},,,", header=WIDE)
    assert bool(of_kind(found, "unusual pulse pressure")) == noted


@pytest.mark.parametrize(
    ("rate", "noted"), [("165", False), ("166", True), ("135", False), ("134", True)]
)
def test_a_rate_that_disagrees_with_the_counted_pulse_is_noted(
    rows: Make, rate: str, noted: bool
) -> None:
    found = rows(f"A17,2025-01-01,oscillometric,150,,,{rate},150", header=WIDE)
    assert bool(of_kind(found, "pulse disagrees")) == noted
    assert found.readings["heart_rate"].tolist() == [float(rate)]


@pytest.mark.parametrize(
    ("width", "limb", "kind", "kept"),
    [
        ("3.5", "10", "", True),
        ("5", "10", "cuff size", True),
        ("20", "10", "impossible value", False),
        ("0", "10", "impossible value", False),
    ],
)
def test_cuffs_are_held_against_the_limb(
    rows: Make, width: str, limb: str, kind: str, kept: bool
) -> None:
    header = "animal,taken_at,method,systolic,cuff_width_cm,limb_circumference_cm"
    found = rows(
        f"A17,2025-01-01,doppler,150,{width},{limb}",
        header=header,
        animals="animal,species\nA17,cat\n",
    )
    assert {f.kind for f in found.findings if f.column.startswith(("cuff", "limb"))} == {kind} - {
        ""
    }
    assert bool(found.readings["cuff_width_cm"].notna().all()) == kept
    assert found.readings["set_aside"].tolist() == [""]


def test_rows_are_judged_alike_however_many_at_a_time(
    records: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(3)
    lines = ["animal,taken_at,method,systolic,diastolic,mean"] + [
        f"A{i % 3},2025-{1 + i % 12:02d}-{1 + i % 28:02d},oscillometric,{systolic},{low},{mean}"
        for i, (systolic, low, mean) in enumerate(rng.integers(20, 280, (300, 3)))
    ]
    # Some have no number, and some lie beyond the gauge.
    lines[7:9] = ["A1,2025-03-01,oscillometric,> 300,90,120", "A1,2025-03-02,oscillometric,,80,90"]
    whole = records("\n".join(lines) + "\n")
    monkeypatch.setattr(plausible, "_ROWS", 7)
    found = records("\n".join(lines) + "\n")
    orders = {Code.NOT_BELOW_SYSTOLIC, Code.PULSE_PRESSURE, Code.MEAN_NOT_BETWEEN}
    assert {one.code for one in found.findings} >= {*orders, Code.UNUSUAL_MEAN}
    assert found.findings == whole.findings
    assert found.readings.equals(whole.readings)
