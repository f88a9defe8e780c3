"""The list as windows, and the newest session's readings: what is drawn is what was answered."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.figures.clinic import cohort
from bpvet.figures.save import svg_bytes
from bpvet.pictures.due import due_picture
from bpvet.pictures.session import session_picture
from bpvet.records.example import write_example

AS_OF = "2026-11-01"


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> bpvet.Records:
    folder: Path = tmp_path_factory.mktemp("example") / "clinic"
    write_example(folder)
    return bpvet.read(folder, as_of=AS_OF)


def test_windows_stand_in_the_list_s_order_on_their_days(records: bpvet.Records) -> None:
    due = bpvet.due(records)
    shown = due_picture(due)
    rows = [one for one in due.rows if one.latest is not None]
    assert [name.split(":")[0] for name in shown.names] == [
        f"{one.name} ({one.animal})" if one.name else one.animal for one in rows
    ]
    (panel,) = shown.panels
    for one, low, high in zip(rows, panel.low, panel.high, strict=True):
        assert np.datetime64(AS_OF) + np.timedelta64(int(high), "D") == one.latest
        assert np.isnan(low) == (one.earliest is None)
        assert (high < 0) == (one.overdue_days > 0)
    assert "Marzipan (B04): now" in shown.alt_text
    assert "eyes now, to be measured later" in shown.alt_text
    assert cohort.draw(shown, 85.0).axes


def test_pseudonyms_stay(records: bpvet.Records) -> None:
    drawn = svg_bytes(due_picture(bpvet.due(records, pseudonyms=True))).decode()
    assert "Marzipan" not in drawn
    assert "B04" not in drawn


def test_readings_stand_in_the_order_of_taking_beside_the_expected_mean(
    records: bpvet.Records,
) -> None:
    trend = bpvet.fit_trend(records, "A17")
    answer = trend.answer()
    shown = session_picture(trend, answer)
    (panel,) = shown.panels
    mean = answer.surprise.expected
    assert mean is not None
    assert (panel.estimate[1:-1] + mean).tolist() == pytest.approx([162, 158, 158, 156, 162, 152])
    assert panel.estimate[-1] + mean == pytest.approx(157.2)
    assert (panel.low[0] + mean, panel.high[0] + mean) == pytest.approx(
        (answer.surprise.lower, answer.surprise.upper)
    )
    assert np.isnan(panel.low[1:]).all()
    assert shown.names[1] == "1: 162, left out"
    assert "lies within" in shown.caption


def test_bounds_are_named_and_what_cannot_be_drawn_is_refused(records: bpvet.Records) -> None:
    rows = [
        {"animal": "A", "taken_at": f"2026-0{month}-01", "method": "doppler", "systolic": value}
        for month, values in ((1, (150, 152, 149)), (2, (290, ">300", 298)))
        for value in map(str, values)
    ]
    made = bpvet.Records.from_frames(pd.DataFrame(rows), as_of="2026-03-01")
    trend = bpvet.fit_trend(made, "A")
    shown = session_picture(trend, trend.answer())
    assert "2: at least 300" in shown.names
    assert shown.names[-1].startswith("the session: at least ")
    assert "lies outside" in shown.caption
    alone = bpvet.fit_trend(
        bpvet.Records.from_frames(pd.DataFrame(rows[:3]), as_of="2026-03-01"), "A"
    )
    with pytest.raises(CallError, match="no earlier session"):
        session_picture(alone, alone.answer())
    marker = bpvet.fit_trend(records, "A17", quantity="creatinine")
    with pytest.raises(CallError, match="systolic"):
        session_picture(marker, marker.answer())
