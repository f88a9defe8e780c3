"""One file's text to rows and columns of text, with the line on which each row starts.

A file whose quotation marks are sound goes through a fast parser. One whose marks are not goes
through a slow one, which sets aside the lines that cannot be read and goes on with the next.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
from numpy.typing import NDArray

from bpvet.frozen import dataclass, replace
from bpvet.reasons import reason
from bpvet.records.formats.blocks import Blocks
from bpvet.records.formats.gathered_columns import GatheredColumn
from bpvet.records.formats.whole_numbers import (
    MOST_WHOLE,
    WHOLE,
    NotWholeError,
    WholeColumn,
    holds_whole_numbers,
    letters_of,
)
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.columns import CODED, TEXT, is_blank, repeats, uncoded, which
from bpvet.records.parsing.quotation_marks import (
    LINE_BREAK,
    LONGEST_CELL,
    marks_are_sound,
    records_of_text,
)

#: Bytes that are parsed at once; a row that is longer is left to the slow reader. Small blocks are
#: faster, and rows without quotation marks are hardly ever as long.
_BLOCK, _UNQUOTED_BLOCK = 1 << 24, 1 << 22
#: Bytes at the top by which it is told which columns repeat their texts.
_TOP = 1 << 20


#: Rows that do not fit the header, more than half of all so far, after which a file is given up.
MOST_BROKEN = 100_000


class MostlyBrokenError(Exception):
    """Most of many rows do not fit the header; the reading has stopped.

    Parameters
    ----------
    broken, rows : int
        How many do not fit, of how many that were looked at.
    why : str
        What is wrong with the last of them.
    """

    def __init__(self, broken: int, rows: int, why: str) -> None:
        super().__init__(broken, rows, why)
        self.broken, self.rows, self.why = broken, rows, why


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of a file, the header apart.

    Parameters
    ----------
    header : tuple of str
        The first row that is not blank.
    header_line : int
        Its line.
    columns : tuple of pyarrow arrays of text (n,)
        The cells; "" throughout in a broken row.
    lines : array of int (n,)
        Line on which each row starts.
    broken : dict of int to (str, str)
        Rows that do not fit the header: their text, and what is wrong.
    blank : tuple of int
        Lines of the rows that hold separators and nothing else. Empty lines are not counted.
    """

    header: tuple[str, ...]
    header_line: int
    columns: tuple[pa.Array, ...]
    lines: NDArray[np.integer]
    broken: dict[int, tuple[str, str]]
    blank: tuple[int, ...]


def rows_of(text: bytes, separator: str) -> Rows:
    """Return the rows of a file.

    Parameters
    ----------
    text : bytes
        UTF-8 without a mark, not blank.
    separator : str
        One character.

    Raises
    ------
    MostlyBrokenError
        The file is not the table that its header says.
    """
    before = re.match(rb"[\r\n]*", text)
    start = before.end() if before else 0
    skipped = len(re.findall(LINE_BREAK.encode(), text[:start]))
    body = text[start:]
    if not body.endswith((b"\n", b"\r")):
        body += b"\n"
    try:
        rows = _fast(body, separator)
    except pa.ArrowInvalid:
        # Stray quotation marks, or a row longer than the parser's block.
        rows = _slow(body.decode("utf-8"), separator)
    return _without_blank(rows, lambda lines: _with_separators(lines, body, separator), skipped)


def rows_of_blocks(blocks: Blocks, start: int, separator: str, quoted: bool, whole: bool) -> Rows:
    """Return the rows of a text that is read a block at a time.

    Parameters
    ----------
    blocks : Blocks
        Of which nothing but the top is read.
    start : int
        Place of the header in the top.
    separator : str
        One character.
    quoted : bool
        Whether there are quotation marks in it.
    whole : bool
        Whether columns that seem to hold whole numbers are read as such; of a text without marks.

    Raises
    ------
    pyarrow.ArrowInvalid, NotPlainError
        The whole text is needed.
    NotWholeError
        Such a column holds something else too.
    MostlyBrokenError
        As in `rows_of`.
    """
    text = blocks.top[start:]
    if text.startswith((b"\n", b"\r")):
        raise pa.ArrowInvalid("empty lines above the header")
    if quoted:
        blocks.skip(start)
        blocks.check_marks(separator)
        rows = _quoted(pa.PythonFile(blocks, "r"), text, separator)
        return _without_blank(rows, _refuse_blank, 0)
    header, end = _first_line(text, separator)
    blocks.skip(start + end)
    top = _top(memoryview(text)[end:])
    whole = whole and len(header) <= MOST_WHOLE
    rows = _unquoted(header, pa.PythonFile(blocks, "r"), top, separator, whole)
    if whole:
        # A line that ends with two letters has more of them.
        marks = len(header) * len(rows.lines)
        if letters_of(rows.columns) + marks != blocks.given:
            raise NotWholeError
    return _without_blank(rows, _refuse_blank, 0)


