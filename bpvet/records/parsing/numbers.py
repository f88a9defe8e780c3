"""Text to numbers by our own pattern: sign, digits, one decimal mark; and bounds on a pressure.

Library conversions are not used because they take more than a number: "inf", "nan", "1e400",
digits of other scripts, thousands marks.
"""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of
from bpvet.records.parsing.columns import constant, distinct_cells, each

# A float written out in full has up to 17 significant digits, and more decimals below 1.
_NUMBER = r"([0-9]{1,15})(?:([.,])([0-9]{1,40}))?"
PLAIN = re.compile(rf"([+-]?){_NUMBER}")
BOUND = re.compile(rf"(>=|<=|[<>≤≥])\s*{_NUMBER}")
_PLAIN = rf"^[+-]?{_NUMBER}$"
NO_SOUND = "no sound"
#: What else is written of a reading for want of a sound. "Unable" is none: the animal may not have
#: held still.
_SOUNDLESS = frozenset(
    (
        *(NO_SOUND, "no sounds", "no flow", "no pulse", "not audible"),
        *("inaudible", "nothing heard", "not heard", "undetectable", "not detectable"),
        "too low",
    )
)
#: What is looked at more closely: other words and signs are no bound.
_LIKE_A_BOUND = r"(?is)^([<>≤≥]|no|inaudible$|undetectable$|too)"
BOUND_WORDS = np.array(["", "at least", "at most", NO_SOUND], dtype=object)
#: How a number is written that is one.
BOUND_SIGNS = {"at least": "> ", "at most": "< "}
NO_SOUND_CODE = 3


@dataclass(frozen=True, eq=False)
class Numbers:
    """A column's cells as numbers.

    Parameters
    ----------
    few : array of float (m,)
        The number of each different text, NaN where there is none.
    code : array of int (n,)
        Index into `few`.
    bound : array of int (n,)
        Index into `BOUND_WORDS`.
    bad : array of bool (n,)
        Cells that hold something else.
    point, comma, thousand : arrays of bool (n,)
        Cells with a decimal point; with a comma; with a comma before exactly three digits,
        which may be a thousands mark.
    """

    few: NDArray[np.float64]
    code: NDArray[np.integer]
    bound: NDArray[np.int8]
    bad: NDArray[np.bool_]
    point: NDArray[np.bool_]
    comma: NDArray[np.bool_]
    thousand: NDArray[np.bool_]

    @property
    def value(self) -> NDArray[np.float64]:
        """The numbers (n,)."""
        return each(self.few, self.code)


def numbers(cells: pa.Array, bounds: bool, sounds: bool = True) -> Numbers:
    """Return a column's cells as numbers.

    Parameters
    ----------
    cells : pyarrow array of text (n,)
        Cells without white space around them; "" is blank.
    bounds : bool
        Whether "> 300", "< 40" and "no sound" are allowed.
    sounds : bool
        Whether "no sound" is allowed among the bounds.
    """
    texts, code = distinct_cells(cells)
    value = np.full(len(texts), np.nan)
    bound = np.zeros(len(texts), dtype=np.int8)
    mark = np.zeros(len(texts), dtype=np.int8)
    plain = _mask(pc.match_substring_regex(texts, _PLAIN))
    value[plain], mark[plain] = _read(texts.filter(arrow_of(plain)))
    bad = ~plain & _mask(pc.not_equal(texts, scalar_of("")))
    if bounds and bad.any():
        likely = bad & _mask(pc.match_substring_regex(texts, _LIKE_A_BOUND))
        for i in np.flatnonzero(likely).tolist():
            found = _bound_of(texts[i].as_py())
            if found is not None and (sounds or found[1] != NO_SOUND_CODE):
                value[i], bound[i], mark[i] = found
                bad[i] = False
    return Numbers(
        value,
        code,
        *(
            each(few, code) if few.any() else constant(0, len(code), few.dtype)
            for few in (bound, bad, mark == 1, mark >= 2, mark == 3)
        ),
    )


def _read(texts: pa.Array) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    """Return plain numbers (m,) and their marks: 0 none, 1 a point, 2 a comma, 3 before three."""
    comma = _mask(pc.match_substring(texts, ","))
    mark = _mask(pc.match_substring(texts, ".")).astype(np.int8)
    mark[comma] = 2
    mark[comma & _mask(pc.match_substring_regex(texts, r",[0-9]{3}$"))] = 3
    bare = pc.utf8_ltrim(pc.replace_substring(texts, ",", "."), "+")
    return numpy_of(pc.cast(bare, pa.float64())), mark


def _bound_of(text: str) -> tuple[float, int, int] | None:
    """Return value, index into `BOUND_WORDS` and mark of a bound; None where it is none."""
    if " ".join(text.casefold().split()) in _SOUNDLESS:
        return np.nan, NO_SOUND_CODE, 0
    match = BOUND.fullmatch(text)
    if match is None:
        return None
    _, whole, separator, rest = match.groups()
    mark = 0 if not separator else 1 if separator == "." else 3 if len(rest) == 3 else 2
    return float(f"{whole}.{rest or 0}"), 1 if text[0] in ">≥" else 2, mark


def _mask(found: pa.Array) -> NDArray[np.bool_]:
    return numpy_of(found)
