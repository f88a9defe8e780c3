"""From an agreement to its picture: the numbers of the one are the numbers of the other."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.figures.clinic.agreement import draw
from bpvet.models.agreement.agreement import agreement
from bpvet.pictures.agreement import agreement_picture


def frame(animals: int, visits: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    rows = [
        (f"cat {i}", name, v, 130 + 5 * i + add + rng.normal(0, 6))
        for i in range(animals)
        for v in range(visits)
        for name, add in (("A", 0), ("B", 3))
        for _ in range(2)
    ]
    return pd.DataFrame(rows, columns=["animal", "method", "visit", "y"])


def test_the_picture_has_the_agreement_s_numbers() -> None:
    agree = agreement(frame(10), "y")
    shown = agreement_picture(agree)
    assert shown.bias.value == agree.bias.estimate
    low, high = agree.limits(intervals="better")
    assert (shown.lower.low, shown.upper.high) == (low.lower, high.upper)
    assert (shown.lower.value, shown.upper.value) == (agree.lower.estimate, agree.upper.estimate)
    assert shown.lines[0].slope == agree.deming().slope.estimate
    assert shown.lines[1].intercept == agree.passing_bablok().intercept.estimate
    np.testing.assert_array_equal(shown.points.difference, agree.data.difference)
    assert shown.readings.first.size == 20
    assert shown.animals == ()
    assert "Neither method is the reference." in shown.caption
    assert "unlinked" in shown.caption
    assert agree.plot().get_size_inches()[0] == pytest.approx(160 / 25.4)


def test_few_animals_seen_again_have_marks_of_their_own() -> None:
    shown = agreement_picture(agreement(frame(3, visits=4), "y", visit="visit"))
    assert shown.animals == ("cat 0", "cat 1", "cat 2")
    assert shown.points.first.size == 12
    draw(shown)


def test_one_reading_a_point_is_not_drawn_twice() -> None:
    one = frame(9).drop_duplicates(["animal", "method"])
    assert agreement_picture(agreement(one, "y")).readings.first.size == 0
