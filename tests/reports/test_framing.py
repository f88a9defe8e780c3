"""Frames as notebooks show them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.reports.framing import MOST_ROWS, framed


def test_digits_follow_the_size_and_nothing_is_a_bare_nan() -> None:
    frame = pd.DataFrame(
        {
            "mean": [152.123456, 6.296783, 0.8123456, 17575.968578, np.nan],
            "n": [1, 2, 3, 4, 5],
            "on": [True, False, True, False, True],
            "date": pd.to_datetime(["2026-01-05", None, "2026-01-07", "2026-01-08", "2026-01-09"]),
            "why": ["", None, "a", "b", "c"],
        }
    )
    shown = framed(frame, "Means")
    assert shown.text.splitlines() == [
        "Means",
        "mean  n  on  date  why",
        "152.1  1  yes  2026-01-05  ",
        "6.30  2  no  –  –",
        "0.812  3  yes  2026-01-07  a",
        "17576  4  no  2026-01-08  b",
        "–  5  yes  2026-01-09  c",
    ]
    assert "nan" not in shown.html.lower()
    assert "NaT" not in shown.html


def test_an_index_that_says_something_is_kept_and_values_are_no_markup() -> None:
    frame = pd.DataFrame({"sd": [1.0]}, index=pd.Index(["<b>x</b>"], name="animal"))
    shown = framed(frame)
    assert "&lt;b&gt;x&lt;/b&gt;" in shown.html
    assert "animal" in shown.text
    assert "One row, one column" in shown.text


def test_a_long_frame_is_shown_by_its_ends_and_the_rest_counted() -> None:
    shown = framed(pd.DataFrame({"n": range(1000)}))
    assert len(shown.text.splitlines()) == MOST_ROWS + 3
    assert f"… {1000 - MOST_ROWS} rows more" in shown.text
    assert shown.text.splitlines()[-1] == "999"
