"""What is told of a rise of a kidney value: with what pressure did about the change of drug."""

from __future__ import annotations

import pandas as pd
import pytest

import bpvet
from bpvet.records.records import Records
from tests.models.kidney_records import lab
from tests.models.small_records import drug, rows, steady

BEFORE = [("2026-01-10", 190.0), ("2026-03-14", 186.0)]
LATER = ("2026-08-01", 170.0)


def told(*after: tuple[str, float]) -> str:
    sessions = [one for date, mean in (*BEFORE, *after) for one in steady(mean, [date])]
    labs = [
        lab("2026-03-01", "creatinine", 150, "umol/L"),
        lab("2026-04-04", "creatinine", 210, "umol/L"),
    ]
    records = Records.from_frames(
        pd.DataFrame(rows(sessions)),
        labs=pd.DataFrame(labs),
        treatments=pd.DataFrame([drug("2026-03-20")]),
        animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
        as_of="2026-08-10",
    )
    answer = bpvet.fit_trend(records, "A1").answer()
    (found,) = [one.text for one in answer.statements if one.key == "kidney.reaction"]
    return found


@pytest.mark.parametrize(
    ("after", "means"),
    [
        # The last session before the change, and of those after it the nearest to the value.
        ([("2026-04-04", 150.0), LATER], "fell by 36 meanwhile (186 to 150 mmHg)"),
        ([("2026-03-25", 176.0), ("2026-04-10", 160.0), LATER], "(186 to 160 mmHg)"),
        # Up to fourteen days after the value, and no more.
        ([("2026-04-18", 160.0), LATER], "(186 to 160 mmHg)"),
    ],
)
def test_pressure_meanwhile_is_that_nearest_to_the_value(
    after: list[tuple[str, float]], means: str
) -> None:
    assert means in told(*after)


def test_pressure_that_was_taken_long_after_is_not_told_with_it() -> None:
    assert "meanwhile" not in told(("2026-04-19", 160.0), LATER)
