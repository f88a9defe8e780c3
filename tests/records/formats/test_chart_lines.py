"""Lines for the chart: what `bpvet average` prints is read back to the last reading."""

from __future__ import annotations

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.answers.room.chart_line import chart_line
from bpvet.answers.room.result import ReadingFate, Spread
from bpvet.records.formats.chart_lines import read_chart_lines


def back(*lines: str) -> dict[str, list[str]]:
    found = read_chart_lines(pa.array(lines, pa.large_string()))
    return {"row": found.row.tolist()} | {k: v.to_pylist() for k, v in found.columns.items()}


def test_a_doppler_line() -> None:
    line = "Systolic 160 mmHg (Doppler, mean of 3 of 4 readings, SD 2; 165 left out, 158, 160, 162)"
    found = back(line)
    assert found["systolic"] == ["165", "158", "160", "162"]
    assert found["reading"] == ["1", "2", "3", "4"]
    assert set(found["method"]) == {"doppler"}
    assert set(found["excluded"]) == set(found["animal"]) == set(found["diastolic"]) == {""}


def test_a_line_with_everything() -> None:
    line = (
        '2026-03-01T10:15 animal "the ""big"" cat, (b)" Systolic 152, diastolic 91, mean 111 mmHg, '
        "heart rate 182 /min (oscillometric, home, mean of 2 of 3 readings, SD 3.6; 150/90/110/180,"
        ' 154/92/112/184, 200/90 excluded "moved, ""a lot""; cried")'
    )
    found = back("", line, "not a line")
    assert found["row"] == [0, 1, 1, 1, 2]
    assert found["systolic"] == ["", "150", "154", "200", "not a line"]
    assert found["heart_rate"] == ["", "180", "184", "", ""]
    assert found["excluded"] == ["", "", "", 'moved, "a lot"; cried', ""]
    assert found["animal"][1] == 'the "big" cat, (b)'
    assert found["taken_at"] == ["", *["2026-03-01T10:15"] * 3, ""]
    assert found["setting"] == ["", *["home"] * 3, ""]


@pytest.mark.parametrize(
    "line",
    [
        "Systolic 160 mmHg (Doppler, mean of 3 of 5 readings; 165 left out, 158, 160, 162)",
        "Systolic 160 mmHg (Doppler, mean of 1 of 1 reading; 16O)",
        "Systolic 160 mmHg (Doppler, mean of 2 of 2 readings; 165,158)",
        "Systolic 160 mmHg (Doppler, mean of 1 of 1 reading; 165) and well",
        "Systolic 160 mmHg",
    ],
)
def test_a_line_that_is_not_whole_is_not_read(line: str) -> None:
    assert back(line)["systolic"] == [line]
    assert back(line)["method"] == [""]


PRESSURES = st.floats(1, 400).map(lambda x: round(x, 2)) | st.integers(1, 400).map(float)
REASONS = st.text(st.characters(exclude_characters="\x1e\r\n\x00", exclude_categories=["Cs"]))


@st.composite
def taken(draw: st.DrawFn, method: str) -> ReadingFate:
    bound = draw(st.sampled_from(["", "", "", "at least", "at most", "no sound"]))
    fate = draw(st.sampled_from(["used", "left out", "excluded"]))
    more = [None, None, None]
    if method == "oscillometric" and bound == "":
        more = [draw(st.none() | PRESSURES) for _ in range(3)]
    reason = draw(REASONS) if fate == "excluded" else ""
    systolic = None if bound == "no sound" else draw(PRESSURES)
    return ReadingFate(1, systolic, bound, *more, fate, reason)


@given(st.data())
@settings(max_examples=200)
def test_every_line_comes_back_exactly(data: st.DataObject) -> None:
    method = data.draw(st.sampled_from(["doppler", "oscillometric"]))
    condition = data.draw(st.sampled_from(["clinic", "home", "calmed", "sedated"]))
    readings = data.draw(st.lists(taken(method), min_size=1, max_size=7))
    animal = data.draw(REASONS)
    when = data.draw(st.sampled_from(["", "2026-03-01", "2026-03-01T10:15"]))
    spread = Spread(150.0, 3.2, len(readings), 1.0, 2.0, 1.5, 0.1, 0.1, "", "mmHg")
    line = chart_line(readings, {"systolic": spread}, method, condition, animal, when)
    found = back(line)
    assert len(found["row"]) == len(readings)
    signs = {"at least": "> ", "at most": "< "}
    for name in ("systolic", "diastolic", "mean", "heart_rate"):
        for cell, reading in zip(found[name], readings, strict=True):
            value = getattr(reading, name)
            if name == "systolic":
                assert cell.startswith(signs.get(reading.bound, ""))
                cell = cell.removeprefix(signs.get(reading.bound, "")).replace("no sound", "")
            assert (float(cell) if cell else None) == value
    assert found["excluded"] == [reading.reason for reading in readings]
    assert set(found["animal"]) == {animal}
    assert set(found["taken_at"]) == {when}
    assert set(found["method"]) == {method}
    assert set(found["setting"]) == {"home" if condition == "home" else ""}
    assert set(found["state"]) == {condition if condition in ("calmed", "sedated") else ""}
