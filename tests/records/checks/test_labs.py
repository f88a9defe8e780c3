"""Laboratory values as recorded: units that are missing or cannot be, bounds, two of one day."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from bpvet.records.findings import Finding
from bpvet.records.records import Records

Make = Callable[..., Records]
HEADER = "animal,sampled_on,analyte,value,unit\n"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


def labs(records: Make, *rows: str, **tables: str) -> Records:
    return records(labs=HEADER + "".join(f"A17,{row}\n" for row in rows), **tables)


def test_a_value_without_a_unit_is_refused_by_name(records: Make) -> None:
    found = labs(
        records,
        "2025-01-01,creatinine,150,",
        "2025-01-01,UPC,0.4,",
        "2025-01-01,weight,4.1,",
        "2025-01-01,total_t4,2.5,",
    )
    assert (found.labs["set_aside"] != "").tolist() == [True, False, True, True]
    said = of_kind(found, "blank")
    assert [one.line for one in said] == [2, 4, 5]
    assert "has no unit" in said[0].reason
    assert '"µmol/L" or "mg/dL"' in said[0].mend
    assert '"kg"' in said[1].mend


@pytest.mark.parametrize(
    ("row", "named", "asked"),
    [
        ("creatinine,1.8,µmol/L", "1.8 µmol/L is not plausible", '1.8 "mg/dL" would be plausible'),
        ("creatinine,180,mg/dL", "180 mg/dL is not plausible", '180 "µmol/L" would be plausible'),
        ("sdma,18,umol/l", "18 µmol/L is not plausible", '18 "µg/dL" would be plausible'),
        ("sdma,0.9,ug/dl", "0.9 µg/dL is not plausible", '0.9 "µmol/L" would be plausible'),
        ("phosphate,150,mmol/L", "150 mmol/L is not plausible", "A slip of the keys"),
        ("upc,400,", "400 is not plausible", "A slip of the keys"),
        ("potassium,42,mmol/L", "42 mmol/L is not plausible", "A slip of the keys"),
        ("potassium,4.2,mg/dL", "is not given in mg/dL", '"mmol/L" or "mEq/L"'),
        ("weight,4100,kg", "4100 kg is not plausible", "A slip of the keys"),
        ("creatinine,> 180,mg/dL", "> 180 mg/dL is not plausible", '"µmol/L" would be'),
        ("creatinine,< 1.8,µmol/L", "< 1.8 µmol/L is not plausible", '"mg/dL" would be'),
    ],
)
def test_what_no_animal_has_is_set_aside_and_both_units_are_named(
    records: Make, row: str, named: str, asked: str
) -> None:
    found = labs(records, f"2025-01-01,{row}")
    assert found.labs["set_aside"].tolist() != [""]
    (said,) = [one for one in found.findings if one.kind.startswith("impossible")]
    assert named in said.reason
    assert asked in said.mend


@pytest.mark.parametrize(
    "row",
    [
        "creatinine,1.8,mg/dL",
        "creatinine,180,µmol/L",
        "creatinine,>13.6,mg/dL",
        "creatinine,<0.1,mg/dL",
        "creatinine,1800,µmol/L",
        "sdma,0.9,µmol/L",
        "potassium,6.4,mEq/L",
        "upc,0,",
        "upc,12,",
        "weight,4100,g",
        "weight,0.09,kg",
        "total_t4,9999,nmol/L",
    ],
)
def test_what_an_animal_may_have_is_kept(records: Make, row: str) -> None:
    found = labs(records, f"2025-01-01,{row}")
    assert found.labs["set_aside"].tolist() == [""]


def test_the_limits_of_a_weight_are_those_of_its_species(records: Make) -> None:
    rows = "A17,2025-01-01,weight,40,kg\nB3,2025-01-01,weight,40,kg\nC5,2025-01-01,weight,40,kg\n"
    found = records(labs=HEADER + rows, animals="animal,species\nA17,cat\nB3,dog\nC5,\n")
    assert (found.labs["set_aside"] != "").tolist() == [True, False, False]


def test_bounds_are_kept_as_bounds(records: Make) -> None:
    found = labs(
        records,
        "2025-01-01,upc,<0.1,",
        "2025-01-01,creatinine,> 13.6,mg/dL",
        "2025-01-02,potassium,>=9,mmol/L",
        "2025-01-03,sdma,no sound,µg/dL",
        "2025-01-04,total_t4,≤ 6.4,nmol/L",
    )
    assert found.labs["value"].tolist()[:3] == [0.1, 13.6, 9.0]
    bounds = ["at most", "at least", "at least", "", "at most"]
    assert found.labs["value_bound"].tolist() == bounds
    assert (found.labs["set_aside"] != "").tolist() == [False, False, False, True, False]
    said = of_kind(found, "laboratory bound")
    assert ["trend leaves it out" in one.reason for one in said] == [True, True, False, False]


def test_an_unread_unit_is_told_and_the_value_kept(records: Make) -> None:
    found = labs(records, "2025-01-01,creatinine,0.018,g/L", "2025-01-01,glucose,5,g/L")
    assert found.labs["set_aside"].tolist() == ["", ""]
    (said,) = of_kind(found, "unknown unit")
    assert '"g/L" is not a unit of creatinine' in said.reason


@pytest.mark.parametrize(("written", "ours"), [("Crea", "creatinine"), ("K", "potassium"),
                         ("creatinin", "creatinine"), ("UPCR", "upc")])  # fmt: skip
def test_an_analyte_named_nearly_so_is_asked_about(records: Make, written: str, ours: str) -> None:
    found = labs(records, f"2025-01-01,{written},1,mg/dL")
    assert found.labs["analyte"].tolist() == [written]
    (said,) = of_kind(found, "analyte named nearly so")
    assert ours in said.reason


@pytest.mark.parametrize(
    ("first", "second", "kind"),
    [
        ("150,µmol/L", "150,µmol/L", "perhaps a duplicate"),
        ("150,µmol/L", "186,µmol/L", "values disagree"),
        ("150,µmol/L", "1.7,mg/dL", "perhaps a duplicate"),
        ("150,µmol/L", "2.4,mg/dL", "values disagree"),
        ("150,µmol/L", "> 150,µmol/L", "values disagree"),
        ("1,g/L", "1,g/L", "perhaps a duplicate"),
        ("1,g/L", "2,g/L", "values disagree"),
    ],
)
def test_two_of_one_day_are_both_kept_and_told(
    records: Make, first: str, second: str, kind: str
) -> None:
    found = labs(records, f"2025-01-01,creatinine,{first}", f"2025-01-01,creatinine,{second}")
    assert found.labs["set_aside"].tolist() == ["", ""]
    told = of_kind(found, "perhaps a duplicate") + of_kind(found, "values disagree")
    assert [(one.kind, one.line) for one in told] == [(kind, 3)]
    if kind == "values disagree":
        assert "Both are kept" in told[0].reason
        assert first.split(",")[0] in told[0].reason


def test_labs_are_checked_in_one_pass_over_many_rows() -> None:
    n = 200_000
    place = np.arange(n)
    table = pd.DataFrame(
        {
            "animal": [f"A{i}" for i in place // 20],
            "sampled_on": np.datetime64("2020-01-01") + (place % 20).astype("timedelta64[D]"),
            "analyte": np.array(["creatinine", "potassium", "weight", "x"])[place % 4],
            "value": np.where(place % 4 == 0, 150.0, 4.5),
            "unit": np.array(["umol/L", "mmol/L", "kg", "U/L"])[place % 4],
        }
    )
    readings = pd.DataFrame(
        {"animal": ["A1"], "taken_at": ["2025-01-01"], "method": ["doppler"], "systolic": [150]}
    )
    begun = time.process_time()
    found = Records.from_frames(readings, labs=table, as_of="2026-01-01")
    assert (found.labs["set_aside"] == "").all()
    # A pass row by row takes tens of seconds.
    assert time.process_time() - begun < 10
