"""The trend by ranks of one animal: numbers, reasons, tables."""

from __future__ import annotations

import json

import pytest

from bpvet.errors import CallError
from bpvet.models.trend.ranks import rank_trend

DAYS = [0, 10, 30, 60, 120]
DATES = ["2026-01-01", "2026-01-11", "2026-01-31", "2026-03-02", "2026-05-01"]
VALUES = [150, 152, 149, 158, 161]


def test_the_slope_is_per_30_days() -> None:
    r = rank_trend(DAYS, VALUES)
    assert r.slope_per_30_days.estimate == pytest.approx(30 * 0.105833333333, rel=1e-11)
    assert r.slope_per_30_days.lower == pytest.approx(30 * -0.15)
    assert r.intercept == pytest.approx(150)
    assert r.mann_kendall is not None
    assert r.mann_kendall.p == pytest.approx(7 / 30)
    assert r.to_dict()["mann_kendall"]["method"] == "exact"


def test_dates_and_order_of_rows() -> None:
    plain = rank_trend(DAYS, VALUES).to_dict()
    assert rank_trend(DATES, VALUES).to_dict() == plain
    assert rank_trend(DATES[::-1], VALUES[::-1]).to_dict() == plain


@pytest.mark.parametrize("n", [0, 1, 2])
def test_one_or_two_sessions_give_reasons(n: int) -> None:
    r = rank_trend(DAYS[:n], VALUES[:n])
    assert r.slope_per_30_days.estimate is None
    assert r.mann_kendall is None
    assert r.reason == f"needs 3 sessions, not {n}"
    assert r.reason in repr(r)
    assert list(r.to_frame().index) == ["slope_per_30_days"]


@pytest.mark.parametrize("n", [3, 4])
def test_three_or_four_sessions_have_a_slope_without_interval(n: int) -> None:
    slope = rank_trend(DAYS[:n], VALUES[:n]).slope_per_30_days
    assert slope.estimate is not None
    assert slope.lower is None
    assert "too few" in str(slope.reason)


def test_nothing_is_missing_without_its_reason() -> None:
    for days in ([0, 10, 30], [7, 7, 7], [7]):
        for values in ([150, 152, 149], [150, 150, 150]):
            given = rank_trend(days, values[: len(days)]).to_dict()
            told = json.loads(json.dumps(given, allow_nan=False))
            for part in (told, told["slope_per_30_days"], told["mann_kendall"]):
                missing = [key for key, value in part.items() if value is None and key != "reason"]
                assert not missing or part["reason"], part


def test_tables_and_frames() -> None:
    r = rank_trend(DAYS, VALUES)
    assert "Mann–Kendall S 6, tau-b 0.60, two-sided p 0.233 (exact)." in repr(r)
    assert "mmHg per 30 d" in r._repr_html_()
    assert "p less than 0.001" in repr(rank_trend(range(12), range(12)))
    assert list(r.to_frame().index) == ["slope_per_30_days", "tau_b", "p"]
    assert r.to_frame().loc["slope_per_30_days", "estimate"] == r.slope_per_30_days.estimate


def test_wrong_calls_are_refused() -> None:
    with pytest.raises(CallError):
        rank_trend(DAYS, VALUES, level=95)
    with pytest.raises(CallError):
        rank_trend(DAYS, VALUES[:2])
