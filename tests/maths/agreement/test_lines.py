"""Deming's line, and Passing and Bablok's: hand-worked sums, turns of the axes, what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.errors import CallError
from bpvet.maths.agreement.lines import MOST_POINTS, deming, passing_bablok

X = np.array([100.0, 112, 118, 131, 140, 155, 163])
Y = np.array([104.0, 109, 125, 128, 149, 152, 170])


def test_deming_by_hand() -> None:
    """x 0, 1, 2, y 0, 1, 3: sxx 2, syy 14/3, sxy 3: (8/3 + √(64/9 + 36))/6."""
    line = deming([0, 1, 2], [0, 1, 3])
    slope = (8 / 3 + np.sqrt(64 / 9 + 36)) / 6
    assert line.slope.estimate == pytest.approx(slope)
    assert line.intercept.estimate == pytest.approx(4 / 3 - slope)
    assert line.slope.reason == "an interval needs four animals or more"


def test_deming_of_turned_axes_is_the_same_line() -> None:
    there, back = deming(X, Y, 2.0), deming(Y, X, 0.5)
    assert there.slope.estimate is not None
    assert back.slope.estimate == pytest.approx(1 / there.slope.estimate)


def test_deming_leaves_out_whole_animals() -> None:
    alone = deming(X, Y)
    doubled = deming(np.tile(X, 2), np.tile(Y, 2), animal=np.tile(np.arange(7), 2))
    assert doubled.slope.lower == pytest.approx(alone.slope.lower)
    assert doubled.slope.upper == pytest.approx(alone.slope.upper)


@pytest.mark.parametrize("ratio", [0.0, -1.0, np.inf, np.nan])
def test_a_wrong_ratio_is_refused(ratio: float) -> None:
    with pytest.raises(CallError, match="ratio"):
        deming(X, Y, ratio)


def test_passing_bablok_by_hand() -> None:
    """Slopes 2, 1.5, 1 of the points (0, 0), (1, 2), (2, 3): the middle one; none below −1."""
    line = passing_bablok([0, 1, 2], [0, 2, 3])
    assert line.slope.estimate == pytest.approx(1.5)
    # Intercepts 0, 0.5, 0.
    assert line.intercept.estimate == pytest.approx(0)
    assert line.slope.lower is None
    assert line.slope.reason


def test_passing_bablok_of_turned_axes_is_the_same_line() -> None:
    there, back = passing_bablok(X, Y), passing_bablok(Y, X)
    assert there.slope.estimate is not None
    assert there.slope.lower is not None
    assert back.slope.estimate == pytest.approx(1 / there.slope.estimate, rel=0.02)
    assert back.slope.upper == pytest.approx(1 / there.slope.lower)


def test_slopes_below_minus_one_shift_the_middle() -> None:
    """(0, 0), (1, 1), (2, 2), (2.5, −1): slopes −6, −4/3, −0.4, 1, 1, 1; two lie below −1.

    Six slopes, shift 2: the mean of the fifth and the sixth.
    """
    assert passing_bablok([0, 1, 2, 2.5], [0, 1, 2, -1]).slope.estimate == pytest.approx(1)


def test_one_value_by_a_method_gives_no_line() -> None:
    assert passing_bablok([1, 1, 1], [1, 1, 1]).slope.estimate is None
    assert deming([1, 1, 1], [1, 2, 3]).slope.estimate is None


def test_too_many_points_are_refused() -> None:
    with pytest.raises(CallError, match="at most"):
        passing_bablok(np.arange(MOST_POINTS + 1.0), np.arange(MOST_POINTS + 1.0))


def test_few_animals_never_make_an_interval_narrower_than_independent_points() -> None:
    """Five animals whose own lines happen to agree: their jackknife alone would claim too much."""
    rng = np.random.default_rng(4)
    x = rng.normal(150, 20, 25)
    y = x + rng.normal(0, 12, 25)
    alone = deming(x, y)
    # Animals dealt out so that each holds points from the whole range.
    grouped = deming(x, y, animal=np.argsort(np.argsort(x)) % 5)
    assert grouped.slope.estimate == alone.slope.estimate
    for line in (alone, grouped):
        assert line.slope.lower is not None
        assert line.slope.upper is not None
    assert grouped.slope.upper - grouped.slope.lower >= alone.slope.upper - alone.slope.lower
