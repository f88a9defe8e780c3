"""Short tables, as text and as HTML from one source, and numbers with the digits they deserve."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from bpvet.equality import Content
from bpvet.frozen import dataclass, field_names, is_dataclass, replace

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any

#: What is printed of a result is no longer than this.
MOST_LINES = 40
_WIDTH = 100
_LONGEST_WORD = 40


@dataclass(frozen=True, eq=False, repr=False)
class ShortTable(Content):
    """A table of ready-made cells.

    Parameters
    ----------
    title : str
        One line above the table; may be blank.
    columns : tuple of str
        Column heads.
    rows : tuple of tuple of str
        Cells, each row as long as `columns`.
    notes : tuple of str
        Lines below the table.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()

    def text(self) -> str:
        """Return the table as plain text, columns padded, numbers flush right."""
        right = [
            bool(self.rows) and all(_numeric(row[i]) for row in self.rows)
            for i in range(len(self.columns))
        ]
        widths = [
            max(len(name), *(len(row[i]) for row in self.rows)) if self.rows else len(name)
            for i, name in enumerate(self.columns)
        ]

        def line(cells: Sequence[str]) -> str:
            padded = (
                cell.rjust(width) if flush else cell.ljust(width)
                for cell, width, flush in zip(cells, widths, right, strict=True)
            )
            return "  ".join(padded).rstrip()

        lines = [self.title] if self.title else []
        lines += [line(self.columns), line(["-" * width for width in widths])]
        lines += [line(row) for row in self.rows]
        lines += list(self.notes)
        return "\n".join(lines)

    def brief(self, most: int = MOST_LINES) -> str:
        """Return the text in at most so many lines: rows are left out and counted, notes stay."""
        over = len(self.text().splitlines()) - most
        if over <= 0:
            return self.text()
        kept = max(0, len(self.rows) - over - 1)
        if kept == len(self.rows):
            return clipped(self.text(), most)
        more = f"… and {len(self.rows) - kept} more rows"
        short = replace(self, rows=self.rows[:kept], notes=(more, *self.notes))
        return clipped(short.text(), most)

    def html(self) -> str:
        """Return the table as HTML with a caption and scoped heads; every cell is escaped."""
        from html import escape

        caption = f"<caption>{escape(self.title)}</caption>" if self.title else ""
        head = "".join(f'<th scope="col">{escape(name)}</th>' for name in self.columns)
        body = "".join(
            "<tr>"
            + f'<th scope="row">{escape(row[0])}</th>'
            + "".join(f"<td>{escape(cell)}</td>" for cell in row[1:])
            + "</tr>"
            for row in self.rows
        )
        notes = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        table = f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        return table + notes

    def __str__(self) -> str:
        return self.text()

    def _repr_html_(self) -> str:
        return self.html()


class Tabled:
    """A result that prints as a short table, which it gives in `_table`.

    Make it with ``repr=False``.
    """

    def _table(self) -> ShortTable:
        raise NotImplementedError

    def summary(self) -> ShortTable:
        """Return the whole table that the result prints the first lines of."""
        return self._table()

    def __repr__(self) -> str:
        return self._table().brief()

    def _repr_html_(self) -> str:
        return self._table().html()


class Brief:
    """A dataclass that prints its fields' names, its numbers and its short words; no prose.

    Make it with ``repr=False``.
    """

    def __repr__(self) -> str:
        pairs = ((name, getattr(self, name)) for name in field_names(self))
        return brief(type(self).__name__, pairs)


def brief(name: str, pairs: Iterable[tuple[str, Any]]) -> str:
    """Return a name with fields as a few lines.

    Examples
    --------
    >>> brief("One", [("mean", 1.25), ("sentence", "Many words. " * 9), ("rows", (1, 2))])
    'One(mean=1.25, sentence=<108 characters>, rows=<2 items>)'
    """
    lines, line = [], f"{name}("
    parts = [_pair(key, value) for key, value in pairs]
    for index, pair in enumerate(parts):
        end = ")" if index + 1 == len(parts) else ", "
        if len(line) + len(pair) + len(end) > _WIDTH and line.strip():
            lines.append(line.rstrip())
            line = "    "
        line += pair + end
    return clipped("\n".join([*lines, line]))


def _pair(key: str, value: Any) -> str:
    return f"{key}={_brief(value, _WIDTH - 6 - len(key))}"


def clipped(text: str, most: int = MOST_LINES) -> str:
    """Return the first lines of a text, the others being counted."""
    lines = text.splitlines()
    if len(lines) <= most:
        return text
    return "\n".join([*lines[: most - 1], f"… and {len(lines) - most + 1} more lines"])


def _brief(value: Any, room: int) -> str:
    """Return a value in so many characters: numbers and names as they are, all else by its size."""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str):
        short = len(value) <= _LONGEST_WORD and value.isprintable()
        return repr(value) if short else f"<{len(value)} characters>"
    if value is None or isinstance(value, (int, bool)):
        return str(value)
    if getattr(value, "shape", ()):
        return f"<{' by '.join(map(str, value.shape))}>"
    if is_dataclass(value):
        return _of_numbers(value, room)
    if isinstance(value, (Mapping, Sequence)):
        return f"<{len(value)} item{'s' * (len(value) != 1)}>"
    text = str(value)
    return text if len(text) <= _LONGEST_WORD and text.isprintable() else type(value).__name__


