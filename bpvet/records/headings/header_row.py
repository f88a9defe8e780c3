"""Which row of a sheet is its header: titles may stand above it, and it may take two rows."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.tables import OTHER_WORDS, is_column, known_columns, plain_name

#: Rows at the top of a sheet among which the header is looked for.
LOOKED_AT = 50
#: Cells of a row that are looked at.
_WIDEST = 500
#: A heading of ours counts two, a word that others use for one of ours counts one. A row with
#: less than this is no header on the strength of its words.
_ENOUGH = 4


@dataclass(frozen=True)
class Heading:
    """Where the header is among the rows at the top of a sheet.

    Parameters
    ----------
    first, rows : int
        Index of its first row, and how many rows it takes (1 or 2).
    cells : tuple of str
        The headings.
    score : int
        How many of them are known; the higher, the surer.
    """

    first: int
    rows: int
    cells: tuple[str, ...]
    score: int


def heading_of(rows: Sequence[Sequence[str]], table: str, columns: Collection[str]) -> Heading:
    """Return where the header is.

    It is the first of the rows with the most headings known. Two rows are read as one header
    where that makes more of them known, as under a merged cell: "Systolic" above "1", "2", "3".
    Where next to nothing is known it is the first row of two cells or more, or the first.

    Parameters
    ----------
    rows : sequence of sequences of str
        The rows at the top of the sheet, one at least.
    table : str
        The table that it belongs to.
    columns : collection of str
        Other people's headings that the caller has named.
    """
    best = Heading(0, 1, tuple(rows[0]), score_of(rows[0], table, columns))
    for at, row in enumerate(rows[:LOOKED_AT]):
        # No row scores more than two a cell.
        if 2 * len(row) <= best.score:
            continue
        score = score_of(row, table, columns)
        if score > best.score and score >= _ENOUGH:
            best = Heading(at, 1, tuple(row), score)
    for at in {best.first, max(best.first - 1, 0)}:
        if at + 1 < len(rows) and len(rows[at]) == len(rows[at + 1]):
            if 2 * len(rows[at]) <= best.score:
                continue
            both = _joined(rows[at], rows[at + 1])
            score = score_of(both, table, columns)
            if score > best.score and score >= _ENOUGH:
                best = Heading(at, 2, both, score)
    if best.score >= _ENOUGH:
        return best
    wide = (
        at
        for at, row in enumerate(rows)
        if sum(cell.strip() != "" for cell in row) > 1 and not row[0].lstrip().startswith("#")
    )
    first = next(wide, 0)
    return Heading(first, 1, tuple(rows[first]), score_of(rows[first], table, columns))


def score_of(row: Sequence[str], table: str, columns: Collection[str]) -> int:
    """Return how well a row is known as a header: two a heading of ours, one a word for one."""
    ours = known_columns(table)
    score = 0
    for bare in filter(None, map(str.strip, row[:_WIDEST])):
        name = plain_name(bare)
        if bare in columns or is_column(table, name):
            score += 2
        elif OTHER_WORDS.get(name) in ours:
            score += 1
    return score


def report_heading(
    file: str,
    above: Sequence[tuple[int, str]],
    heading: Heading,
    line: int,
    findings: list[Finding],
) -> None:
    """Report which lines stand above the header, and that the header takes two of them.

    Parameters
    ----------
    file : str
        Name of the file.
    above : sequence of (int, str)
        Line and text of each row above the header that is not blank.
    heading : Heading
        Where the header is.
    line : int
        The line of its first row.
    findings : list of Finding
        The findings are added here.
    """
    if above:
        first, text = above[0]
        texts = tuple(text for _, text in above[:3])
        findings.append(
            finding_of(Code.ABOVE_HEADER, file, first, "", text, texts=texts, many=len(above))
        )
    if heading.rows == 2:
        names = tuple(cell for cell in heading.cells[:12] if cell.strip())
        findings.append(finding_of(Code.HEADER_IN_TWO, file, line, names=names))


def _joined(top: Sequence[str], under: Sequence[str]) -> tuple[str, ...]:
    """Return two rows as one header; a merged cell above stands for the blanks to its right."""
    last, cells = "", []
    for upper, lower in zip(top, under, strict=True):
        if upper.strip():
            last = upper.strip()
        spread = last if lower.strip() else upper.strip()
        cells.append(f"{spread} {lower.strip()}".strip())
    return tuple(cells)
