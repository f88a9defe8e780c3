"""Words made fit to draw: what the font cannot set, how wide a line is, where it breaks.

No layout may depend on a record's value being short, plain or in Latin letters.
"""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache

from matplotlib import ft2font
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.textpath import text_to_path

from bpvet.figures.style import FONT, LINE_SPACING, MM_PER_POINT, TEXT_SIZE
from bpvet.frozen import dataclass

#: Stands for what the font lacks, and for a run of letters written from right to left, which
#: matplotlib does not set in order in every version that we allow.
BOX = "□"
ELLIPSIS = "…"
_SPARE = 1.02  # rasterised letters are a little wider than their outlines


def plain(text: str) -> str:
    """Return `text` on one line, holding only what the font can set.

    Line breaks and control characters become spaces, invisible marks of direction and joining
    go, and `BOX` stands for every letter that cannot be set.

    Examples
    --------
    >>> plain("Minka\\n<b>$x^2$</b>")
    'Minka <b>$x^2$</b>'
    """
    kept: list[str] = []
    for letter in unicodedata.normalize("NFC", text):
        if letter.isspace() or unicodedata.category(letter) == "Cc":
            kept.append(" ")
        elif unicodedata.category(letter) in ("Cf", "Mn", "Me"):
            continue
        elif unicodedata.bidirectional(letter) in ("R", "AL", "AN"):
            if not (kept and kept[-1] == BOX):
                kept.append(BOX)
        else:
            kept.append(letter if ord(letter) in _letters() else BOX)
    return " ".join("".join(kept).split())


def written(text: str) -> str:
    """Return `text` on one line without what a text file or XML cannot hold.

    Examples
    --------
    >>> written("Minka\\n A & B")
    'Minka A & B'
    """
    unfit = ("Cc", "Cs", "Cn", "Co")
    kept = (" " if unicodedata.category(letter) in unfit else letter for letter in text)
    return " ".join("".join(kept).split())


def settable(text: str) -> bool:
    """Return whether `plain` keeps every visible letter of `text`."""
    visible = "".join(unicodedata.normalize("NFC", text).split())
    return plain(text).replace(" ", "") == visible


@lru_cache(maxsize=4096)
def width_mm(line: str, size: float = TEXT_SIZE, bold: bool = False) -> float:
    """Return the width of one plain line, mm, with a little to spare."""
    if not line:
        return 0.0
    width, _, _ = text_to_path.get_text_width_height_descent(line, _font(size, bold), False)
    return float(width) * MM_PER_POINT * _SPARE


def height_mm(lines: int, size: float = TEXT_SIZE) -> float:
    """Return the height of a block of lines, mm."""
    return lines * size * LINE_SPACING * MM_PER_POINT


@dataclass(frozen=True)
class Block:
    """Words broken into lines.

    Parameters
    ----------
    lines : tuple of str
        What is drawn.
    width, height : float
        Size of the block, mm.
    whole : bool
        False where letters were cut or could not be set: the caption then writes them out.
    """

    lines: tuple[str, ...]
    width: float
    height: float
    whole: bool

    @property
    def text(self) -> str:
        """The lines as one text."""
        return "\n".join(self.lines)


@lru_cache(maxsize=1024)
def block(
    text: str, space: float, most: int = 2, size: float = TEXT_SIZE, bold: bool = False
) -> Block:
    """Break `text` into at most `most` lines no wider than `space`.

    Parameters
    ----------
    text : str
        Any text; it is made `plain` first.
    space : float
        Widest line, mm.
    most : int
        Most lines; what does not fit ends in an ellipsis.
    size : float
        Size of the letters, points.
    bold : bool
        Whether the letters are bold.

    Returns
    -------
    Block
        The lines with their size.
    """
    lines: list[str] = []
    rest = plain(text)
    while rest and len(lines) < most:
        line = _first_line(rest, space, size, bold)
        rest = rest[len(line) :].lstrip()
        lines.append(line.rstrip())
    if rest:
        left = f"{lines[-1]} {rest}"
        end = _fitting(left, space - width_mm(ELLIPSIS, size, bold), size, bold)
        lines[-1] = left[:end].rstrip() + ELLIPSIS
    widest = max((width_mm(line, size, bold) for line in lines), default=0.0)
    whole = not rest and settable(text)
    return Block(tuple(lines), widest, height_mm(len(lines), size), whole)


def _first_line(text: str, space: float, size: float, bold: bool) -> str:
    """Return the longest start of `text` that fits: whole words, or letters of a long word.

    A per cent sign stays with its number.
    """
    end = _fitting(text, space, size, bold)
    if end == len(text):
        return text
    at_space = text.rfind(" ", 0, end + 1)
    if text[at_space + 1 : at_space + 2] == "%":
        at_space = text.rfind(" ", 0, at_space)
    if at_space > 0:
        return text[:at_space]
    after_hyphen = text.rfind("-", 0, end) + 1
    return text[: after_hyphen or end]


def _fitting(text: str, space: float, size: float, bold: bool) -> int:
    """Return how many letters of `text` fit, at least one, by halving."""
    low, high = 1, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_mm(text[:middle], size, bold) <= space:
            low = middle
        else:
            high = middle - 1
    return low


@cache
def _font(size: float, bold: bool) -> FontProperties:
    return FontProperties(family=FONT, size=size, weight="bold" if bold else "normal")


@cache
def _letters() -> frozenset[int]:
    """Return the letters that both weights of the font have."""
    regular, bold = (
        ft2font.FT2Font(findfont(_font(TEXT_SIZE, weight))).get_charmap()
        for weight in (False, True)
    )
    return frozenset(regular) & frozenset(bold)
