"""A finding: a line that the record check has to say about a place in the input."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import Any, NamedTuple

from bpvet.frozen import dataclass
from bpvet.printing import escaped
from bpvet.printing import shown as shown
from bpvet.records.finding_codes import Code

#: What a finding is worded from: the names of its values, with the values.
NamedValues = tuple[tuple[str, Any], ...]


class Outcome(Enum):
    """What was done about a cell."""

    ROW = "row"
    """The row is set aside."""
    CELL = "cell"
    """The value is set aside, the rest of the row is kept."""
    KEPT = "kept"


class Words(NamedTuple):
    """A finding in words: what was found; what the reader can do, and whether that is anything."""

    reason: str
    fix: str
    asks: bool = True


#: What sets values aside, or leaves them unread, whatever is done about its cell.
_UNUSED = frozenset(
    {
        Code.COLUMN_NOT_READ,
        Code.DAY_OR_MONTH,
        Code.FOLDER_INSIDE,
        Code.MMHG_AS_KPA,
        Code.NAMED_OTHERWISE,
        Code.NEWEST_ROWS,
        Code.NOT_IN_MMHG,
        Code.OTHER_FORM,
        Code.RESOURCES_NOT_READ,
        Code.SAME_FILE_TWICE,
        Code.SEVERAL_NUMBERS,
        Code.SHEETS_NOT_READ,
    }
)


@dataclass(frozen=True)
class Finding:
    """What was found, where, and how it can be fixed.

    Its words are made when they are asked for: a check leaves a code and values.

    Parameters
    ----------
    file : str
        Name of the file (no folder), or the table's name for data frames.
    line : int or None
        Line in the file where the row starts, the header being line 1; the row's position
        from 1 for data frames; None for the whole file.
    column : str
        Column as headed in the file; blank for a whole row or file.
    value : str
        The cell as it stands, cut at 80 characters; blank for a whole row or file.
    code : Code
        What was found.
    values : tuple of (str, object)
        What it is worded from, by name: numbers, texts and tuples of them.
    outcome : Outcome
        What was done about it.
    stops : bool
        Whether this stops the work (exit status 1).
    """

    file: str
    line: int | None
    column: str
    value: str
    code: Code
    values: NamedValues = ()
    outcome: Outcome = Outcome.KEPT
    stops: bool = False

    @property
    def kind(self) -> str:
        """A stable word for grouping, such as ``not a number``."""
        return self.code.kind

    @property
    def unused(self) -> bool:
        """Whether what it is about (cell, row, sheet, file) is set aside, or not read at all."""
        return self.outcome is not Outcome.KEPT or self.code in _UNUSED

    @property
    def words(self) -> Words:
        """The finding in words, what was done about it among them."""
        return worded(self.code, [self.values], self.outcome)[0]

    @property
    def reason(self) -> str:
        """What was found and what was done about it, as sentences that name the value."""
        return self.words.reason

    @property
    def mend(self) -> str:
        """What the reader can do, as a sentence."""
        return self.words.fix

    def to_dict(self) -> dict[str, str | int | bool | None]:
        """Return the finding as plain JSON values."""
        reason, fix, _ = self.words
        return {
            "file": self.file,
            "line": self.line,
            "column": self.column,
            "value": self.value,
            "reason": reason,
            "mend": fix,
            "stops": self.stops,
            "kind": self.kind,
        }

    def __str__(self) -> str:
        from bpvet.wording.en.findings.phrases import location

        where = location(self.file, self.line, self.column and printable(self.column))
        reason, fix, _ = self.words
        return f"{where}: {reason} {fix}".rstrip()


def worded(code: Code, each: Sequence[NamedValues], outcome: Outcome) -> list[Words]:
    """Return findings (k,) of one code in words, what was done about them among them."""
    from bpvet.wording.en.findings.all_checks import words_of

    return words_of(code, each, outcome)


def finding_of(
    code: Code,
    file: str,
    line: int | None = None,
    column: str = "",
    value: str = "",
    *,
    stops: bool = False,
    **values: Any,
) -> Finding:
    """Return a finding about a place that sets no row or cell aside by itself.

    Parameters
    ----------
    code : Code
        What was found.
    file, line, column : str, int or None, str
        As in `Finding`.
    value : str
        The cell; what is longer than 80 characters is cut.
    stops : bool
        Whether it stops the work.
    **values
        What the finding is worded from.
    """
    return Finding(file, line, column, value[:80], code, tuple(values.items()), stops=stops)


def printable(name: str) -> str:
    """Return a name that can be printed: names on disk may hold anything but a slash."""
    return escaped(name.encode("utf-8", "replace").decode("utf-8"))
