"""Visit-to-visit variability: numbers, reasons, tables, and what the caller may pass."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.maths.spread import MeanRelation, reference_change
from bpvet.models.trend.variability import Variability, variability

DAYS = [0, 20, 50]
DATES = ["2026-01-01", "2026-01-21", "2026-02-20"]
VALUES = [180, 140, 170]
NAMES = [
    *("mean", "sd", "cv", "arv", "arv_time_weighted", "successive_variation"),
    *("vim", "residual_sd", "reference_change_value"),
]


def test_the_worked_example() -> None:
    v = variability(DAYS, VALUES, [5, 5, 5])
    # Differences −40 and 30: mean 35, by days (20·40 + 30·30)/50 = 34, root of 1250.
    assert v.arv.estimate == 35
    assert v.arv_time_weighted.estimate == 34
    assert v.successive_variation.estimate == pytest.approx(math.sqrt(1250))
    assert v.sd.estimate == pytest.approx(math.sqrt(1300 / 3))
    assert v.cv.estimate == pytest.approx(12.744893874282445, rel=1e-14)
    assert v.residual_sd.estimate == pytest.approx(math.sqrt(16200 / 19))
    assert v.reference_change_value.estimate == pytest.approx(reference_change(v.cv.estimate))
    assert v.reference_change_value.upper == pytest.approx(reference_change(v.cv.upper))


@pytest.mark.parametrize(
    "when",
    [
        DAYS,
        np.array(DAYS) + 1000.0,
        DATES,
        [date.fromisoformat(text) for text in DATES],
        [datetime.fromisoformat(f"{text}T12:00") for text in DATES],
        np.array(DATES, dtype="datetime64[D]"),
        pd.Series(DATES),
        pd.to_datetime(pd.Series(DATES)),
        pd.DatetimeIndex(DATES),
    ],
    ids=lambda when: type(when).__name__,
)
def test_dates_may_come_in_any_form(when: object) -> None:
    assert variability(when, VALUES).to_dict() == variability(DAYS, VALUES).to_dict()


def test_rows_are_put_in_order_of_time() -> None:
    turned = variability([50, 0, 20], [170, 180, 140], [5, 3, 4])
    assert turned.to_dict() == variability(DAYS, VALUES, [3, 4, 5]).to_dict()


@pytest.mark.parametrize("n", [0, 1, 2])
def test_one_or_two_sessions_give_reasons(n: int) -> None:
    v = variability(DAYS[:n], VALUES[:n], [5] * n)
    for name in NAMES[1:]:
        part = getattr(v, name)
        assert (part.estimate, part.lower, part.upper) == (None, None, None)
        assert part.reason == f"needs 3 sessions, not {n}"
    assert f"needs 3 sessions, not {n}" in repr(v)
    json.dumps(v.to_dict(), allow_nan=False)


def test_nothing_is_nan_in_json() -> None:
    for values in (VALUES, [150] * 3, [60, 150, 290], [-5, 0, 5]):
        for when in (DAYS, [7, 7, 7]):
            result = variability(when, values).to_dict()
            _check(json.loads(json.dumps(result, allow_nan=False)))


def _check(node: object) -> None:
    """Every None has a reason beside it, and every reason belongs to a None."""
    if isinstance(node, dict):
        missing = [key for key, value in node.items() if value is None and key != "reason"]
        assert not missing or node["reason"], node
        if "estimate" in node:
            assert bool(missing) == (node["reason"] is not None), node
        for value in node.values():
            _check(value)


def test_variability_independent_of_the_mean_needs_other_animals() -> None:
    alone = variability(DAYS, VALUES)
    assert alone.vim.estimate is None
    assert "other animals" in str(alone.vim.reason)
    told = variability(DAYS, VALUES, relation=MeanRelation(1.0, 140.0))
    # With beta = 1 it is CV·centre.
    assert told.vim.estimate == pytest.approx(alone.cv.estimate / 100 * 140)


def test_it_prints_as_a_short_table() -> None:
    text = repr(variability(DAYS, VALUES, [3, 5, 5]))
    assert "Visit-to-visit variability of 3 sessions" in text
    assert "average real variability by days      34.0" in text
    assert "3 to 5 readings" in text
    assert "nan" not in text
    html = variability(DAYS, VALUES)._repr_html_()
    assert html.startswith("<table>")
    assert "readings" not in html


def test_frames_hold_full_precision() -> None:
    v = variability(DAYS, VALUES, level=0.9)
    frame = v.to_frame()
    assert list(frame.index) == NAMES
    assert list(frame.columns) == ["estimate", "lower", "upper", "unit", "reason"]
    assert frame.loc["sd", "estimate"] == v.sd.estimate
    assert math.isnan(frame.loc["vim", "estimate"])
    assert frame.loc["cv", "unit"] == "%"


@pytest.mark.parametrize(
    "call",
    [
        lambda: variability(DAYS, VALUES[:2], [5, 5, 5]),
        lambda: variability(DAYS, VALUES, [5, 5]),
        lambda: variability(DAYS, VALUES, [5, 5, 0]),
        lambda: variability(DAYS, [180, math.nan, 170]),
        lambda: variability(["2026-01-01", "first of May", "2026-06-01"], VALUES),
        lambda: variability(np.array([*DATES[:2], "NaT"], dtype="datetime64[D]"), VALUES),
        lambda: variability(pd.to_datetime(pd.Series(DATES), utc=True), VALUES),
        lambda: variability(DAYS, VALUES, level=1.0),
    ],
)
def test_wrong_calls_are_refused(call: Callable[[], Variability]) -> None:
    with pytest.raises(CallError):
        call()


def test_results_are_frozen() -> None:
    with pytest.raises(AttributeError):
        variability(DAYS, VALUES).level = 0.5  # type: ignore[misc]


def test_loading_needs_neither_pandas_nor_the_rest_of_scipy() -> None:
    code = (
        "import sys, bpvet.models.trend.variability, bpvet.maths.charts; "
        "print([m for m in ('pandas', 'scipy.stats', 'scipy.optimize') if m in sys.modules])"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[3],
    )
    assert run.stdout.strip() == "[]"
