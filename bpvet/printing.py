"""Short tables, as text and as HTML from one source, and numbers with the digits they deserve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True)
class ShortTable:
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

    def html(self) -> str:
        """Return the table as HTML with a caption and scoped heads; every cell is escaped."""
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
    if value < 0.01:
        return "less than 1 %" if value > 0 else "0 %"
    if value > 0.99:
        return "more than 99 %" if value < 1 else "100 %"
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


def _numeric(cell: str) -> bool:
    text = cell.strip().replace("−", "-").rstrip(" %")
    if text in ("", "–"):
        return True
    try:
        float(text)
    except ValueError:
        return False
    return True
