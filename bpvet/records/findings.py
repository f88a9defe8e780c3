"""A finding: a line that the record check has to say about a place in the input."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from bpvet.printing import escaped
from bpvet.printing import shown as shown


@dataclass(frozen=True)
class Finding:
    """What was found, where, and how it can be mended.

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
    reason : str
        What was found and what was done about it, as sentences that name the value.
    mend : str
        What the reader can do, as a sentence.
    stops : bool
        Whether this stops the work (exit status 1).
    kind : str
        A stable word for grouping, such as ``not a number``.
    """

    file: str
    line: int | None
    column: str
    value: str
    reason: str
    mend: str
    stops: bool = False
    kind: str = ""

    def to_dict(self) -> dict[str, str | int | bool | None]:
        """Return the finding as plain JSON values."""
        return asdict(self)

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}"
        if self.column:
            place += f", column {printable(self.column)}"
        return f"{place}: {self.reason} {self.mend}".rstrip()


def whole(
    file: str, reason: str, mend: str, kind: str, line: int | None = None, stops: bool = True
) -> Finding:
    """Return a finding about a whole file."""
    return Finding(file, line, "", "", reason, mend, stops=stops, kind=kind)


def printable(name: str) -> str:
    """Return a name that can be printed: names on disk may hold anything but a slash."""
    return escaped(name.encode("utf-8", "replace").decode("utf-8"))
