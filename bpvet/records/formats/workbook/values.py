"""The values of a workbook's sheets, row by row.

Workbooks in the usual form are read by python-calamine, which holds a sheet at a time. It and the
look at the parts must see the same cells, and it must hold no more than they were found to hold;
so whatever is unusual in a workbook, or anything that it cannot read, is left to openpyxl, which
goes through a sheet cell by cell.
"""

from __future__ import annotations

import io
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, zip_longest
from typing import Any

from bpvet.garbage import garbage_waits
from bpvet.records.formats.workbook.archive import Parts
from bpvet.records.formats.workbook.names import RELATIONS, WORKBOOK, named_sheets
from bpvet.records.formats.workbook.oddities import Oddities, Reach
from bpvet.records.formats.workbook.tags import Unusual

#: Cells that a sheet may have, the blank ones between its corners included.
MOST_CELLS = 20_000_000
#: Cells of all sheets that are held from a first look until they are read.
_MOST_HELD = 4_000_000

_ROWS_IN_BLOCK, _CELLS_IN_BLOCK = 10_000, 2_000_000

#: A row that is not blank: its number, and its cells up to the last that is not blank.
Row = tuple[int, list[Any]]
#: Rows by columns: their numbers, and the cells of each column.
Block = tuple[Sequence[int], list[Sequence[Any]]]


class TooWide(Exception):
    """A sheet has more cells between its corners than are read."""


@dataclass(eq=False)
class Sheet(ABC):
    """A sheet of cells."""

    title: str
    hidden: bool
    odd: Oddities

    @abstractmethod
    def rows(self) -> Iterator[Row]:
        """Yield the rows that are not blank, from the first."""

    @abstractmethod
    def blocks(self, after: int) -> Iterator[Block]:
        """Yield the rows below a line, many at once; blank ones and columns may be among them."""


def usual_sheets(data: bytes, parts: Parts) -> list[Sheet]:
    """Return the sheets of a workbook in the usual form.

    Raises
    ------
    Unusual
        If it is not, or cannot be read; reading its rows may raise that as well.
    TooWide
        If a sheet has too many cells between its corners; this too may come with its rows.
    """
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    if not parts.usual:
        raise Unusual
    named = named_sheets(parts.kept[WORKBOOK], parts.kept[RELATIONS])
    book = _called(CalamineWorkbook.from_filelike, io.BytesIO(data))
    found = book.sheets_metadata
    if [metadata.title for metadata in named] != [metadata.name for metadata in found]:
        raise Unusual
    sheets: list[Sheet] = []
    cells = 0
    for name, metadata in zip(named, found, strict=True):
        if name.is_cells != (metadata.typ == SheetTypeEnum.WorkSheet):
            raise Unusual
        if not name.is_cells:
            continue
        reach = parts.reaches.get(name.path)
        if reach is None:
            raise Unusual
        cells += reach.rows * reach.columns
        hidden = metadata.visible != SheetVisibleEnum.Visible
        odd = parts.oddities[name.path]
        sheets.append(_Usual(name.title, hidden, odd, reach, book, cells <= _MOST_HELD))
    return sheets


@dataclass(eq=False)
class _Usual(Sheet):
    """A sheet whose values python-calamine reads."""

    reach: Reach
    book: Any
    keeps: bool
    kept: Any = None

    def rows(self) -> Iterator[Row]:
        """Yield the rows that are not blank, from the first."""
        for lines, columns in self.blocks(0):
            for line, values in zip(lines, zip(*columns, strict=True), strict=True):
                cells = list(values)
                while cells and cells[-1] == "":
                    cells.pop()
                if cells:
                    yield line, cells

    def blocks(self, after: int) -> Iterator[Block]:
        """Yield the rows below a line, many at once; blank ones and columns may be among them."""
        if self.reach.rows * self.reach.columns > MOST_CELLS:
            raise TooWide
        sheet = self.kept or _called(self.book.get_sheet_by_name, self.title)
        if self.keeps:
            self.kept = sheet
        if sheet.start is None:
            return
        # Columns before the first that is used do not come; rows above the first one do.
        before = sheet.start[1]
        rows = islice(_called(sheet.iter_rows), after, None)
        many = min(_ROWS_IN_BLOCK, max(_CELLS_IN_BLOCK // max(self.reach.columns, 1), 1))
        errors = self.reach.errors_from(after + 1)
        error = next(errors, None)
        while True:
            # The collector would look through the many lists, which doubles the time.
            with garbage_waits():
                block = _called(list, islice(rows, many))
                lines = range(after + 1, after + 1 + len(block))
                while error and error[0] in lines:
                    block[error[0] - lines[0]][error[1] - 1 - before] = error[2]
                    error = next(errors, None)
                columns: list[Sequence[Any]] = [("",) * len(block)] * before
                columns += zip(*block, strict=True)
            if not block:
                return
            yield lines, columns
            after = lines[-1]


def _called(call: Any, *given: Any) -> Any:
    """Return what a function of the library returns; whatever goes wrong in it is Unusual."""
    try:
        return call(*given)
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException:
        # A panic of the library is no Exception.
        raise Unusual from None


def unusual_sheets(data: bytes, parts: Parts) -> Sequence[Sheet]:
    """Return the sheets of a workbook that is not in the usual form, by openpyxl."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    return [
        _Unusual(
            sheet.title,
            sheet.sheet_state != "visible",
            parts.oddities.get(getattr(sheet, "_worksheet_path", ""), Oddities()),
            sheet,
        )
        for sheet in book.worksheets
    ]


@dataclass(eq=False)
class _Unusual(Sheet):
    """A sheet whose values openpyxl reads."""

    sheet: Any

    def rows(self) -> Iterator[Row]:
        """Yield the rows that are not blank, from the first."""
        # What the sheet says of its own size is a claim.
        self.sheet.reset_dimensions()
        kept = 0
        for line, values in enumerate(self.sheet.iter_rows(values_only=True), start=1):
            cells = list(values)
            while cells and (cells[-1] is None or cells[-1] == ""):
                cells.pop()
            kept += len(cells)
            if kept > MOST_CELLS:
                raise TooWide
            if cells:
                yield line, cells

    def blocks(self, after: int) -> Iterator[Block]:
        """Yield the rows below a line, many at once; blank ones are not among them."""
        rows = (row for row in self.rows() if row[0] > after)
        while block := list(islice(rows, _ROWS_IN_BLOCK)):
            yield [line for line, _ in block], list(zip_longest(*(cells for _, cells in block)))
