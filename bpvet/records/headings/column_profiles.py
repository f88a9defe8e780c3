"""What the cells of a column look like, whatever its heading says."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.facts.words import METHODS, SPECIES
from bpvet.frozen import dataclass
from bpvet.reasons import reason
from bpvet.records.cells import TEXT
from bpvet.records.findings import shown
from bpvet.records.formats.chart_lines import read_chart_lines
from bpvet.records.headings.near_names import either
from bpvet.records.parsing.columns import distinct, trimmed, uncoded
from bpvet.records.parsing.dates import moments

#: Rows at the top of each file that are looked at.
_LOOKED_AT = 5000
#: Most of the cells: enough to say what a column is.
_MOST = 0.8
_LIST = r"^[0-9]{2,3}(?:\s*[/;]\s*[0-9]{2,3}){1,20}$"
_NUMBER = r"(?i)^(?:[<>≤≥]?=?\s*[0-9]{1,5}(?:[.,][0-9]+)?|no sound)$"
#: Half of the cells: enough for a column whose heading says that it holds numbers.
_HALF = 0.5


@dataclass(frozen=True)
class ColumnProfile:
    """What a column's cells look like, and that in words."""

    kind: str
    words: str
    cells: pa.Array


def column_profile(cells: pa.Array) -> ColumnProfile:
    plain = trimmed(uncoded(cells.slice(0, _LOOKED_AT))).cast(TEXT)
    filled = plain.filter(pc.not_equal(plain, ""))
    if len(filled) == 0:
        return ColumnProfile("blank", "", filled)
    if read_chart_lines(filled).readable.mean() >= _MOST:
        return ColumnProfile("chart lines", reason("profile.chart_lines"), filled)
    dated = ~np.isnat(moments(filled, True, "dmy").date) | ~np.isnat(
        moments(filled, True, "mdy").date
    )
    if (dated | ~np.isnat(moments(filled, True, "ymd").date)).mean() >= _MOST:
        return ColumnProfile(
            "dates", reason("profile.dates", such_as=shown(filled[0].as_py())), filled
        )
    for kind, words, pattern in (
        ("numbers", "profile.numbers", _NUMBER),
        ("lists", "profile.lists", _LIST),
    ):
        if pc.mean(pc.match_substring_regex(filled, pattern)).as_py() >= _HALF:
            return ColumnProfile(kind, reason(words, such_as=shown(filled[0].as_py())), filled)
    texts, code = distinct(filled)
    counts = np.bincount(code)
    for kind, ours in (("methods", METHODS), ("species", SPECIES)):
        known = np.array([text.casefold() in ours for text in texts])
        if counts[known].sum() >= _MOST * len(filled):
            met = [text for text, fits in zip(texts, known, strict=True) if fits][:3]
            return ColumnProfile(kind, either(met), filled)
    return ColumnProfile("text", "", filled)


def fit(kind: str, name: str, profile: ColumnProfile) -> int:
    """Return 1 if the cells look like it, −1 if they cannot be it, 0 if nothing is known."""
    if profile.kind == "blank":
        return 0
    if kind in ("date", "moment"):
        return 1 if profile.kind == "dates" else -1
    if kind == "quantity":
        return 1 if profile.kind in ("numbers", "lists") else -1
    if name == "method":
        return 1 if profile.kind == "methods" else 0 if profile.kind == "text" else -1
    if name == "species":
        return 1 if profile.kind == "species" else 0
    if kind == "number":
        return 1 if profile.kind == "numbers" else -1
    return -1 if profile.kind == "dates" else 0
