"""Layouts that people keep: each gives the same readings as one row a reading."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from bpvet.answers.room.result import RoomReading, RoomVisit
from bpvet.answers.room.room import room_answer
from bpvet.records.read import read
from bpvet.records.records import Records

AS_OF = "2026-01-01"
PLAIN = """animal,taken_at,method,systolic,reading
A,2025-04-03,doppler,165,1
A,2025-04-03,doppler,> 300,2
A,2025-04-03,doppler,158,3
A,2025-05-03,doppler,150,1
B,2025-04-03,doppler,120,1
B,2025-04-03,doppler,118,2
"""
LAYOUTS = {
    "one row a session, its readings side by side": (
        "animal,taken_at,method,systolic_1,systolic_2,systolic_3\n"
        "A,2025-04-03,doppler,165,> 300,158\nA,2025-05-03,doppler,150,,\n"
        "B,2025-04-03,doppler,120,118,\n"
    ),
    "one row a session, its readings in one cell": (
        "animal,taken_at,method,systolic\n"
        "A,2025-04-03,Doppler,165/> 300/158\nA,2025-05-03,Doppler,150\n"
        "B,2025-04-03,Doppler,120; 118\n"
    ),
    "one column a date": (
        "animal,method,reading,2025-04-03,2025-05-03\n"
        "A,doppler,1,165,150\nA,doppler,2,> 300,\nA,doppler,3,158,\n"
        "B,doppler,1,120,\nB,doppler,2,118,\n"
    ),
    "one chart line a session": (
        "animal,taken_at,chart_line\n"
        'A,2025-04-03,"Systolic at least 208 mmHg (Doppler, mean of 3 of 3 readings; 165, '
        '> 300, 158)"\n'
        'A,2025-05-03,"Systolic 150 mmHg (Doppler, mean of 1 of 1 reading; 150)"\n'
        'B,2025-04-03,"Systolic 119 mmHg (Doppler, mean of 2 of 2 readings; 120, 118)"\n'
    ),
}


def content(records: Records) -> list[tuple[object, ...]]:
    frame = records.readings
    frame = frame.sort_values(["animal", "taken_at", "reading", "line"], kind="stable")
    columns = ["animal", "date", "method", "systolic", "systolic_bound", "set_aside"]
    return [tuple(row) for row in frame[columns].itertuples(index=False)]


@pytest.mark.parametrize(("layout", "text"), LAYOUTS.items())
def test_every_layout_gives_the_same_readings(
    layout: str, text: str, folder: Callable[..., Path]
) -> None:
    plain = content(read(folder(readings=PLAIN), as_of=AS_OF))
    records = read(folder(readings=text), as_of=AS_OF)
    assert not records.stopping
    assert content(records) == plain
    assert records.understood["layout"] == {"readings.csv": layout}


def test_lists_in_a_column_of_dates(rows: Callable[..., Records]) -> None:
    records = rows("A,doppler,165/158/160,", header="animal,method,2025-04-03,2025-05-03")
    assert records.readings["systolic"].tolist() == [165, 158, 160]
    assert records.readings["reading"].tolist() == [1, 2, 3]
    assert set(records.readings["date"].dt.strftime("%Y-%m-%d")) == {"2025-04-03"}


def test_a_cell_under_a_date_is_found_under_that_date(rows: Callable[..., Records]) -> None:
    records = rows("A,doppler,165,16O", header="animal,method,2025-04-03,2025-05-03")
    (bad,) = [one for one in records.findings if one.kind == "not a number"]
    assert (bad.line, bad.column, bad.value) == (2, "2025-05-03", "16O")


def test_a_bad_number_within_a_list_is_told_by_its_place(rows: Callable[..., Records]) -> None:
    records = rows("A,2025-04-03,doppler,165/1650/160")
    (bad,) = [one for one in records.findings if one.kind == "impossible value"]
    assert (bad.column, bad.value) == ("systolic, reading 2", "1650")
    assert records.readings["set_aside"].ne("").tolist() == [False, True, False]


def test_dates_that_head_columns_day_first(folder: Callable[..., Path]) -> None:
    place = folder(readings="animal,method,03/04/2025,13/04/2025\nA,doppler,165,150\n")
    assert any("--dates dmy" in one.mend for one in read(place, as_of=AS_OF).stopping)
    frame = read(place, as_of=AS_OF, dates="dmy").readings
    assert frame["date"].dt.strftime("%Y-%m-%d").tolist() == ["2025-04-03", "2025-04-13"]


def test_a_row_without_a_reading_under_any_date_is_said(rows: Callable[..., Records]) -> None:
    records = rows("A,doppler,165,", "B,doppler,,", header="animal,method,2025-04-03,2025-05-03")
    (said,) = [one for one in records.findings if one.kind == "blank rows"]
    assert said.line == 3
    assert len(records.readings) == 1


@pytest.mark.parametrize("cell", ["165/95", "165/95/118", "165/158"])
def test_two_pressures_or_two_readings_is_asked(folder: Callable[..., Path], cell: str) -> None:
    header = "animal,taken_at,method,systolic\n"
    place = folder(readings=f"{header}A,2025-04-03,oscillometric,{cell}\n")
    (stop,) = read(place, as_of=AS_OF).stopping
    assert stop.reason.startswith(f'One cell holds several numbers, such as "{cell}"')
    assert "systolic=systolic_list" in stop.mend
    numbers = [float(part) for part in cell.split("/")]
    listed = read(place, columns="systolic=systolic_list", as_of=AS_OF)
    assert listed.readings["systolic"].tolist() == numbers
    assert not listed.stopping
    pair = read(place, columns="systolic=systolic_diastolic", as_of=AS_OF).readings
    assert len(pair) == 1
    assert pair["systolic"].iloc[0] == numbers[0] or pair["set_aside"].iloc[0]
    assert pair["diastolic"].iloc[0] == numbers[1] or pair["set_aside"].iloc[0]


def test_a_doppler_cell_that_looks_like_two_pressures_is_asked_too(
    rows: Callable[..., Records],
) -> None:
    (stop,) = rows("A,2025-04-03,doppler,165/95", "A,2025-04-04,doppler,165/158").stopping
    assert stop.value == "165/95"
    assert not rows("A,2025-04-03,doppler,165/158/95").stopping


def test_pressures_in_one_cell_with_the_mean(folder: Callable[..., Path]) -> None:
    text = "animal,taken_at,method,BP\nA,2025-04-03,oscillometric,165/95 (118)\n"
    frame = read(folder(readings=text), columns="BP=systolic_diastolic", as_of=AS_OF).readings
    assert frame[["systolic", "diastolic", "mean"]].iloc[0].tolist() == [165, 95, 118]


def test_what_stands_beside_a_list_is_kept(rows: Callable[..., Records]) -> None:
    header = "animal,taken_at,method,systolic,diastolic"
    records = rows(
        "A,2025-04-03,doppler,165/158,", "B,2025-04-03,oscillometric,150,90", header=header
    )
    assert not records.stopping
    frame = records.readings
    assert frame["systolic"].tolist() == [165, 158, 150]
    assert frame["diastolic"].tolist()[2] == 90


def test_a_line_for_the_chart_alone(tmp_path: Path) -> None:
    readings = [RoomReading(value) for value in (165.0, 158.0, 160.0, 162.0)]
    answer = room_answer(
        readings, "doppler", RoomVisit(animal='the "big" cat', taken_at="2025-04-03T10:15")
    )
    file = tmp_path / "chart.csv"
    pd.DataFrame({"What was written": [answer.chart_line]}).to_csv(file, index=False)
    records = read(file, columns="What was written=chart_line", as_of=AS_OF)
    assert not records.stopping
    frame = records.readings
    assert frame["systolic"].tolist() == [165, 158, 160, 162]
    assert set(frame["animal"]) == {'the "big" cat'}
    assert set(frame["taken_at"].astype(str)) == {"2025-04-03 10:15:00"}


def test_a_line_that_contradicts_its_row_is_set_aside(rows: Callable[..., Records]) -> None:
    line = '"2025-04-03 animal ""A"" Systolic 150 mmHg (Doppler, mean of 1 of 1 reading; 150)"'
    header = "animal,taken_at,chart_line"
    assert rows(f"A,2025-04-03T10:00,{line}", header=header).readings["set_aside"].tolist() == [""]
    for row in (f"B,2025-04-03,{line}", f"A,2025-04-04,{line}"):
        records = rows(row, header=header)
        assert records.readings["set_aside"].iloc[0]
        assert any("another animal, date or method" in one.reason for one in records.findings)


def test_one_file_an_animal_only_when_it_is_said(tmp_path: Path) -> None:
    text = "taken_at,method,systolic\n2025-04-03,doppler,150\n"
    (tmp_path / "readings-A17.csv").write_text(text)
    (tmp_path / "readings_B 3.csv").write_text(text.replace("150", "151"))
    assert read(tmp_path, as_of=AS_OF).stopping
    (tmp_path / "bpvet-columns.toml").write_text('[readings]\nlayout = "one file an animal"\n')
    records = read(tmp_path, as_of=AS_OF)
    assert records.readings["animal"].tolist() == ["A17", "B 3"]
    assert not records.stopping
