"""What FHIR resources were found to hold: rows table by table, and what is to be said of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.cells import some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable

#: Kinds of resources that are named before the rest is counted.
_KINDS_NAMED = 12


@dataclass(eq=False)
class Rows:
    """The rows of one table so far: their lines, their cells, and those that cannot be used.

    ``single`` holds, by its place, the quantity of a row that stood alone in a resource.
    """

    lines: list[int] = field(default_factory=list)
    cells: list[dict[str, str]] = field(default_factory=list)
    broken: dict[int, tuple[str, str]] = field(default_factory=dict)
    single: dict[int, str] = field(default_factory=dict)

    def add(
        self, line: int, cells: dict[str, str], why: str = "", text: str = "", single: str = ""
    ) -> None:
        """Add a row; with `why` one that cannot be used, with `single` one of a quantity alone."""
        if why:
            self.broken[len(self.lines)] = (printable(text), why)
        elif single:
            self.single[len(self.lines)] = single
        self.lines.append(line)
        self.cells.append({} if why else cells)


@dataclass(eq=False)
class Found:
    """What the resources of a file hold, and what is to be said of them.

    Parameters
    ----------
    rows : dict of str to Rows
        By table; readings known by their mean alone are ``means``.
    lines : dict of Code to list of int
        Places of the resources that a finding is about.
    contained : set
        Cells of animals within other resources.
    strange : Counter of str
        Kinds of resources that are not read.
    """

    rows: dict[str, Rows] = field(default_factory=lambda: defaultdict(Rows))
    lines: dict[Code, list[int]] = field(default_factory=lambda: defaultdict(list))
    contained: set[tuple[tuple[str, str], ...]] = field(default_factory=set)
    strange: Counter[str] = field(default_factory=Counter)


def join_single_values(found: Found) -> None:
    """Put values of one animal at one moment that stand alone together as one reading.

    Only where the time of day is told, all else is the same and no quantity comes twice: then they
    are of one inflation. All others stay rows of their own.
    """
    rows = found.rows["readings"]
    together: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for at in rows.single:
        cells = rows.cells[at]
        if "T" in cells.get("taken_at", "") and cells.get("method"):
            varying = (*READING_QUANTITIES, "note")
            key = tuple(sorted((name, cell) for name, cell in cells.items() if name not in varying))
            together.setdefault(key, []).append(at)
    gone: set[int] = set()
    for places in together.values():
        names = [rows.single[at] for at in places]
        if len(places) == 1 or len(set(names)) < len(names):
            continue
        first, *others = places
        for at in others:
            name = rows.single[at]
            rows.cells[first][name] = rows.cells[at][name]
        notes = dict.fromkeys(rows.cells[at]["note"] for at in places if rows.cells[at]["note"])
        rows.cells[first]["note"] = "\n".join(notes)
        gone.update(others)
        found.lines[Code.SINGLE_VALUES] += [rows.lines[at] for at in others]
    kept = [at for at in range(len(rows.lines)) if at not in gone]
    found.rows["readings"] = Rows(
        [rows.lines[at] for at in kept],
        [rows.cells[at] for at in kept],
        {new: rows.broken[at] for new, at in enumerate(kept) if at in rows.broken},
    )


def report_resources(source: str, found: Found, findings: list[Finding]) -> None:
    """Say what was passed over, what was changed, and what was not understood."""
    if found.strange:
        kinds = tuple(sorted(found.strange.items()))
        findings.append(
            finding_of(
                Code.RESOURCES_NOT_READ,
                source,
                kinds=kinds[:_KINDS_NAMED],
                more=max(0, len(kinds) - _KINDS_NAMED),
            )
        )
    for code in (
        *(Code.DERIVED_MEANS, Code.SINGLE_VALUES, Code.KPA_BY_CODE, Code.NOT_FINAL, Code.VOID),
    ):
        if lines := found.lines[code]:
            line = lines[0] if code is Code.VOID else None
            findings.append(finding_of(code, source, line, lines=some_of(lines)))
