"""The values of a sheet's rows as columns of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import chain, compress, repeat
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.reasons import reason
from bpvet.records.cells import TEXT, cell_text, falsehood
from bpvet.records.formats.workbook import values as workbook_values
from bpvet.records.formats.workbook.oddities import Oddities
from bpvet.records.formats.workbook.values import Block, TooWide
from bpvet.records.parsing.columns import blanks, uncoded
from bpvet.records.tables import column_named

_BLANK = {None, ""}


def sheet_columns(
    blocks: Iterable[Block], header: Sequence[str], odd: Oddities
) -> tuple[tuple[pa.Array, ...], NDArray[np.int64]]:
    """Return the cells below the header as columns of text (n,), and their lines (n,).

    Parameters
    ----------
    blocks : iterable of Block
        The rows below the header.
    header : sequence of str
        The headings; there is a column for each, and more where rows are longer.
    odd : Oddities
        A reading does not count while the formula that says so has no value.

    Raises
    ------
    TooWide
        If the columns hold too many cells, blank ones included.
    """
    uncounted = [i for i, head in enumerate(header) if column_named("readings", head) == "excluded"]
    unsaid = {cell for cell in odd.without_value if cell[1] - 1 in uncounted}
    false = [falsehood(head) for head in header]
    read: list[list[pa.Array]] = []
    lines = [np.zeros(0, dtype=np.int64)]
    rows, width = 0, len(header)
    for here, columns in blocks:
        while len(columns) > len(header) and set(columns[-1]) <= _BLANK:
            columns.pop()
        columns += [("",) * len(here)] * (len(header) - len(columns))
        filled = _filled(columns, len(here))
        if not any(filled):
            continue
        if not all(filled):
            here = list(compress(here, filled))
            columns = [tuple(compress(cells, filled)) for cells in columns]
        nothing = pa.array([""] * len(here), TEXT)
        texts = [
            nothing if cells.count("") == len(cells) else pa.array(column_texts(cells, no), TEXT)
            for cells, no in zip(columns, chain(false, repeat("no")), strict=False)
        ]
        for i in uncounted if unsaid else ():
            # A reading does not count while the formula that says so has no value.
            without = pa.array([(number, i + 1) in unsaid for number in here])
            texts[i] = pc.if_else(without, str(reason("workbook.no_value")), texts[i])
        line = np.array(here, dtype=np.int64)
        rows, width = rows + len(line), max(width, len(texts))
        if width * rows > workbook_values.MOST_CELLS:
            raise TooWide
        lines.append(line)
        read.append(texts)
    parts = (
        [block[i] if i < len(block) else uncoded(blanks(len(block[0]))) for block in read if block]
        for i in range(width)
    )
    joined = tuple(pa.concat_arrays([pa.array([], TEXT), *cells_of]) for cells_of in parts)
    return joined, np.concatenate(lines)


def _filled(columns: Sequence[Sequence[Any]], rows: int) -> list[bool]:
    """Return which of some rows are not blank."""
    blank = list(range(rows))
    for cells in columns:
        if cells.count("") < rows:
            blank = [i for i in blank if cells[i] is None or cells[i] == ""]
        if not blank:
            break
    filled = [True] * rows
    for i in blank:
        filled[i] = False
    return filled


def column_texts(cells: Sequence[Any], false: str) -> Sequence[str]:
    """Return the texts (n,) of a column's values, each as `cell_text` gives it.

    Each different value is looked at once.

    Examples
    --------
    >>> column_texts([152.0, "", True], "no")
    ['152', '', 'yes']
    """
    kinds = set(map(type, cells))
    if kinds == {str}:
        return cells
    if len(kinds & {bool, int, float}) > 1:
        # One value may equal another of another kind, whose text is not the same.
        return [cell_text(cell, false) for cell in cells]
    distinct = set(cells)
    moments = [cell for cell in distinct if type(cell) is datetime]
    text_of = dict(zip(moments, moment_texts(moments), strict=True))
    for cell in distinct.difference(moments):
        # Zero has one text, whatever its sign.
        text_of[cell] = cell_text(cell + 0.0 if isinstance(cell, float) else cell, false)
    return [text_of[cell] for cell in cells]


def moment_texts(moments: Sequence[datetime]) -> list[str]:
    """Return the texts (n,) of dates with times, each as `cell_text` gives it.

    Examples
    --------
    >>> moment_texts([datetime(2026, 3, 1, 10, 30), datetime(2026, 3, 1)])
    ['2026-03-01T10:30:00', '2026-03-01']
    """
    exact = pa.array(moments, pa.timestamp("us")).to_numpy()
    seconds = exact.astype("datetime64[s]")
    texts: list[str] = np.datetime_as_string(seconds).tolist()
    uneven = (seconds != exact) | (seconds == exact.astype("datetime64[D]"))
    for i in np.flatnonzero(uneven).tolist():
        texts[i] = cell_text(moments[i])
    return texts
