"""XML in the plain form that spreadsheet programs write, as arrays of its tags.

A sheet of ten megabytes holds millions of tags. Where its XML is plain (no comments, sections or
instructions within it, no bare ">" in texts), a tag is what stands between a "<" and the next
">", so that places and depths of all tags of a stretch are found at once.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass

Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Bytes: TypeAlias = NDArray[np.uint8]

_ENDS_A_NAME = np.zeros(256, dtype=bool)
_ENDS_A_NAME[list(b" />\t\r\n")] = True


#: Zeros behind a stretch, so that what follows its last tag can be looked at.
_BEHIND = 32
#: By a number of bytes up to 8, the first that many bytes of a word.
_FIRST = np.array([(1 << 8 * n) - 1 for n in range(9)], dtype=np.uint64)
_MOST_DISTINCT = 40


class Unusual(Exception):
    """A part is not written as spreadsheet programs write it: it is looked at tag by tag."""


@dataclass(frozen=True, eq=False)
class Tags:
    """The tags of a stretch of plain XML, in their order.

    Parameters
    ----------
    data : bytes
        The stretch, with zeros behind it that can be looked at.
    codes : array of uint8
        The same.
    opens, closes : array of int (n,)
        Places of "<" and ">".
    starts, ends, alone : array of bool (n,)
        Whether a tag starts an element, ends one, or is one by itself.
    depth : array of int (n,)
        How deep its element lies; 1 is the outermost.
    after : int
        How many elements are still open behind the stretch.
    """

    data: bytes
    codes: Bytes
    opens: Ints
    closes: Ints
    starts: Bools
    ends: Bools
    alone: Bools
    depth: Ints
    after: int

    def named(self, name: bytes, which: Ints) -> Bools:
        """Return which of some tags (m,) that start an element, by their indices, have a name."""
        at = self.opens[which] + 1
        found = _ENDS_A_NAME[self.codes[at + len(name)]]
        for i, code in enumerate(name):
            found &= self.codes[at + i] == code
        return found


def tags_of(data: bytes, before: int) -> Tags:
    """Return the tags of a stretch of XML that neither begins nor ends within a tag.

    Parameters
    ----------
    data : bytes
        The stretch.
    before : int
        How many elements are open before it.

    Raises
    ------
    Unusual
        If it is not plain.
    """
    data += bytes(_BEHIND)
    codes = np.frombuffer(data, np.uint8)
    opens = np.flatnonzero(codes == ord("<"))
    closes = np.flatnonzero(codes == ord(">"))
    if len(opens) != len(closes) or not (
        (opens < closes).all() and (closes[:-1] < opens[1:]).all()
    ):
        raise Unusual
    second = codes[opens + 1]
    if ((second == ord("!")) | (second == ord("?"))).any():
        raise Unusual
    ends = second == ord("/")
    alone = (codes[closes - 1] == ord("/")) & ~ends
    starts = ~(ends | alone)
    open_now = before + np.cumsum(starts.astype(np.int64) - ends)
    depth = open_now + (ends | alone)
    after = int(open_now[-1]) if len(open_now) else before
    return Tags(data, codes, opens, closes, starts, ends, alone, depth, after)


def numbers_at(codes: Bytes, places: Ints, longest: int) -> tuple[Ints, Ints]:
    """Return the whole numbers that start at places (n,), and where each ends (n,).

    Digits beyond the `longest` are not taken; a number without a digit is 0 and ends where it
    starts.
    """
    value = np.zeros(len(places), dtype=np.int64)
    at = places.copy()
    going = np.ones(len(places), dtype=bool)
    for _ in range(longest):
        digit = codes[at].astype(np.int64) - ord("0")
        going &= (digit >= 0) & (digit <= 9)
        if not going.any():
            break
        value = np.where(going, value * 10 + digit, value)
        at += going
    return value, at


def letters_at(codes: Bytes, places: Ints) -> tuple[Ints, Ints]:
    """Return the columns (n,), from 1, whose letters start at places (n,), and their ends (n,)."""
    value = np.zeros(len(places), dtype=np.int64)
    at = places.copy()
    going = np.ones(len(places), dtype=bool)
    for _ in range(3):
        letter = codes[at].astype(np.int64) - ord("A") + 1
        going &= (letter >= 1) & (letter <= 26)
        value = np.where(going, value * 26 + letter, value)
        at += going
    return value, at


def distinct_between(tags: Tags, from_: Ints, to: Ints) -> tuple[list[bytes], Ints]:
    """Return the different texts that stand between places (n,), and each one's index (n,).

    There are few of them as a rule, and short ones: these are compared as words of eight bytes.
    """
    texts: list[bytes] = []
    index = np.full(len(from_), -1, dtype=np.int64)
    long = to - from_
    if len(long) and long.max() <= 24:
        at_any = np.ndarray((len(tags.data) - 7,), "<u8", tags.data, strides=(1,))
        words = [at_any[from_ + skip] & _FIRST[np.clip(long - skip, 0, 8)] for skip in (0, 8, 16)]
        while len(texts) < _MOST_DISTINCT:
            i = int(np.argmin(index))
            if index[i] >= 0:
                return texts, index
            same = long == long[i]
            for word in words:
                same &= word == word[i]
            index[same] = len(texts)
            texts.append(tags.data[int(from_[i]) : int(to[i])])
    spans = zip(from_.tolist(), to.tolist(), strict=True)
    each = [tags.data[i:j] for i, j in spans]
    numbers = {text: number for number, text in enumerate(dict.fromkeys(each))}
    return [*numbers], np.array([numbers[text] for text in each], dtype=np.int64)
