"""Every answer equals that of the slow twin, which shares no code with bpvet."""

from __future__ import annotations

import pytest

from bpvet.answers.trend.verdicts import settled
from reference_checks.answers.check import differences, pinned, window_differences
from reference_checks.answers.drawn import KINDS, draw

HELD = pinned()


@pytest.mark.parametrize("number", range(len(HELD)), ids=lambda number: draw(number).key)
def test_answers_equal_those_of_the_twin(number):
    found = list(differences(draw(number), HELD[number]))
    assert len(found) > 15
    for what, difference, tolerance in found:
        assert abs(difference) <= tolerance, what


def test_the_drawn_records_try_every_kind_and_many_windows():
    assert {draw(number).key.split(": ")[1] for number in range(len(HELD))} == set(KINDS)
    assert len({tuple(one["window"][:1]) for one in HELD}) >= 8
    verdicts = {
        said for one in HELD for name, said in one["words"].items() if name.endswith("verdict")
    }
    assert {"has lowered", "not settled", "cannot be known", None} <= verdicts
    assert {"as expected", "very unusual", None} <= {one["words"].get("surprise") for one in HELD}


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.9, "yes"),
        (0.8999, "open"),
        (0.1001, "open"),
        (0.1, "no"),
        (0.5, "open"),
    ],
)
def test_a_verdict_is_said_from_its_bound_on(p, said):
    assert settled(p).value == said


def test_the_table_of_windows_equals_its_plain_restatement():
    compared = list(window_differences(1_500))
    assert len(compared) > 4_000
    for what, difference, _ in compared:
        assert difference == 0, what
