"""What FHIR resources were found to hold: rows table by table, and what is to be said of them."""

from __future__ import annotations

from collections import Counter
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
    """What the resources of a file hold, table by table, and what is to be said of them."""

    readings: Rows = field(default_factory=Rows)
    means: Rows = field(default_factory=Rows)
    animals: Rows = field(default_factory=Rows)
    treatments: Rows = field(default_factory=Rows)
    labs: Rows = field(default_factory=Rows)
    observations: Rows = field(default_factory=Rows)
    derived: list[int] = field(default_factory=list)
    void: list[int] = field(default_factory=list)
    early: list[int] = field(default_factory=list)
    kilopascal: list[int] = field(default_factory=list)
    joined: list[int] = field(default_factory=list)
    contained: set[tuple[tuple[str, str], ...]] = field(default_factory=set)
    strange: Counter[str] = field(default_factory=Counter)


def join_single_values(found: Found) -> None:
    """Put values of one animal at one moment that stand alone together as one reading.

    Only where the time of day is told, all else is the same and no quantity comes twice: then they
    are of one inflation. All others stay rows of their own.
    """
    rows = found.readings
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
        found.joined += [rows.lines[at] for at in others]
    found.readings = _without(rows, gone)


def _without(rows: Rows, gone: set[int]) -> Rows:
    kept = [at for at in range(len(rows.lines)) if at not in gone]
    return Rows(
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
    reported = {
        Code.DERIVED_MEANS: found.derived,
        Code.SINGLE_VALUES: found.joined,
        Code.KPA_BY_CODE: found.kilopascal,
        Code.NOT_FINAL: found.early,
    }
    for code, lines in reported.items():
        if lines:
            findings.append(finding_of(code, source, lines=some_of(lines)))
    if found.void:
        line = found.void[0]
        findings.append(finding_of(Code.VOID, source, line, lines=some_of(found.void)))
