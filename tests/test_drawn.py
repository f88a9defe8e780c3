"""The comparison of drawings sees what is to be seen."""

from __future__ import annotations

import pytest

from tests.drawn import assert_same

DRAWN = '<path id="p01c442862a" d="M 230 -1.5\nL 2 3.25"/><use id="p01c442862a" x="7"/>BP 165/95'


@pytest.mark.parametrize(
    "other",
    [
        DRAWN.replace("230", "229.999999").replace("-1.5", "-1.500001"),
        DRAWN.replace("p01c442862a", "p92c442862b"),
    ],
)
def test_a_last_digit_is_let_pass(other: str) -> None:
    assert_same(DRAWN, other, "mend")


@pytest.mark.parametrize(
    "other",
    [
        DRAWN.replace("165", "166"),
        DRAWN.replace("3.25", "3.2501"),
        DRAWN.replace("-1.5", "1.5"),
        DRAWN.replace("BP", "MAP"),
        DRAWN.replace("p01c442862a", "p92c442862b", 1),
    ],
)
def test_anything_else_is_not(other: str) -> None:
    with pytest.raises(AssertionError):
        assert_same(DRAWN, other, "mend")