def _refuse_blank(_: NDArray[np.integer]) -> tuple[int, ...]:
    raise pa.ArrowInvalid("which of the blank rows hold separators is not known")


def _fast(text: bytes, separator: str) -> Rows:
    """Return the rows of a text that ends with a line break, blank ones among them.

    Raises
    ------
    pyarrow.ArrowInvalid
        The quotation marks are not sound, or a row is longer than the parser's block.
    """
    if b'"' not in text:
        header, end = _first_line(text, separator)
        rest = memoryview(text)[end:]
        if not rest:
            none = tuple(text_column([]) for _ in header)
            return Rows(header, 1, none, np.zeros(0, dtype=np.int64), {}, ())
        return _unquoted(header, pa.BufferReader(rest), _top(rest), separator)
    if not marks_are_sound(text, separator):
        raise pa.ArrowInvalid("stray quotation marks")
    return _quoted(pa.BufferReader(text), text, separator)


def _first_line(text: bytes, separator: str) -> tuple[tuple[str, ...], int]:
    """Return the cells of the first line, which has no quotation mark, and where the next begins.

    The header is no row, so that its words are not among the texts of its columns.
    """
    found = re.search(LINE_BREAK.encode(), text)
    if found is None:
        raise pa.ArrowInvalid("no line ends")
    return tuple(text[: found.start()].decode("utf-8").split(separator)), found.end()


def _top(text: memoryview) -> bytes:
    """Return the lines at the top by which it is told which columns repeat their texts."""
    top = bytes(text[: _TOP + LONGEST_CELL])
    return top if len(top) == len(text) else top[: max(top.rfind(b"\n"), top.rfind(b"\r")) + 1]


def _unquoted(
    header: tuple[str, ...], rest: pa.NativeFile, top: bytes, separator: str, whole: bool = False
) -> Rows:
    """Return the rows of a text without quotation marks: each row is a line.

    Parameters
    ----------
    header : tuple of str
        The cells of the first line.
    rest : file
        The text after it, which ends with a line break.
    top : bytes
        The beginning of that text.
    separator : str
        One character.
    whole : bool
        As in `rows_of_blocks`.
    """
    names = [f"f{i}" for i in range(len(header))]
    columns, n, bad = _columns(rest, top, separator, names, above=1, quoted=False, whole=whole)
    # Four bytes tell any line of a file that is held in memory.
    lines = np.arange(2, n + 2, dtype=np.int32)
    return Rows(header, 1, columns, lines, _misfits(bad, len(names)), ())


def _quoted(source: pa.NativeFile, text: bytes, separator: str) -> Rows:
    """Return the rows of a text with sound quotation marks: a row may go over several lines.

    Parameters
    ----------
    source : file
        The text.
    text : bytes
        It, or its beginning.
    separator : str
        One character.
    """
    # Placeholder names, one for each field of the first row.
    begin = text[: 10 * LONGEST_CELL].decode("utf-8", "ignore")
    fields = next(records_of_text(begin, separator))[1]
    names = [f"f{i}" for i in range(len(fields or [""]))]
    columns, n, bad = _columns(
        source, _top(memoryview(text)), separator, names, above=0, quoted=True
    )
    breaks = np.ones(n, dtype=np.int64)
    for column in columns:
        if which(column, lambda cells: pc.match_substring_regex(cells, LINE_BREAK)).any():
            found = pc.count_substring_regex(uncoded(column), LINE_BREAK)
            breaks += numpy_of(found)
    for number, _, row in bad:
        breaks[number] += len(re.findall(LINE_BREAK, row.rstrip("\r\n")))
    lines = np.concatenate([[1], 1 + np.cumsum(breaks)[:-1]]).astype(np.int32)
    return _header_off(columns, lines, _misfits(bad, len(names)))


