"""The one type for a number with its interval."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest

import bpvet
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.estimate import Estimate, values_of
from bpvet.maths.mixture import Mixture


def _normal(scale: str = "plain") -> Mixture:
    return Mixture(np.ones(1), np.array([2.0]), np.array([0.5]), scale)


def test_of_a_distribution() -> None:
    found = Estimate.of(_normal(), 0.95, "mmHg")
    assert found.known == pytest.approx((2.0, 2.0 - 1.959964 * 0.5, 2.0 + 1.959964 * 0.5))
    assert (found.sd, found.unit, found.level) == (0.5, "mmHg", 0.95)
    assert Estimate.of(_normal("log"), 0.95).sd is None


def test_another_unit_takes_every_number_along() -> None:
    found = estimated(0.5, 0.25, 0.75, "exact").times(100.0)
    assert (found.known, found.how) == ((50.0, 25.0, 75.0), "exact")
    assert Estimate(None, reason="why").times(2.0) == Estimate(None, reason="why")
    assert Estimate(2.0, sd=0.5).times(2.0).sd == 1.0


def test_from_another_zero_the_ends_move_and_the_sd_stays() -> None:
    assert Estimate(2.0, 1.0, 4.0, 0.5).plus(3.0) == Estimate(5.0, 4.0, 7.0, 0.5)
    assert Estimate(None, -1.0, 1.0).plus(3.0) == Estimate(None, 2.0, 4.0)


def test_what_is_missing_is_not_known() -> None:
    with pytest.raises(ValueError, match="too few"):
        _ = Estimate(3.0, 1.0, reason="too few").known


def test_two_shapes_of_json() -> None:
    assert Estimate(1.0, 0.0, 2.0, 0.5, "%", 0.9).to_dict() == {
        "estimate": 1.0, "lower": 0.0, "upper": 2.0, "sd": 0.5,
    }  # fmt: skip
    nothing = {"estimate": None, "lower": None, "upper": None, "how": "", "reason": "why"}
    assert values_of({"a": [estimated(None, reason="why")]}) == {"a": [nothing]}


def test_it_pickles_and_equals_by_content() -> None:
    one = Estimate(float("nan"), 1.0, 2.0)
    assert pickle.loads(pickle.dumps(one)) == one
    assert one != Estimate(0.0, 1.0, 2.0)


def test_no_other_class_says_a_number_with_its_interval() -> None:
    package = Path(bpvet.__file__).parent
    found = [
        path.relative_to(package).as_posix()
        for layer in ("maths", "models", "answers")
        for path in (package / layer).rglob("*.py")
        if "class Estimate" in path.read_text(encoding="utf-8")
    ]
    assert found == ["maths/estimate.py"]
