"""Text to numbers by our own pattern: sign, digits, one decimal mark; and bounds on a pressure.

Library conversions are not used because they take more than a number: "inf", "nan", "1e400",
digits of other scripts, thousands marks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.findings import shown
from bpvet.records.parsing.columns import constant, distinct_cells, each

# A float written out in full has up to 17 significant digits, and more decimals below 1.
_NUMBER = r"([0-9]{1,15})(?:([.,])([0-9]{1,40}))?"
PLAIN = re.compile(rf"([+-]?){_NUMBER}")
BOUND = re.compile(rf"(>=|<=|[<>≤≥])\s*{_NUMBER}")
_PLAIN = rf"^[+-]?{_NUMBER}$"
NO_SOUND = "no sound"
#: What is looked at more closely: other words and signs are no bound.
_LIKE_A_BOUND = r"(?is)^([<>≤≥]|no.*sound$)"
BOUND_WORDS = np.array(["", "at least", "at most", NO_SOUND], dtype=object)
_NO_SOUND = 3
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}([ '’,.][0-9]{3})+([.,][0-9]+)?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_SEVERAL = re.compile(r"[0-9.,]+(\s*[/;\s]\s*[0-9.,]+)+")
_WITH_UNIT = re.compile(r"([0-9.]+)\s*(mm\s?Hg|/min|bpm|cm)", re.IGNORECASE)
_NO_DIGIT = re.compile(r"[^0-9]*")
#: Letters that are typed or scanned for digits.
_LOOK_ALIKES = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5", "B": "8"})


@dataclass(frozen=True, eq=False)
class Numbers:
    """A column's cells as numbers.

    Parameters
    ----------
    value : array of float (n,)
        NaN where there is none.
    bound : array of int (n,)
        Index into `BOUND_WORDS`.
    bad : array of bool (n,)
        Cells that hold something else.
    point, comma, thousand : arrays of bool (n,)
        Cells with a decimal point; with a comma; with a comma before exactly three digits,
        which may be a thousands mark.
    """

    value: NDArray[np.float64]
    bound: NDArray[np.int8]
    bad: NDArray[np.bool_]
    point: NDArray[np.bool_]
    comma: NDArray[np.bool_]
    thousand: NDArray[np.bool_]


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
    value[plain], mark[plain] = _read(texts.filter(pa.array(plain)))
    bad = ~plain & _mask(pc.not_equal(texts, ""))
    if bounds and bad.any():
        likely = bad & _mask(pc.match_substring_regex(texts, _LIKE_A_BOUND))
        for i in np.flatnonzero(likely).tolist():
            found = _bound_of(texts[i].as_py())
            if found is not None and (sounds or found[1] != _NO_SOUND):
                value[i], bound[i], mark[i] = found
                bad[i] = False
    return Numbers(
        each(value, code),
        *(_of_cells(few, code) for few in (bound, bad, mark == 1, mark >= 2, mark == 3)),
    )


def _of_cells(few: NDArray[Any], code: NDArray[np.integer]) -> NDArray[Any]:
    """Return what was found of each cell's text (n,); not to be altered."""
    return each(few, code) if few.any() else constant(0, len(code), few.dtype)


def _read(texts: pa.Array) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    """Return plain numbers (m,) and their marks: 0 none, 1 a point, 2 a comma, 3 before three."""
    comma = _mask(pc.match_substring(texts, ","))
    mark = _mask(pc.match_substring(texts, ".")).astype(np.int8)
    mark[comma] = 2
    mark[comma & _mask(pc.match_substring_regex(texts, r",[0-9]{3}$"))] = 3
    bare = pc.utf8_ltrim(pc.replace_substring(texts, ",", "."), "+")
    return pc.cast(bare, pa.float64()).to_numpy(zero_copy_only=False), mark


def _bound_of(text: str) -> tuple[float, int, int] | None:
    """Return value, index into `BOUND_WORDS` and mark of a bound; None where it is none."""
    if " ".join(text.casefold().split()) == NO_SOUND:
        return np.nan, _NO_SOUND, 0
    match = BOUND.fullmatch(text)
    if match is None:
        return None
    _, whole, separator, rest = match.groups()
    mark = 0 if not separator else 1 if separator == "." else 3 if len(rest) == 3 else 2
    return float(f"{whole}.{rest or 0}"), 1 if text[0] in ">≥" else 2, mark


def _mask(found: pa.Array) -> NDArray[np.bool_]:
    mask: NDArray[np.bool_] = found.to_numpy(zero_copy_only=False)
    return mask


def why_not_a_number(text: str) -> str:
    """Return what is wrong with a cell that is no number, without the outcome.

    Examples
    --------
    >>> why_not_a_number("16O")
    '"16O" is not a number.'
    """
    if _THOUSANDS.fullmatch(text):
        return f"{shown(text)} holds a mark that may be a thousands mark or a decimal mark."
    if _COMMA.fullmatch(text):
        return f"{shown(text)} has a decimal comma, and other cells of the column do not."
    if _SEVERAL.fullmatch(text):
        return f"{shown(text)} holds several numbers."
    return f"{shown(text)} is not a number."


def number_mend(text: str) -> str:
    """Return what can be done about a cell that is no number."""
    alike = text.translate(_LOOK_ALIKES)
    if alike != text and PLAIN.fullmatch(alike):
        return f"Are letters typed for digits? If it is {alike}, write {alike}."
    unit = _WITH_UNIT.fullmatch(text)
    if unit:
        return f"Write the number alone: {unit.group(1)}."
    if _NO_DIGIT.fullmatch(text):
        return "Write a number in the digits 0 to 9, or leave the cell blank."
    return "Write one number in the digits 0 to 9 with a decimal point, or leave the cell blank."
