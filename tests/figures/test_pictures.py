"""Pictures are frozen, whole and of one length."""

from __future__ import annotations

import dataclasses
import subprocess
import sys

import numpy as np
import pytest

from bpvet.errors import CallError
from bpvet.figures.pictures import Band, ReadingMarks, SessionMarks, TrendPicture
from tests.figures.example_pictures import EXAMPLES, on


def test_arrays_are_copies_and_read_only() -> None:
    value = np.array([150.0])
    marks = ReadingMarks(on("2026-01-01"), value, np.array(["used"]), np.array([""]))
    value[0] = 0.0
    assert marks.value[0] == 150.0
    with pytest.raises(ValueError, match="read-only"):
        marks.value[0] = 1.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        marks.value = value  # type: ignore[misc]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"value": [1.0, 2.0]}, r"one length: date \(1,\), value \(2,\)"),
        ({"fate": ["lost"]}, "fate of a reading: 'lost'"),
        ({"bound": [">"]}, "bound of a reading: '>'"),
        ({"date": np.array(["NaT"], dtype="datetime64[D]")}, "a date for every mark"),
    ],
)
def test_marks_that_do_not_fit_are_refused(change: dict[str, object], words: str) -> None:
    given = {"date": on("2026-01-01"), "value": [150.0], "fate": ["used"], "bound": [""]}
    with pytest.raises(CallError, match=words):
        ReadingMarks(**{**given, **change})  # type: ignore[arg-type]


def test_an_unknown_bound_of_a_session_is_refused() -> None:
    with pytest.raises(CallError, match="bound of a session"):
        SessionMarks(
            "x", "doppler", "clinic", on("2026-01-01"), [1.0], [1.0], [1.0], [1], ["above"], [""]
        )


def test_bands_must_be_nested() -> None:
    one = [1.0]
    with pytest.raises(CallError, match="inner < outer"):
        Band(on("2026-01-01"), one, one, one, one, one, "words", inner=0.95, outer=0.5)


def test_a_picture_needs_a_panel_and_a_date() -> None:
    with pytest.raises(CallError, match="one panel"):
        TrendPicture("x", np.datetime64("2026-01-01"), ())
    panels = EXAMPLES["one_session"]().panels
    with pytest.raises(CallError, match="speaks for"):
        TrendPicture("x", np.datetime64("NaT"), panels)


def test_pictures_load_neither_matplotlib_nor_pandas() -> None:
    code = (
        "import sys, bpvet.figures.pictures;"
        "print([m for m in ('matplotlib', 'pandas', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
