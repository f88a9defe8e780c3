"""Numbers by our own pattern."""

from __future__ import annotations

import math

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.parsing.numbers import BOUND_WORDS, numbers
from bpvet.wording.en.findings.values import number_fix, why_not_a_number


def one(text: str, bounds: bool = True) -> tuple[float, str, bool]:
    read = numbers(pa.array([text], pa.large_string()), bounds)
    return float(read.value[0]), str(BOUND_WORDS[read.bound[0]]), bool(read.bad[0])


@pytest.mark.parametrize(
    ("text", "value"), [("165", 165.0), ("+1", 1.0), ("-2.5", -2.5), ("007", 7.0), ("0.10", 0.1)]
)
def test_plain_numbers(text: str, value: float) -> None:
    assert one(text) == (value, "", False)


@pytest.mark.parametrize(
    ("text", "value", "bound"),
    [
        ("> 300", 300.0, "at least"),
        (">300", 300.0, "at least"),
        ("≥300", 300.0, "at least"),
        (">=300", 300.0, "at least"),
        ("< 40", 40.0, "at most"),
        ("≤ 40.5", 40.5, "at most"),
        ("<=40", 40.0, "at most"),
    ],
)
def test_bounds(text: str, value: float, bound: str) -> None:
    assert one(text) == (value, bound, False)


@pytest.mark.parametrize(
    "text",
    ["no sound", "No Sound", "NO  SOUND", "Inaudible", "nothing heard", "too  low", "no pulse"],
)
def test_no_sound(text: str) -> None:
    value, bound, bad = one(text)
    assert math.isnan(value)
    assert bound == "no sound"
    assert not bad


NO_NUMBERS = "16O 1e400 1e2 inf nan NaN - 1.2.3 ٣٤ １６５ 0x10 1_0 165/90 −5 .5 5. >>3 =1+1"
SPACED = ("1 650", "165 mmHg", "no signal", "unable", "too low?", "low", "> ", "1" * 16)


@pytest.mark.parametrize("text", [*NO_NUMBERS.split(), *SPACED])
def test_anything_else_is_bad(text: str) -> None:
    assert one(text)[2]


@pytest.mark.parametrize("text", ["> 300", "no sound"])
def test_bounds_only_where_they_are_allowed(text: str) -> None:
    assert one(text, bounds=False)[2]


def test_a_comma_is_told_from_a_thousands_mark() -> None:
    read = numbers(pa.array(["120,5", "1,650", "120.5", "120"], pa.large_string()), True)
    assert read.comma.tolist() == [True, True, False, False]
    assert read.thousand.tolist() == [False, True, False, False]
    assert read.point.tolist() == [False, False, True, False]
    assert read.value[0] == 120.5


@given(st.lists(st.text(max_size=8)))
def test_every_text_is_blank_a_value_or_bad(texts: list[str]) -> None:
    texts = [text.encode("utf-8", "replace").decode() for text in texts]
    read = numbers(pa.array(texts, pa.large_string()), bounds=True)
    for i, text in enumerate(texts):
        ways = [text == "", bool(read.bad[i]), bool(np.isfinite(read.value[i])), read.bound[i] == 3]
        assert sum(ways) == 1


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_written_numbers_come_back(value: float) -> None:
    text = np.format_float_positional(round(value, 6), trim="-")
    assert one(text)[0] == round(value, 6)


def test_words_for_what_is_wrong() -> None:
    assert why_not_a_number("1,650").startswith('"1,650" holds a mark that may be a thousands')
    assert why_not_a_number("165/158").startswith('"165/158" holds several numbers')
    assert why_not_a_number("120,5").startswith('"120,5" has a decimal comma')
    assert "If it is 160, write 160." in number_fix("16O")
    assert "Write the number alone: 165." in number_fix("165 mmHg")
