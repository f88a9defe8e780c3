"""Findings that say the same put together: the first few of each kind, and how many there are.

Whoever reads a check wants the first cases of each kind. So no more findings are worded than it
takes to find these, however many there are: equal cells of a column are counted as what they are.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.checks.row_findings import Findings, RowFindings
from bpvet.records.findings import Finding
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of
from bpvet.records.parsing.columns import distinct_cells

G = TypeVar("G", bound=Hashable)

#: Different cells, or rows, of a kind that are worded to find those that say the same.
_WORDED = 2000


@dataclass(frozen=True, eq=False)
class GroupedFindings:
    """Findings that say the same of several lines of a file.

    Parameters
    ----------
    first : Finding
        The first of them.
    lines : array of int (k,)
        Their lines, in order; empty where it is the whole file.
    many : int
        How many they are.
    """

    first: Finding
    lines: NDArray[np.int64]
    many: int


@dataclass(frozen=True, eq=False)
class OfKind:
    """The findings of one kind.

    Parameters
    ----------
    shown : tuple of GroupedFindings
        The first that differ, in the order of the findings.
    many : int
        How many findings of this kind there are.
    """

    shown: tuple[GroupedFindings, ...]
    many: int

    @property
    def rest(self) -> int:
        """How many are not among those shown."""
        return self.many - sum(group.many for group in self.shown)


def by_kind(
    findings: Findings, group_of: Callable[[Finding], G], most: int | None
) -> dict[G, list[OfKind]]:
    """Return the first findings of each kind, in groups.

    Parameters
    ----------
    findings : Findings
    group_of : function of a Finding
        Its group. What was found of many rows at once is in the group of the first of them.
    most : int or None
        How many that differ are looked for in each kind; None for all.

    Returns
    -------
    dict of group to list of OfKind
        Kinds in the order in which they are met.
    """
    number: dict[tuple[G, str], int] = {}
    of_block = np.zeros(len(findings.reported), dtype=np.int64)
    for i in np.unique(findings.of).tolist():
        block = findings.reported[i]
        first = block if isinstance(block, Finding) else block.finding(0)
        of_block[i] = number.setdefault((group_of(first), block.kind), len(number))
    bucket = of_block[findings.of]
    order = np.argsort(bucket, kind="stable")
    ends = np.cumsum(np.bincount(bucket, minlength=len(number)))
    places = dict(zip(number, np.split(order, ends[:-1]), strict=False)) if number else {}
    groups: dict[G, list[OfKind]] = {}
    for group, kind in sorted(places, key=lambda key: int(places[key][0])):
        at = places[group, kind]
        groups.setdefault(group, []).append(OfKind(_shown(findings, at, most), len(at)))
    return groups


def _shown(
    findings: Findings, places: NDArray[np.int64], most: int | None
) -> tuple[GroupedFindings, ...]:
    """Return the first findings (of the n places) that differ, each with all that say the same."""
    key = _keys(findings, places, few=most is not None)
    places, key = places[key >= 0], key[key >= 0]
    firsts, of_key = _in_order(key)
    worded = firsts if most is None else firsts[:_WORDED]
    same: dict[tuple[str, str, str, str], list[int]] = {}
    first: list[Finding] = []
    for i, finding in enumerate(findings.some(places[worded])):
        text = (finding.file, finding.column, *finding.words[:2])
        if text not in same:
            first.append(finding)
        same.setdefault(text, []).append(i)
    if most is not None:
        first = first[:most]
    group_of_key = np.full(len(firsts), len(first), dtype=np.int64)
    for i, keys in enumerate(list(same.values())[: len(first)]):
        group_of_key[keys] = i
    of = group_of_key[of_key]
    order = np.argsort(of, kind="stable")
    parts = np.split(order, np.cumsum(np.bincount(of, minlength=len(first) + 1))[:-1])
    shown = []
    for finding, at_block in zip(first, parts, strict=False):
        lines = (
            np.zeros(0, dtype=np.int64)
            if finding.line is None
            else findings.lines(places[at_block])
        )
        shown.append(GroupedFindings(finding, lines, len(at_block)))
    return tuple(shown)


def _keys(findings: Findings, places: NDArray[np.int64], few: bool) -> NDArray[np.int64]:
    """Return a number for each place (n,), equal only where the findings say the same.

    Where a few are enough, -1 marks findings that say something else than the first of them.
    """
    of, at = findings.of[places], findings.at[places]
    key = np.full(len(places), -1, dtype=np.int64)
    order = np.argsort(of, kind="stable")
    base = 0
    for at_block in np.split(order, np.flatnonzero(np.diff(of[order])) + 1):
        block = findings.reported[of[at_block[0]]]
        if isinstance(block, Finding):
            key[at_block] = base
            base += 1
        else:
            keys = _row_keys(block, at[at_block], few)
            key[at_block] = np.where(keys < 0, -1, keys + base)
            base += int(keys.max()) + 1
    return key


def _row_keys(found: RowFindings, at: NDArray[np.integer], few: bool) -> NDArray[np.int64]:
    rows = found.rows[at]
    if found.by_row:
        key = np.arange(len(rows), dtype=np.int64)
        if few:
            key[_WORDED:] = -1
        return key
    key = found.places.file[rows].astype(np.int64)
    if found.column and found.places.own_headings(found.column):
        headings: dict[str, int] = {}
        names = found.places.headings(found.column, rows)
        each = [headings.setdefault(name, len(headings)) for name in names]
        key = key * len(headings) + np.array(each, dtype=np.int64)
    if not found.by_cell:
        return key
    many, code = _cell_codes(found.places.raw(found.column).take(arrow_of(rows)), few)
    return np.where(code < 0, -1, key * many + code)


def _cell_codes(cells: pa.Array, few: bool) -> tuple[int, NDArray[np.int64]]:
    """Return how many cells are told apart, and which of these each (n,) is; -1 for none."""
    sample = cells.slice(0, 4 * _WORDED)
    if few and len(sample) < len(cells) and not pa.types.is_dictionary(cells.type):
        texts = pc.unique(sample)
        if len(texts) >= _WORDED:
            # Most of them differ: to number them all would cost more than all else.
            code = numpy_of(pc.coalesce(pc.index_in(cells, texts), scalar_of(-1)))
            return len(texts), code.astype(np.int64)
    texts, index = distinct_cells(cells)
    return max(len(texts), 1), index.astype(np.int64)


def _in_order(key: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where each different key is first met (k,), in order, and each place's key (n,)."""
    _, first, of = np.unique(key, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return first[order], rank[of]
