"""Cells to values: what is read, what is set aside, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from bpvet.records.findings import Finding
from bpvet.records.records import Records
from bpvet.records.tables import TABLES
from bpvet.visits.sessions import sessions

Make = Callable[..., Records]
KEY = "animal,taken_at,method"


def of_kind(records: Records, kind: str) -> list[Finding]:
    return [finding for finding in records.findings if finding.kind == kind]


def test_the_worked_message(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,16O")
    assert str(of_kind(found, "not a number")[0]) == (
        'readings.csv, line 2, column systolic: "16O" is not a number. The row is set aside. '
        "Are letters typed for digits? If it is 160, write 160."
    )
    assert found.readings["set_aside"].tolist() == ['systolic: "16O" is not a number.']
    assert found.readings["animal"].tolist() == ["A17"]


@pytest.mark.parametrize("cell", ["1e400", "inf", "nan", "1650,", "٣٤", "1 650", "150/90"])
def test_text_in_a_number_sets_the_row_aside(rows: Make, cell: str) -> None:
    found = rows(f'A17,2025-01-01,doppler,"{cell}"')
    assert [f.value for f in of_kind(found, "not a number")] == [cell]
    assert found.readings["set_aside"][0] != ""
    assert np.isnan(found.readings["systolic"][0])


def test_a_bad_number_other_than_the_systolic_costs_only_itself(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,oscillometric,150,9O,110,180",
        header=f"{KEY},systolic,diastolic,mean,heart_rate",
    )
    assert found.readings["set_aside"].tolist() == [""]
    assert np.isnan(found.readings["diastolic"][0])
    assert "This value is set aside" in of_kind(found, "not a number")[0].reason


@pytest.mark.parametrize("quantity", ["systolic", "diastolic", "mean", "heart_rate"])
def test_bounds_and_silence_are_readings(rows: Make, quantity: str) -> None:
    found = rows(
        "A17,2025-01-01,oscillometric,> 100",
        "A17,2025-01-01,oscillometric,<100",
        "A17,2025-01-01,oscillometric,No sound",
        header=f"{KEY},{quantity}",
    )
    assert found.readings[f"{quantity}_bound"].tolist() == ["at least", "at most", "no sound"]
    np.testing.assert_array_equal(found.readings[quantity], [100, 100, np.nan])
    assert (found.readings["set_aside"] == "").all()


def test_decimal_commas_that_every_cell_shows_are_read(rows: Make) -> None:
    found = rows('A17,2025-01-01,doppler,"150,5"', "A17,2025-01-01,doppler,150")
    assert found.readings["systolic"].tolist() == [150.5, 150]
    assert found.understood["decimal_commas"] == ["readings.csv: systolic"]


@pytest.mark.parametrize("other", ["148.5", '"1,650"'])
def test_commas_are_refused_where_the_column_is_not_of_one_kind(rows: Make, other: str) -> None:
    found = rows('A17,2025-01-01,doppler,"150,5"', f"A17,2025-01-01,doppler,{other}")
    assert found.readings["set_aside"][0] != ""
    assert "decimal comma" in of_kind(found, "not a number")[0].reason


def test_decimal_commas_belong_to_a_file(records: Make) -> None:
    found = records(
        'animal,taken_at,method,systolic\nA17,2025-01-01,doppler,"150,5"\n',
        **{"readings2": "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,148.5\n"},
    )
    assert sorted(found.readings["systolic"]) == [148.5, 150.5]


def test_a_doppler_row_keeps_its_systolic_and_nothing_else(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,150,90,x,180,176",
        header=f"{KEY},systolic,diastolic,mean,heart_rate,counted_pulse",
    )
    row = found.readings.iloc[0]
    assert (row["systolic"], row["counted_pulse"], row["set_aside"]) == (150, 176, "")
    assert np.isnan(row[["diastolic", "mean", "heart_rate"]].astype(float)).all()
    said = of_kind(found, "not given by Doppler")
    assert [(f.column, f.value) for f in said] == [
        ("diastolic", "90"),
        ("mean", "x"),
        ("heart_rate", "180"),
    ]
    assert not of_kind(found, "not a number")


@pytest.mark.parametrize(
    ("cell", "kept", "said"),
    [
        ("", "", 0),
        ("moved", "moved", 0),
        ("yes", "yes", 0),
        ("no", "", 1),
        ("False", "", 1),
        ("0", "", 1),
    ],
)
def test_any_text_excludes_but_a_denial(rows: Make, cell: str, kept: str, said: int) -> None:
    found = rows(f"A17,2025-01-01,doppler,150,{cell}", header=f"{KEY},systolic,excluded")
    assert found.readings["excluded"].tolist() == [kept]
    assert len(of_kind(found, "not excluded")) == said
    assert found.readings["set_aside"].tolist() == [""]


def test_words_are_read_without_case(rows: Make) -> None:
    found = rows("A17,2025-01-01, Doppler ,150,HOME,Awake", header=f"{KEY},systolic,setting,state")
    row = found.readings.iloc[0]
    assert row[["method", "setting", "state", "condition"]].tolist() == [
        "doppler",
        "home",
        "awake",
        "home",
    ]
    assert found.understood["methods_as_written"] == {"Doppler": "doppler"}


@pytest.mark.parametrize(
    ("cells", "column", "hint"),
    [
        ("dopler,150,,", "method", 'Did you mean "doppler"?'),
        ("osc,150,,", "method", 'Did you mean "oscillometric"?'),
        ("doppler,150,at home,", "setting", 'Did you mean "home"?'),
        ("doppler,150,,anesthetized", "state", 'Did you mean "anaesthetised"?'),
    ],
)
def test_an_unknown_word_sets_the_row_aside_and_suggests(
    rows: Make, cells: str, column: str, hint: str
) -> None:
    found = rows(f"A17,2025-01-01,{cells}", header=f"{KEY},systolic,setting,state")
    (finding,) = of_kind(found, "unknown word")
    assert finding.column == column
    assert hint in finding.mend
    assert found.readings["set_aside"][0] != ""
    assert (found.readings["condition"][0] == "") == (column != "method")


@pytest.mark.parametrize(
    ("setting", "state", "condition"),
    [
        ("", "", "clinic"),
        ("hospital", "awake", "clinic"),
        ("home", "", "home"),
        ("home", "calmed", "calmed"),
        ("clinic", "sedated", "sedated"),
        ("", "anaesthetised", "anaesthetised"),
    ],
)
def test_conditions(rows: Make, setting: str, state: str, condition: str) -> None:
    found = rows(
        f"A17,2025-01-01,doppler,150,{setting},{state}", header=f"{KEY},systolic,setting,state"
    )
    assert found.readings["condition"].tolist() == [condition]


@pytest.mark.parametrize("cells", [",2025-01-01,doppler", "A17,,doppler", "A17,2025-01-01,"])
def test_a_row_without_its_key_is_set_aside(rows: Make, cells: str) -> None:
    found = rows(f"{cells},150")
    assert len(of_kind(found, "blank")) == 1
    assert found.readings["set_aside"][0] != ""


def test_a_date_and_a_time_of_day(rows: Make) -> None:
    found = rows(
        "A17,2025-01-01,doppler,150",
        "A17,2025-01-01T10:20,doppler,150",
        "A17,2025-01-01T23:50+13:00,doppler,150",
    )
    frame = found.readings
    assert frame["timed"].tolist() == [False, True, True]
    assert frame["date"].astype(str).tolist() == ["2025-01-01"] * 3
    assert frame["taken_at"].astype(str).tolist()[1:] == [
        "2025-01-01 10:20:00",
        "2025-01-01 23:50:00",
    ]
    assert "1 have a time zone" in found.understood["dates"]


def test_an_impossible_date_sets_the_row_aside(rows: Make) -> None:
    found = rows("A17,2025-02-30,doppler,150")
    assert "not a day of the calendar" in of_kind(found, "not a date")[0].reason
    assert found.readings["date"].isna().all()


def test_a_column_of_swappable_dates_is_refused_by_name(rows: Make) -> None:
    found = rows(
        "A17,25/04/2025,doppler,150", "A17,03/04/2025,doppler,150", "A17,2025-01-01,doppler,150"
    )
    (finding,) = found.stopping
    assert finding.column == "taken_at"
    assert "3 April 2025 (day first) or 4 March 2025 (month first)" in finding.reason
    assert "All 2 rows" in finding.reason
    assert (found.readings["set_aside"] != "").tolist() == [True, True, False]


def test_a_few_swappable_dates_are_said_one_by_one(rows: Make) -> None:
    good = [f"A17,2025-01-{day:02d},doppler,150" for day in range(1, 6)]
    found = rows(*good, "A17,03/04/2025,doppler,150")
    assert not found.stopping
    assert "3 April 2025 (day first) or" in of_kind(found, "not a date")[0].reason


def test_dates_before_1990_are_placeholders(rows: Make) -> None:
    found = rows("A17,1899-12-30,doppler,150")
    assert of_kind(found, "early date")[0].reason.startswith('"1899-12-30" is before 1990.')
    assert found.readings["set_aside"][0] != ""


def test_white_space_is_left_off_and_said_once(rows: Make) -> None:
    found = rows(" A17,2025-01-01,doppler,150 ", "A17 ,2025-01-02,doppler,150")
    assert found.readings["animal"].tolist() == ["A17", "A17"]
    assert [f.column for f in of_kind(found, "white space")] == ["animal", "systolic"]
    assert "2 of the cells" in of_kind(found, "white space")[0].reason


@pytest.mark.parametrize(
    "animal", ["007", "1e5", "NA", "None", "../../x", "=1+1", "<script>", "x" * 300, "😀", "-0.0"]
)
def test_ids_stay_as_they_are(rows: Make, animal: str) -> None:
    found = rows(f"{animal},2025-01-01,doppler,150")
    assert found.readings["animal"].tolist() == [animal]
    assert found.animals["animal"].tolist() == [animal]
    assert not found.stopping


def test_status_and_analytes(records: Make) -> None:
    found = records(
        observations="animal,seen_on,sign,status\nA17,2025-01-01,seizure,\nA17,2025-01-02,murmur,Gone\n"
        "A17,2025-01-03,murmur,Absent\n",
        labs="animal,sampled_on,analyte,value,unit\nA17,2025-01-01,Total T4,2.5,µg/dL\n"
        "A17,2025-01-01,UPC,0.4,\nA17,2025-01-01,creatinine,<20,µmol/L\n"
        "A17,2025-01-02,creatinine,150,\nA17,2025-01-03,creatinine,-1,µmol/L\n",
    )
    # A blank status leaves it to the text; a word that is none of ours keeps the row, unclear.
    assert found.observations["status"].tolist() == ["", "unclear", "absent"]
    assert (found.observations["set_aside"] != "").tolist() == [False, False, False]
    assert found.labs["analyte"].tolist() == ["total_t4", "upc", *["creatinine"] * 3]
    assert (found.labs["set_aside"] != "").tolist() == [False, False, False, True, True]
    assert found.labs["value_bound"].tolist() == ["", "", "at most", "", ""]


#: A row of each table, of the columns that a file must have.
LEAST = {
    "animals": {"animal": "A17", "species": "cat"},
    "readings": {
        "animal": "A17", "taken_at": "2025-01-01T10:00", "method": "doppler", "systolic": "152"
    },
    "treatments": {"animal": "A17", "drug": "amlodipine", "started_on": "2025-01-02"},
    "labs": {
        "animal": "A17", "sampled_on": "2025-01-02", "analyte": "creatinine", "value": "180",
        "unit": "umol/L",
    },
    "observations": {"animal": "A17", "seen_on": "2025-01-02", "sign": "murmur"},
    "missed": {"animal": "A17", "from": "2025-01-02"},
    "contacts": {"animal": "A17", "date": "2025-01-02", "outcome": "no answer"},
    "cancelled": {"entry": "e0", "cancelled_on": "2025-01-03", "reason": "typed twice"},
}  # fmt: skip


def test_a_column_that_is_not_there_is_one_whose_cells_are_blank(records: Make) -> None:
    least, blank = {}, {}
    for table, cells in LEAST.items():
        wide = {c.name: "" for c in TABLES[table] if not c.required} | cells
        assert set(cells) >= {c.name for c in TABLES[table] if c.required}
        least[table] = "\n".join(",".join(line) for line in (cells, cells.values()))
        blank[table] = "\n".join(",".join(line) for line in (wide, wide.values()))
    few, all_of_them = records(**least), records(**blank)
    for table in TABLES:
        one, other = getattr(few, table), getattr(all_of_them, table)
        pd.testing.assert_frame_equal(one, other[one.columns])
        assert len(one) == 1


FAILING = "animal,taken_at,method,systolic,diastolic,mean,heart_rate,excluded"


@pytest.mark.parametrize(
    "code", ["0", "0.0", "00", "E2", "e 02", "ERR", "Err-5", "error", "---", "––"]
)
@pytest.mark.parametrize("column", [4, 5, 6])
def test_an_oscillometric_row_with_an_error_code_or_a_zero_is_set_aside(
    rows: Make, code: str, column: int
) -> None:
    cells = ["A17", "2025-01-01", "oscillometric", "150", "90", "110", "180", ""]
    good = ",".join(cells)
    cells[column] = code
    found = rows(good, ",".join(cells), header=FAILING)
    frame = found.readings
    assert (frame["set_aside"] != "").tolist() == [False, True]
    assert code in frame["set_aside"][1]
    # What it holds is kept, and it counts as taken.
    assert frame["systolic"].tolist() == [150, 150]
    assert sessions(found)[["n_taken", "n_used", "n_set_aside"]].iloc[0].tolist() == [2, 1, 1]
    assert len([f for f in found.findings if f.line == 3]) == 1


@pytest.mark.parametrize(
    ("line", "aside"),
    [
        # No systolic beside it, excluded by the clinic, another method, or no code at all.
        ("A17,2025-01-01,oscillometric,150,E2,,,moved", False),
        ("A17,2025-01-01,oscillometric,150,E2,,,no", True),
        ("A17,2025-01-01,doppler,150,0,,,", False),
        ("A17,2025-01-01,oscillometric,150,-,,,", False),
        ("A17,2025-01-01,oscillometric,150,9O,,,", False),
        ("A17,2025-01-01,oscillometric,150,10,,,", False),
    ],
)
def test_which_rows_are_none_of_these(rows: Make, line: str, aside: bool) -> None:
    found = rows(line, header=FAILING)
    assert any(f.kind == "instrument failed" for f in found.findings) is aside
    assert bool(found.readings["set_aside"][0]) is aside


SIGNS = "animal,seen_on,sign,status\nA17,2025-01-01,retinal detachment,"


@pytest.mark.parametrize(
    ("status", "meant"),
    [
        *((word, "present") for word in ("yes", "Y", " + ", "+ve", "Positive", "true")),
        *((word, "absent") for word in ("no", "NO", "negative")),
    ],
)
def test_a_plain_answer_under_status_is_read_and_said(rows: Make, status: str, meant: str) -> None:
    found = rows("A17,2025-01-01,doppler,150", observations=f"{SIGNS}{status}\n")
    assert found.observations["status"].tolist() == [meant]
    (finding,) = of_kind(found, "read as a word")
    assert (finding.value.strip(), finding.unused) == (status.strip(), False)
    assert not of_kind(found, "unknown word")


@pytest.mark.parametrize("status", ["n", "-", "0", "1", "x", "present?", "yes?", "+/-", "none"])
def test_an_answer_that_may_be_none_stays_asked(rows: Make, status: str) -> None:
    found = rows("A17,2025-01-01,doppler,150", observations=f"{SIGNS}{status}\n")
    assert found.observations["status"].tolist() == ["unclear"]
    assert [finding.value for finding in of_kind(found, "unknown word")] == [status]


def test_other_words_for_no_sound_are_said(rows: Make) -> None:
    found = rows("A17,2025-01-01,doppler,no sound", "A17,2025-01-01,doppler,Inaudible")
    assert found.readings["systolic_bound"].tolist() == ["no sound", "no sound"]
    (finding,) = of_kind(found, "read as a word")
    assert (finding.line, finding.value) == (3, "Inaudible")


@pytest.mark.parametrize(("reason", "asks"), [("?", True), ("--", True), ("moved", False)])
def test_a_mark_in_place_of_a_reason_leaves_out_and_asks(
    rows: Make, reason: str, asks: bool
) -> None:
    found = rows(f"A17,2025-01-01,doppler,205,{reason}", header=f"{KEY},systolic,excluded")
    assert found.readings["excluded"].tolist() == [reason]
    assert len(of_kind(found, "excluded without a reason")) == asks
