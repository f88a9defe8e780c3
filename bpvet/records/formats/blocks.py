"""A large text file in the common shape, read once and a block at a time, never held whole.

What is not in that shape (quotation marks that are not sound, NUL bytes, another encoding, a mark
at its start) is found as it goes by; the file is then read whole, and told of as any other.
"""

from __future__ import annotations

import codecs
import hashlib
import mmap
import weakref
from io import RawIOBase
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bpvet.records.parsing.quotation_marks import marks_are_sound

#: Files smaller than this are read whole.
LARGE = 1 << 24
#: Bytes that are read at first, of which the layout is told, and then at once.
TOP, BLOCK = 1 << 22, 1 << 22


class NotPlainError(Exception):
    """The text is not in the common shape, or does not have the size that its file tells."""


class QuotedError(NotPlainError):
    """There are quotation marks, of which the reader was not told."""


class _Memory:
    """Memory that is used for one block after another, as the parser is done with each.

    It is the system's own, to which it goes back with the last block: that of threads does not.
    """

    def __init__(self) -> None:
        self._blocks: list[tuple[mmap.mmap, weakref.ref[NDArray[np.uint8]]]] = []

    def unused(self, size: int) -> tuple[mmap.mmap, memoryview]:
        """Return memory of at least some bytes that nobody looks at, and a view of so many."""
        free = (
            i
            for i, (block, seen) in enumerate(self._blocks)
            if seen() is None and len(block) >= size
        )
        at = next(free, len(self._blocks))
        block = self._blocks.pop(at)[0] if at < len(self._blocks) else mmap.mmap(-1, size)
        # Whoever holds the view, or a part of it, holds these letters.
        letters = np.frombuffer(block, np.uint8, size)
        self._blocks.append((block, weakref.ref(letters)))
        return block, letters.data


class Blocks:
    """The bytes of a text file, checked and counted as they are read.

    Parameters
    ----------
    file : raw binary file
        At its start, not buffered.
    quoted, marked : bool
        Whether there may be quotation marks, and a mark of UTF-8 at the start.

    Attributes
    ----------
    top : bytes
        The first block.
    size : int
        Bytes read so far.
    given : int
        Bytes given to who reads, the end of a last line among them.

    Raises
    ------
    NotPlainError
        There is something in the text for which all of it is needed.
    """

    closed = False

    def __init__(self, file: RawIOBase, quoted: bool = False, marked: bool = False) -> None:
        self._file, self._quoted, self._marked = file, quoted, marked
        self._separator, self._open = "", b""
        self._digest = hashlib.sha256()
        self._decoder = codecs.getincrementaldecoder("utf-8")()
        self._last = b"\n"
        self._memory = _Memory()
        self.size = self.given = 0
        self._left = self._next(TOP)
        self.top = bytes(self._left)

    def skip(self, count: int) -> None:
        """Pass over some bytes of `top`; before anything is read."""
        self._left = self._left[count:]

    def read(self, most: int = -1) -> bytes | memoryview:
        """Return the next bytes, at most as many as asked for; a last line is ended."""
        some = self._rows() if self._separator else self._some(most)
        self.given += len(some)
        return some

    def _some(self, most: int) -> bytes | memoryview:
        some = self._left or self._next(BLOCK)
        self._left = memoryview(b"")
        if 0 <= most < len(some):
            some, self._left = some[:most], some[most:]
        if not some and self._last not in b"\r\n":
            self._last = b"\n"
            return self._last
        return some

    def check_marks(self, separator: str) -> None:
        """Read whole rows from here on, which `NotPlainError` refuses if their marks are not sound.

        Parameters
        ----------
        separator : str
            One character, as the top shows it.
        """
        self._separator = separator

    def _rows(self) -> memoryview:
        """Return the next rows, which may go over several lines; the parser wants them whole."""
        end = 0
        while not end:
            new = self._left or self._next(BLOCK)
            self._left = memoryview(b"")
            text = self._open + bytes(new)
            if not new and text:
                text += b"\n"
            end = _end_of_rows(text) if new else len(text)
            self._open = text[end:]
            # A cell that goes on and on was hardly meant.
            if len(self._open) > BLOCK or not marks_are_sound(text[:end], self._separator):
                raise NotPlainError
            if not new:
                break
        rows = memoryview(mmap.mmap(-1, end or 1))[:end]
        rows[:] = text[:end]
        return rows

    def end(self) -> tuple[int, bytes]:
        """Return size and sha256 of the file, which has been read to its end."""
        if self._left or self._next(BLOCK):
            raise NotPlainError
        return self.size, self._digest.digest()

    def _next(self, most: int) -> memoryview:
        block, view = self._memory.unused(most)
        size = 0
        while size < most and (more := self._file.readinto(view[size:])):
            size += more
        view = view[:size]
        self.size += size
        if not size:
            # All that is looked at still goes with who looks at it.
            self._memory = _Memory()
        self._digest.update(view)
        if block.find(b"\0", 0, size) >= 0:
            raise NotPlainError
        if not self._quoted and block.find(b'"', 0, size) >= 0:
            raise QuotedError
        if self.size == size and not self._marked and _marked(bytes(view[:4])):
            raise NotPlainError
        # A letter of several bytes may begin in one block and end in the next.
        if not size or self._decoder.getstate()[0] or np.frombuffer(view, np.uint8).max() > 0x7F:
            try:
                self._decoder.decode(view, final=not size)
            except UnicodeDecodeError:
                raise NotPlainError from None
        self._last = bytes(view[-1:]) or self._last
        return view


def _end_of_rows(text: bytes) -> int:
    """Return where the last row that a text holds to its end stops, whose marks come in pairs."""
    # Of a line break of two letters the second may come with the next block.
    at = np.frombuffer(text, np.uint8)[: len(text) - text.endswith(b"\r")]
    breaks = np.flatnonzero((at == 10) | (at == 13))
    within = np.searchsorted(np.flatnonzero(at == ord('"')), breaks) % 2
    ends = breaks[within == 0]
    return int(ends[-1]) + 1 if len(ends) else 0


def _marked(block: bytes) -> bool:
    return block.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))


def is_large(path: Path) -> bool:
    """Return whether a path is that of a file which is worth reading a block at a time."""
    try:
        return path.is_file() and path.stat().st_size >= LARGE
    except OSError:
        return False
