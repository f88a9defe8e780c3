"""A kidney value far beyond those before it is told first, and the list does not leave it."""

from __future__ import annotations

import pandas as pd
import pytest

import bpvet


def _records(*creatinine, species="cat", as_of="2026-11-30"):
    labs = pd.DataFrame(
        [("A", day, "creatinine", value, "µmol/L") for day, value in creatinine],
        columns=["animal", "sampled_on", "analyte", "value", "unit"],
    )
    readings = pd.DataFrame(
        [("A", day, "doppler", "134") for day in ("2026-05-20", "2026-11-20") for _ in range(3)],
        columns=["animal", "taken_at", "method", "systolic"],
    )
    animals = pd.DataFrame({"animal": ["A"], "species": [species], "birth_date": ["2013-01-01"]})
    return bpvet.Records.from_frames(readings, animals=animals, labs=labs, as_of=as_of)


MAY, NOVEMBER = "2026-05-20", "2026-11-20"


@pytest.mark.parametrize(
    ("values", "stages"),
    [
        # By the bounds that the 2019 guidance prints for cats: 140, 251, 440.
        ([(MAY, "140"), (NOVEMBER, "> 800")], (4, 2)),
        ([(MAY, "130"), (NOVEMBER, "300")], (3, 1)),
        ([(MAY, "300"), (NOVEMBER, "441")], (4, 3)),
        ([(NOVEMBER, "810")], (4, None)),
        ([(MAY, "140"), (NOVEMBER, "300")], None),
        ([(MAY, "500"), (NOVEMBER, "510")], None),
        ([(MAY, "810"), (NOVEMBER, "140")], None),
        # Older than an alarm: what became of it is told with the stage.
        ([("2025-11-20", "140"), (MAY, "810")], None),
    ],
)
def test_which_leap(values, stages):
    records = _records(*values)
    answer = bpvet.fit_trend(records, "A").answer()
    (row,) = bpvet.due(records).rows
    assert answer.urgent == row.urgent == ()
    leaps = [one.text for one in answer.kidney_statements if one.text.startswith("The newest")]
    assert len(leaps) == bool(stages)
    assert (row.band == "due") is bool(stages)
    assert all(text in row.why for text in leaps)
    if stages:
        stage, before = stages
        assert answer.kidney_statements[0].text == leaps[0]
        assert f"lies in the range of stage {stage} (" in leaps[0]
        assert (f"lay in that of stage {before}." in leaps[0]) is (before is not None)
        assert not [one for one in answer.not_used if one.table == "labs"]


def test_no_bounds_are_laid_on_another_species():
    (row,) = bpvet.due(_records((NOVEMBER, "810"), species="rabbit")).rows
    assert "stage" not in row.why


def test_in_five_lines_it_is_the_one_of_the_kidneys():
    from bpvet.wording.en.trend.short import short_statements

    answer = bpvet.fit_trend(_records((MAY, "90"), (NOVEMBER, "810")), "A").answer()
    (kidneys,) = (one.text for one in short_statements(answer) if one.key == "short.kidney")
    assert "810 µmol/L" in kidneys
    assert "stage 4" in kidneys