def _of_numbers(value: Any, room: int) -> str:
    """Return a dataclass within another by its numbers and dates, as many as there is room for."""
    name, numbers, cut = type(value).__name__, list[str](), ""
    for field in field_names(value):
        entry = getattr(value, field)
        if not (
            entry is None or isinstance(entry, (int, float)) or type(entry).__name__ == "datetime64"
        ):
            continue
        number = f"{entry:.5g}" if isinstance(entry, float) else str(entry)
        numbers.append(f"{field}={number}")
        if len(", ".join(numbers)) + len(name) + 5 > room:
            numbers, cut = numbers[:-1], "…"
            break
    if cut and numbers and numbers[-1].startswith("lower="):
        # One end of an interval says less than none.
        numbers = numbers[:-1]
    return f"{name}({', '.join([*numbers, *filter(None, [cut])]) or '…'})"


def decimals(spread: float) -> int:
    """Return the decimals a number deserves: two significant digits of its standard error.

    Examples
    --------
    >>> decimals(6.2), decimals(0.43), decimals(31.0)
    (1, 2, 0)
    """
    if not math.isfinite(spread) or spread <= 0:
        return 1
    return max(0, 1 - math.floor(math.log10(spread)))


def number(value: float | None, digits: int = 1) -> str:
    """Return `value` with `digits` decimals, a true minus sign, and "–" where there is none.

    Examples
    --------
    >>> number(-3.14159, 2), number(None), number(-0.01, 1)
    ('−3.14', '–', '0.0')
    """
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def probability(value: float | None) -> str:
    """Return a probability in per cent, never 0 or 100 unless it is exactly so.

    Examples
    --------
    >>> probability(0.123), probability(0.999), probability(0.0004)
    ('12 %', 'more than 99 %', 'less than 1 %')
    """
    if value is None or not math.isfinite(value):
        return "–"
    from bpvet.wording.en.facts import LIKELY, UNLIKELY

    if value < 0.01:
        return UNLIKELY if value > 0 else "0 %"
    if value > 0.99:
        return LIKELY if value < 1 else "100 %"
    return f"{100 * value:.0f} %"


_MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August"]
_MONTHS += ["September", "October", "November", "December"]


def prose_date(date: object) -> str:
    """Return a date in prose from anything whose text begins in ISO form.

    Examples
    --------
    >>> prose_date("2026-03-01")
    '1 March 2026'
    """
    year, month, day = str(date)[:10].split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]} {year}"


def escaped(text: str, kept: str = "") -> str:
    """Return text in one line that shows what a terminal would obey, instead of obeying it.

    Parameters
    ----------
    text : str
    kept : str
        Letters that stay as they are, though they do not print.

    Examples
    --------
    >>> print(escaped("a\\x1b[2Jb\\nc"))
    a\\x1b[2Jb\\nc
    """
    if text.isprintable():
        return text
    return "".join(
        c
        if c.isprintable() or c in kept
        else c.encode("unicode_escape", "surrogatepass").decode("ascii")
        for c in text
    )


def shown(value: str, length: int = 60) -> str:
    """Return a cell in quotation marks, fit for a message: one line, control characters shown.

    Examples
    --------
    >>> print(shown("16O"), shown("a\\nb"), shown("a\\x1bb"))
    "16O" "a b" "a\\x1bb"
    """
    # Long cells are cut before they are looked at: of a megabyte a line is shown.
    text = value[: length + 1]
    if not text.isprintable():
        text = escaped("".join(" " if c.isspace() else c for c in text))
    return f'"{text if len(text) <= length else text[: length - 1] + "…"}"'


def _numeric(cell: str) -> bool:
    text = cell.strip().replace("−", "-").rstrip(" %")
    if text in ("", "–"):
        return True
    try:
        float(text)
    except ValueError:
        return False
    return True


#: Beginnings that sound as a vowel: "an Irish wolfhound", "an 80 %", and not "a European".
_VOWEL = r"(?!eu|ewe|one\b|once\b|u(?:[bt]i|k|ni(?!n|d)|ro|s[aeiu]))[aeiou]|hour|heir|honest"
_EIGHT = r"8|1[18](?!\d)"


def a_or_an(words: str) -> str:
    """Return words with the article before them that their sound asks for.

    Used wherever a word of the records, of a fact or of a choice follows an article.

    Examples
    --------
    >>> [a_or_an(one) for one in ("Irish wolfhound", "cat", "European shorthair", "80 % interval")]
    ['an Irish wolfhound', 'a cat', 'a European shorthair', 'an 80 % interval']
    """
    first = words.lstrip(" \"'“‘(").lower()
    return f"{'an' if re.match(_VOWEL, first) or re.match(_EIGHT, first) else 'a'} {words}"