def _header_off(
    columns: tuple[pa.Array, ...], lines: NDArray[np.integer], broken: dict[int, tuple[str, str]]
) -> Rows:
    """Return the rows of which the first is the header."""
    header = tuple(column[0].as_py() for column in columns)
    rest = tuple(column.slice(1) for column in columns)
    moved = {row - 1: why for row, why in broken.items() if row > 0}
    return Rows(header, int(lines[0]), rest, lines[1:], moved, ())


def _misfits(bad: list[tuple[int, int, str]], width: int) -> dict[int, tuple[str, str]]:
    """Return the broken rows by number: the text, and what is wrong."""
    misfit = {fields: _misfit(fields, width) for fields in {fields for _, fields, _ in bad}}
    return {number: (row, misfit[fields]) for number, fields, row in bad if row.strip()}


def _columns(
    source: pa.NativeFile,
    top: bytes,
    separator: str,
    names: list[str],
    *,
    above: int,
    quoted: bool,
    whole: bool = False,
) -> tuple[tuple[pa.Array, ...], int, list[tuple[int, int, str]]]:
    """Return the columns, how many rows they have, and the rows that do not fit.

    Parameters
    ----------
    source : file
        The rows.
    top : bytes
        The first of them, by which it is told which columns repeat their texts.
    separator : str
        One character.
    names : list of str
        One for each column.
    above : int
        How many rows of the file stand above these.
    quoted : bool
        Whether there are quotation marks.
    whole : bool
        As in `rows_of_blocks`.

    Returns
    -------
    tuple of arrays of text (n,), int, list of (int, int, str)
        The rows that do not fit, as (number, fields, text), are blank in the columns.
    """
    kinds = _kinds(top, separator, names, quoted, whole)
    columns, bad = _parsed(source, separator, names, kinds, above, quoted)
    n = len(columns[0]) + len(bad)
    if bad:
        # The columns get an empty cell at the number of each bad row.
        missing = np.zeros(n, bool)
        missing[[number for number, _, _ in bad]] = True
        stands = np.cumsum(~missing) - 1
        # One cell more, which is empty.
        index = arrow_of(np.where(missing, len(columns[0]), stands))
        columns = [
            pc.coalesce(
                pa.concat_arrays([uncoded(column).cast(TEXT), text_column([""])]), scalar_of("")
            ).take(index)
            for column in columns
        ]
    return tuple(columns), n, bad


def _kinds(
    top: bytes, separator: str, names: list[str], quoted: bool, whole: bool
) -> list[pa.DataType]:
    """Return for each column whether it is kept as text or, if its texts repeat, as codes.

    Those that repeat and seem to be whole numbers are read as such if `whole`.
    """
    try:
        columns, _ = _parsed(pa.BufferReader(top), separator, names, [TEXT] * len(names), 0, quoted)
    except pa.ArrowInvalid:
        # The top ends in a quoted cell.
        return [TEXT] * len(names)
    return [
        TEXT if not repeats(column) else WHOLE if whole and holds_whole_numbers(column) else CODED
        for column in columns
    ]


def _parsed(
    source: pa.NativeFile,
    separator: str,
    names: list[str],
    kinds: list[pa.DataType],
    above: int,
    quoted: bool,
) -> tuple[list[pa.Array], list[tuple[int, int, str]]]:
    """Return the rows that have a field for each name; of the others, (number, fields, text).

    Parameters are as in `_columns`; `kinds` says how each column is kept.
    """
    bad: list[tuple[int, int, str]] = []

    def note(row: pa.csv.InvalidRow) -> str:
        bad.append((row.number - 1, row.actual_columns, row.text))
        # What this raises would be printed, and not end the parsing.
        return "error" if _given_up(len(bad), row.number + above) else "skip"

    gathered = [WholeColumn() if kind == WHOLE else GatheredColumn() for kind in kinds]
    try:
        for batch in _batches(
            source, separator, dict(zip(names, kinds, strict=True)), note, quoted
        ):
            if bad and WHOLE in kinds:
                break
            for column, cells in zip(gathered, batch.columns, strict=True):
                column.add(cells)
    except pa.ArrowInvalid:
        if bad and _given_up(len(bad), bad[-1][0] + 1 + above):
            why = _misfit(bad[-1][1], len(names))
            raise MostlyBrokenError(len(bad), bad[-1][0] + 1 + above, why) from None
        if WHOLE in kinds:
            raise NotWholeError from None
        raise
    if bad and WHOLE in kinds:
        # A short row has letters to spare, which would hide those of a number that has too many.
        raise NotWholeError
    # One at a time, so that no two whole copies are held.
    columns = [column.taken() for column in gathered]
    pa.default_memory_pool().release_unused()
    return columns, bad


