"""Texts with drawings in them, parted into words and numbers to be compared.

Another processor adds in another order, so that a point drawn may end in another last digit; all
else in a drawing is the same wherever it is made.
"""

from __future__ import annotations

import re

import numpy as np

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
#: Names that the drawing library makes from numbers; only which is which matters.
_MADE_ID = re.compile(r"(?<![0-9a-z])[a-z][0-9a-f]{10}(?![0-9a-z])")


def assert_same(text: str, other: str, mend: str) -> None:
    """Assert that words are the same, and numbers to a hundred-thousandth of their unit."""
    words, numbers = _parted(text)
    other_words, other_numbers = _parted(other)
    assert words == other_words, mend
    np.testing.assert_allclose(numbers, other_numbers, rtol=1e-9, atol=1e-5, err_msg=mend)


def _parted(text: str) -> tuple[list[str], list[float]]:
    """Return a text without its numbers, and these."""
    ids: dict[str, str] = {}
    text = _MADE_ID.sub(lambda found: ids.setdefault(found[0], f"made-{len(ids)}"), text)
    return _NUMBER.split(text), [float(one) for one in _NUMBER.findall(text)]
