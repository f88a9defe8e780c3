"""Choices drawn from bytes: the same bytes make the same input, so that a case can be kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

One = TypeVar("One")


class Draws:
    """Choices taken from bytes from left to right; past their end every choice is the first.

    Parameters
    ----------
    data : bytes
        Where choices come from; a fuzzer changes them a little at a time.
    calm : tuple of int
        What the input's own factor is drawn from: how many times rarer odd things happen.
    """

    def __init__(self, data: bytes, calm: tuple[int, ...] = (1, 6, 40, 1000)) -> None:
        self._data = data
        self._at = 0
        self._calm = calm[self.below(len(calm))]

    def below(self, end: int) -> int:
        """Return a whole number from 0 to below `end`."""
        if end <= 1:
            return 0
        width = (end - 1).bit_length() // 8 + 1
        taken = self._data[self._at : self._at + width]
        self._at += width
        return int.from_bytes(taken, "big") % end

    def one(self, choices: Sequence[One]) -> One:
        """Return one of the choices."""
        return choices[self.below(len(choices))]

    def once_in(self, times: int) -> bool:
        """Return True about once in so many times, never when the bytes are spent."""
        return self.below(times) == times - 1

    def odd(self, times: int) -> bool:
        """Return True where something odd shall happen: of some inputs often, of others hardly."""
        return self.once_in(times * self._calm)

    def text(self, longest: int) -> str:
        """Return any text, of letters that a file can hold and of those that it hardly can."""
        return "".join(chr(self._letter()) for _ in range(self.below(longest + 1)))

    def raw(self, longest: int) -> bytes:
        """Return bytes as they are."""
        size = self.below(longest + 1)
        taken = self._data[self._at : self._at + size]
        self._at += size
        return taken

    def _letter(self) -> int:
        if not self.once_in(8):
            return 9 + self.below(118)
        code = self.below(0x110000)
        # Surrogates are no letters, and no file in a known encoding holds them.
        return 0xFFFD if 0xD800 <= code <= 0xDFFF else code