def _given_up(broken: int, rows: int) -> bool:
    return broken >= MOST_BROKEN and 2 * broken > rows


def _batches(
    source: pa.NativeFile,
    separator: str,
    kinds: dict[str, pa.DataType],
    note: Callable[[pa.csv.InvalidRow], str],
    quoted: bool,
) -> Iterator[pa.RecordBatch]:
    """Yield the rows that have a field for each of the columns, a block of the text at a time."""
    yield from pa.csv.open_csv(
        source,
        # One thread: only then are the numbers of the rows known.
        read_options=pa.csv.ReadOptions(
            use_threads=False,
            block_size=_BLOCK if quoted else _UNQUOTED_BLOCK,
            column_names=list(kinds),
        ),
        parse_options=pa.csv.ParseOptions(
            delimiter=separator,
            quote_char='"' if quoted else False,
            newlines_in_values=quoted,
            ignore_empty_lines=False,
            invalid_row_handler=note,
        ),
        convert_options=pa.csv.ConvertOptions(
            strings_can_be_null=False,
            quoted_strings_can_be_null=False,
            check_utf8=False,
            column_types=kinds,
            # Of numbers: a text is none.
            null_values=[""],
        ),
    )


def _misfit(fields: int, width: int) -> str:
    return reason("row.one_field" if fields == 1 else "row.fields", fields=fields, width=width)


def _slow(text: str, separator: str) -> Rows:
    """Do what `_quoted` does, one record at a time, for a file with stray quotation marks."""
    lines: list[int] = []
    rows: list[list[str]] = []
    broken: dict[int, tuple[str, str]] = {}
    width = 0
    for line, fields, raw in records_of_text(text, separator):
        width = width or len(fields or [""])
        if fields is None:
            broken[len(rows)] = (raw, reason("row.quotation"))
        elif len(fields) != width and raw.strip():
            broken[len(rows)] = (raw, _misfit(len(fields), width))
        if _given_up(len(broken), len(rows) + 1):
            raise MostlyBrokenError(len(broken), len(rows) + 1, broken[max(broken)][1])
        fits = fields is not None and len(fields) == width
        rows.append(fields if fits and fields is not None else [""] * width)
        lines.append(line)
    columns = tuple(text_column(cells) for cells in zip(*rows, strict=True))
    return _header_off(columns, np.array(lines, dtype=np.int64), broken)


def _without_blank(
    rows: Rows, with_separators: Callable[[NDArray[np.integer]], tuple[int, ...]], skipped: int
) -> Rows:
    """Return rows without those that hold nothing.

    Parameters
    ----------
    rows : Rows
        All that stand below the header.
    with_separators : function of lines (k,)
        Gives those of some lines, of rows that hold nothing, that are not simply empty.
    skipped : int
        Empty lines above the header.
    """
    empty = np.ones(len(rows.lines), bool)
    for column in rows.columns:
        if not empty.any():
            break
        empty &= is_blank(column)
    empty[list(rows.broken)] = False
    lines = rows.lines + skipped if skipped else rows.lines
    header_line = rows.header_line + skipped
    if not empty.any():
        return replace(rows, header_line=header_line, lines=lines)
    found = with_separators(rows.lines[empty]) if len(rows.header) > 1 else ()
    index = np.flatnonzero(~empty)
    new = np.cumsum(~empty) - 1
    return Rows(
        rows.header,
        header_line,
        tuple(column.take(arrow_of(index)) for column in rows.columns),
        lines[index],
        {int(new[row]): why for row, why in rows.broken.items()},
        tuple(line + skipped for line in found),
    )


def _with_separators(lines: NDArray[np.integer], body: bytes, separator: str) -> tuple[int, ...]:
    """Return those of the `lines` (of rows that hold nothing) that are not simply empty."""
    text = re.split(LINE_BREAK.encode(), body)
    mark = separator.encode()
    return tuple(int(line) for line in lines if mark in text[line - 1])
