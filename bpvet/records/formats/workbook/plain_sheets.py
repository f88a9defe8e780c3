"""Plain sheets and shared texts of a workbook looked over, many tags at once.

What is found is what `archive` finds tag by tag, and besides how far a sheet reaches, the
names of its errors, and how much text its cells share: the reader of values holds a whole sheet,
and a copy of its text for each cell. Whatever is not plain is `Unusual`, and left to the others.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from bpvet.records.formats.workbook.oddities import Oddities, Reach
from bpvet.records.formats.workbook.tags import (
    Bools,
    Ints,
    Tags,
    Unusual,
    distinct_between,
    letters_at,
    numbers_at,
    tags_of,
)

#: Bytes that a row, a shared text, or all that stands before or after them, may take.
MOST_IN_ONE = 4 << 20
MOST_ROWS = 1 << 20
MOST_COLUMNS = 1 << 14
#: Whole numbers up to this are kept to the last digit by the reader of values.
MOST_EXACT = 1 << 53
#: Places of oddities that are kept, of each kind.
KEPT = 100_000

_DECLARED = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:<\?xml\s[^<>]*\?>\s*)?")
_ENCODING = re.compile(rb"encoding\s*=\s*[\"'](?!utf-8[\"'])", re.IGNORECASE)
_ATTRIBUTES = re.compile(rb'(?: +[A-Za-z][\w.:-]*="[^"<>&]*")* *')
_ATTRIBUTE = re.compile(rb'([\w.:-]+)="([^"]*)"')
_FIRST_ROW = re.compile(rb"<(?:[A-Za-z]\w{0,9}:)?row[ />]")
_MERGED = re.compile(rb'mergeCell +ref="([A-Z0-9:]*)"')
_ERRORS = {
    name.encode(): name
    for name in ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!")
}

#: Kinds of cells by the attribute "t".
_NUMBER, _SHARED, _TEXT, _INLINE, _TRUTH, _ERROR = range(6)
_KINDS = {b"": _NUMBER, b"n": _NUMBER, b"s": _SHARED, b"str": _TEXT, b"inlineStr": _INLINE}
_KINDS |= {b"b": _TRUTH, b"e": _ERROR}


class _Cells(NamedTuple):
    """Cells by their tags (n,), rows and columns (n,) from 1, and kinds (n,)."""

    tags: Ints
    rows: Ints
    columns: Ints
    kinds: Ints


class Plain:
    """A part of plain XML, taken chunk by chunk.

    Parameters
    ----------
    until : bytes
        A part is looked at in stretches that end with this, such as "</row>"; as a whole if blank.
    elements, entities, deepest : int
        How many elements and entities there were so far, and how deep the elements lay.
    first : bytes
        The first stretch without its declaration.
    """

    until = b""

    def __init__(self) -> None:
        self.elements = 0
        self.entities = 0
        self.deepest = 0
        self._open = 0
        self._pending = b""
        self._begun = False
        self.first = b""

    def feed(self, chunk: bytes, last: bool = False) -> None:
        """Take the next bytes of the part.

        Raises
        ------
        Unusual
            If the part is not plain, or not as the ones that spreadsheet programs write.
        """
        self._pending += chunk
        cut = self.cut(self._pending)
        if last or cut > 0:
            stretch = self._pending if last else self._pending[:cut]
            self._pending = b"" if last else self._pending[cut:]
            if not self._begun:
                self._begun = True
                found = _DECLARED.match(stretch)
                declared = found.group() if found else b""
                if _ENCODING.search(declared):
                    raise Unusual
                self.first = stretch[len(declared) :]
                self.begin(self.first)
                stretch = self.first
            tags = tags_of(stretch, self._open)
            self._open = tags.after
            self.elements += int((tags.starts | tags.alone).sum())
            self.entities += stretch.count(b"&")
            self.deepest = max(self.deepest, int(tags.depth.max(initial=0)))
            self.look(tags)
        elif len(self._pending) > MOST_IN_ONE:
            raise Unusual
        if last and self._open:
            raise Unusual

    def cut(self, pending: bytes) -> int:
        """Return where the last whole stretch ends, or 0."""
        return (
            pending.rfind(self.until) + len(self.until)
            if self.until and self.until in pending
            else 0
        )

    def begin(self, stretch: bytes) -> None:
        """Take a look at the first stretch, before its tags are told apart."""

    def look(self, tags: Tags) -> None:
        """Look at the tags of a stretch."""


class PlainTexts(Plain):
    """The shared texts; `lengths` are the bytes that each takes, at the most."""

    until = b"</si>"

    def __init__(self) -> None:
        super().__init__()
        self._lengths: list[Ints] = []

    def lengths(self) -> Ints:
        """Return the bytes (n,) that each text takes at the most."""
        return np.concatenate([np.zeros(0, dtype=np.int64), *self._lengths])

    def look(self, tags: Tags) -> None:
        """Measure the texts of a stretch."""
        begun = ~tags.ends
        items, children = (np.flatnonzero(begun & (tags.depth == depth)) for depth in (2, 3))
        whole, run = tags.named(b"t", children), tags.named(b"r", children)
        phonetic = tags.named(b"rPh", children) | tags.named(b"phoneticPr", children)
        if not (tags.named(b"si", items).all() and (whole | run | phonetic).all()):
            raise Unusual
        of = np.searchsorted(items, children) - 1
        # Readers differ over a text that is given both whole and in runs, or twice.
        wholes = np.bincount(of[whole], minlength=len(items))
        if (wholes > 1).any() or wholes[of[run]].any():
            raise Unusual
        from_ = tags.closes[items[tags.starts[items]]]
        to = tags.opens[tags.ends & (tags.depth == 2)]
        if len(from_) != len(to):
            raise Unusual
        length = np.zeros(len(items), dtype=np.int64)
        length[tags.starts[items]] = to - from_
        self._lengths.append(length)


class PlainSheet(Plain):
    """A sheet: `oddities`, its `reach`, bytes of `text`, and how often shared texts are `named`."""

    def __init__(self) -> None:
        super().__init__()
        self.oddities = Oddities()
        self.reach = Reach()
        self.text = 0
        self.named = np.zeros(1, dtype=np.int64)
        self._prefix = b""
        self._row = 0
        self._where = 0

    def begin(self, stretch: bytes) -> None:
        """Learn the prefix of names, which some programs write."""
        found = re.match(rb"<((?:[A-Za-z]\w{0,9}:)?)worksheet[ >]", stretch)
        if not found:
            raise Unusual
        self._prefix = found[1]
        self.until = b"<" + self._prefix + b"row"

    def cut(self, pending: bytes) -> int:
        """Return where the last row begins, or 0; at first, where the first one does."""
        if not self._begun:
            found = _FIRST_ROW.search(pending)
            return found.start() if found else 0
        return max(pending.rfind(self.until), 0)

    def look(self, tags: Tags) -> None:
        """Look at the rows of a stretch, and at what stands before and after them."""
        outer = np.flatnonzero(~tags.ends & (tags.depth == 2))
        begins = outer[tags.named(self._prefix + b"sheetData", outer)]
        first, last = 0, len(tags.opens)
        if len(begins):
            if self._where or len(begins) > 1:
                raise Unusual
            self._where, first = 1, int(begins[0]) + 1
            if tags.alone[begins[0]]:
                self._where, last = 2, first
        elif self._where == 0:
            first = last
        if self._where == 1:
            over = np.flatnonzero(tags.ends[first:] & (tags.depth[first:] == 2))
            if len(over):
                self._where, last = 2, first + int(over[0])
        elif self._where == 2 and not len(begins):
            first = last = 0
        if first < last:
            self._rows(tags, first, last)
        if self._where == 2:
            end = int(tags.opens[last]) if last < len(tags.opens) else 0
            self._after(tags.data[end:])

    def _after(self, data: bytes) -> None:
        if b"mergeCell " in data:
            found = _MERGED.findall(data)
            if len(found) != data.count(b"mergeCell "):
                raise Unusual
            room = KEPT - len(self.oddities.merged)
            self.oddities.merged += [cells.decode() for cells in found[:room]]

    def _rows(self, tags: Tags, first: int, last: int) -> None:
        """Look at the tags of rows."""
        begun = np.zeros(len(tags.opens), dtype=bool)
        begun[first:last] = ~tags.ends[first:last]
        rows, cells, contents = (
            np.flatnonzero(begun & (tags.depth == depth)) for depth in (3, 4, 5)
        )
        value, formula, inline = (
            tags.named(self._prefix + name, contents) for name in (b"v", b"f", b"is")
        )
        if not (
            tags.named(self._prefix + b"row", rows).all()
            and tags.named(self._prefix + b"c", cells).all()
            and (value | formula | inline).all()
            and not (begun & (tags.depth < 3)).any()
        ):
            raise Unusual
        numbers = self._numbered(tags, rows)
        if not len(cells):
            return
        of_row = np.searchsorted(rows, cells) - 1
        if of_row[0] < 0:
            raise Unusual
        columns, kinds = self._placed(tags, cells, of_row, numbers)
        placed = _Cells(cells, numbers[of_row], columns, kinds)
        self._filled(tags, placed, contents[value], contents[inline], contents[formula])

    def _numbered(self, tags: Tags, rows: Ints) -> Ints:
        """Return the numbers of rows (n,), and note those that are hidden."""
        if not len(rows):
            return rows
        given, rest = self._r(tags, rows, 3)
        number, end = numbers_at(tags.codes, rest, 8)
        number = np.where(given, number, 0)
        if (given & (tags.codes[end] != ord('"'))).any() or (given & (number < 1)).any():
            raise Unusual
        if not given.all():
            before = self._row
            for i, value in enumerate(number):
                number[i] = before = int(value) or before + 1
        if number[0] <= self._row or (np.diff(number) <= 0).any():
            raise Unusual
        self._row = int(number[-1])
        rests, index = self._rests(tags, rows, np.where(given, end + 1, rest))
        hides = [_attributes(rest).get(b"hidden") in (b"1", b"true") for rest in rests]
        hidden = np.array(hides, dtype=bool)[index]
        self.oddities.hidden_rows += number[hidden].tolist()
        return number

    def _r(self, tags: Tags, which: Ints, long: int) -> tuple[Bools, Ints]:
        """Return whether each tag begins with its place (n,), and where the place begins (n,).

        Where it does not, the second is the end of the tag's name, which has `long` letters.
        """
        at = tags.opens[which] + 1 + len(self._prefix) + long
        given = np.ones(len(which), dtype=bool)
        for i, code in enumerate(b' r="'):
            given &= tags.codes[at + i] == code
        return given, at + 4 * given

    def _rests(self, tags: Tags, which: Ints, from_: Ints) -> tuple[list[bytes], Ints]:
        """Return what tags hold besides their places: different texts, and each tag's index."""
        return distinct_between(tags, from_, tags.closes[which] - tags.alone[which])

    def _placed(self, tags: Tags, cells: Ints, of_row: Ints, numbers: Ints) -> tuple[Ints, Ints]:
        """Return columns (n,) and kinds (n,) of cells."""
        given, rest = self._r(tags, cells, 1)
        new = np.diff(of_row, prepend=-1) > 0
        if given.all():
            column, end = letters_at(tags.codes, rest)
            row, stop = numbers_at(tags.codes, end, 7)
            if (row != numbers[of_row]).any() or (tags.codes[stop] != ord('"')).any():
                raise Unusual
            rest = stop + 1
            if ((np.diff(column, prepend=0) <= 0) & ~new).any():
                raise Unusual
        elif not given.any():
            begins = np.flatnonzero(new)
            column = np.arange(len(cells)) - begins[np.cumsum(new) - 1] + 1
        else:
            raise Unusual
        if column.min() < 1 or column.max() > MOST_COLUMNS:
            raise Unusual
        rests, index = self._rests(tags, cells, rest)
        kinds = [_KINDS.get(_attributes(rest).get(b"t", b""), -1) for rest in rests]
        if -1 in kinds:
            raise Unusual
        return column, np.array(kinds)[index]

    def _filled(
        self, tags: Tags, placed: _Cells, values: Ints, inlines: Ints, formulas: Ints
    ) -> None:
        """Look at what cells hold, by the tags of their values, inline texts and formulas."""
        cells, rows, columns, kinds = placed
        of_value, of_inline, of_formula = (
            np.searchsorted(cells, some) - 1 for some in (values, inlines, formulas)
        )
        if (
            any((np.diff(of) <= 0).any() for of in (of_value, of_inline, of_formula))
            or (kinds[of_value] == _INLINE).any()
            or (kinds[of_inline] != _INLINE).any()
        ):
            raise Unusual
        from_ = tags.closes[values] + 1
        alone = tags.alone[values]
        following = np.minimum(values + 1, len(tags.opens) - 1)
        if (~alone & ~tags.ends[following]).any():
            raise Unusual
        if not tags.ends[formulas[tags.starts[formulas]] + 1].all():
            raise Unusual
        to = np.where(alone, from_, tags.opens[following])
        full = to > from_
        _no_entities(tags, values, kinds[of_value])
        for of in (of_value, of_inline):
            # An empty text counts here: the reader of values makes room for it.
            if len(of):
                self.reach.rows = max(self.reach.rows, int(rows[of].max()))
                self.reach.columns = max(self.reach.columns, int(columns[of].max()))
        has_value = np.zeros(len(cells), dtype=bool)
        has_value[of_value[full]] = True
        without = of_formula[~has_value[of_formula]]
        if len(without) + len(self.oddities.without_value) > KEPT:
            raise Unusual
        for at in without.tolist():
            row, column = int(rows[at]), int(columns[at])
            self.oddities.without_value[row, column] = cell_name(row, column)
        kind = kinds[of_value]
        self._shared(tags, from_[full & (kind == _SHARED)], to[full & (kind == _SHARED)])
        self.text += int((to - from_)[kind == _TEXT].sum())
        if len(inlines):
            behind = np.append(tags.opens[cells[1:]], tags.closes[-1])[of_inline]
            self.text += int((behind - tags.closes[inlines]).sum())
        self._errors(tags, from_, to, full & (kind == _ERROR), rows[of_value], columns[of_value])
        odd = full & (kind == _TRUTH)
        long = np.flatnonzero((kind == _NUMBER) & (to - from_ > 15))
        # A point or an exponent before the sixteenth digit: no whole number of many digits.
        odd[long] = numbers_at(tags.codes, from_[long] + 1, 14)[1] == from_[long] + 15
        for i in np.flatnonzero(odd).tolist():
            # A truth, or a long number, has to be one that the reader of values keeps.
            text = tags.data[from_[i] : to[i]]
            if int(kind[i]) == _TRUTH:
                if text not in (b"0", b"1"):
                    raise Unusual
            elif text.lstrip(b"-").isdigit() and not -MOST_EXACT <= int(text[:400]) <= MOST_EXACT:
                raise Unusual
        room = KEPT - len(self.oddities.errors)
        wrong = np.flatnonzero(kinds == _ERROR)[:room].tolist()
        self.oddities.errors += [cell_name(int(rows[i]), int(columns[i])) for i in wrong]

    def _shared(self, tags: Tags, from_: Ints, to: Ints) -> None:
        """Count the shared texts that cells name."""
        if not len(from_):
            return
        which, end = numbers_at(tags.codes, from_, 8)
        if (end != to).any():
            raise Unusual
        counted = np.bincount(which, minlength=len(self.named))
        counted[: len(self.named)] += self.named
        self.named = counted

    def _errors(
        self, tags: Tags, from_: Ints, to: Ints, which: Bools, rows: Ints, columns: Ints
    ) -> None:
        """Keep the errors among some values."""
        if not which.any():
            return
        spans = zip(from_[which].tolist(), to[which].tolist(), strict=True)
        names = [_ERRORS.get(tags.data[i:j], "") for i, j in spans]
        if not all(names):
            raise Unusual
        found = rows[which].astype(np.int32), columns[which].astype(np.int32), names
        self.reach.errors.append(found)


def _attributes(rest: bytes) -> dict[bytes, bytes]:
    """Return the attributes of a tag besides its place."""
    if not _ATTRIBUTES.fullmatch(rest):
        raise Unusual
    found = dict(_ATTRIBUTE.findall(rest))
    if b"r" in found:
        raise Unusual
    return found


def _no_entities(tags: Tags, values: Ints, kinds: Ints) -> None:
    """Make sure that only texts hold entities, as in "&#49;"."""
    if b"&" not in tags.data:
        return
    at = np.flatnonzero(tags.codes == ord("&"))
    bare = np.zeros(len(tags.opens), dtype=bool)
    bare[values[kinds != _TEXT]] = True
    if bare[np.searchsorted(tags.opens, at) - 1].any():
        raise Unusual


def cell_name(row: int, column: int) -> str:
    """Return a cell's place from its row and column, from 1.

    Examples
    --------
    >>> cell_name(7, 2), cell_name(1, 28)
    ('B7', 'AB1')
    """
    # Loaded for a sheet that has something odd in it.
    from openpyxl.utils import get_column_letter

    return f"{get_column_letter(column)}{row}"
