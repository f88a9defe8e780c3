"""Tables of a clinic as people and accidents make them: cells that are right, odd and hostile."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from bpvet.records.tables import SUMMARY, TABLES, Column
from reference_checks.fuzzing.draws import Draws

#: What must never come back as anything but text.
HOSTILE = (
    "=1+1",
    '=HYPERLINK("http://127.0.0.1/")',
    "@SUM(A1)",
    "+cmd|' /C calc'!A0",
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "](javascript:alert(1))",
    "{{ 7*7 }}",
    "$(touch canary)",
    "`touch canary`",
    "__import__('os').system('touch canary')",
    "../../../../etc/passwd",
    "CON",
    "\x1b[2J",
    "a\u202eb",
    "é" * 70,
    "x" * 3000,
    "\x00",
    "'; drop table readings; --",
    "NaN",
    "1e400",
    "",
)
IDS = ("A1", "A2", "B07", "007", "1e5", "NA", "None", "Möwe", "A 1", "a1")
NUMBERS = (
    *("150", "142", "161", "178", "131", "155.5", "155,5", "1,650", "16O", "12", "1650", "300"),
    *("> 300", ">300", "< 40", "no sound", "0", "-5", "1e400", "nan", "inf", "٣٤", "165/90"),
    *("165/158/160", "20.5", "150 mmHg", "150?", "½", " 140 ", "0x90", "1_000", "15 0", "+140"),
)
DATES = (
    *("2025-01-01", "2025-01-08", "2025-02-03", "2025-03-01T10:00", "2025-04-11T10:02:30"),
    *("2025-01-01T10:00:30+02:00", "2025-02-30", "2031-01-01", "03/04/2025", "13/04/2025"),
    *("04/13/2025", "3.4.2025", "1899-12-30", "soon", "today", "45000", "2025", "20250403"),
    *("2025-13-01", "2025-01-01T25:00", "0000-00-00", "9999-12-31", "2024-12-31 10:00", "1 Mar 25"),
)
DRUGS = ("amlodipine", "telmisartan", "Amlodipin", "benazepril", "water", "prednisolone")
ANALYTES = ("creatinine", "sdma", "upc", "potassium", "phosphate", "total_t4", "weight", "Crea")
SIGNS = ("retinal detachment", "seizure", "collapse", "murmur", "blind", "none")


@dataclass(frozen=True)
class Table:
    """A table's name, headings and rows of cells."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def clinic(draws: Draws, busy: int = 0) -> list[Table]:
    """Return tables with readings among them; of so many animals by their visits if `busy`."""
    names = [name for name in TABLES if name != "readings" and draws.once_in(4)]
    others = [one_table(draws, name) for name in names]
    if not busy:
        return [one_table(draws, "readings"), *others]
    species = draws.one(("cat", "dog"))
    rows = tuple((f"A{animal}", species) for animal in range(1, 1 + busy))
    others = [one for one in others if one.name != "animals"]
    return [_visits(draws, busy), Table("animals", ("animal", "species"), rows), *others]


def _visits(draws: Draws, animals: int) -> Table:
    """Return visits of several animals over months, by both methods, with mischief in few cells."""
    columns = [column for column in TABLES["readings"] if column.required]
    extra = [c for c in TABLES["readings"] if not c.required and c.kind != "quantity"]
    columns += [column for column in extra if draws.once_in(6)]
    methods = draws.one((("doppler",), ("doppler", "oscillometric")))
    visits = product(range(1, 1 + animals - draws.below(4)), range(1, 3 + draws.below(5)), methods)
    rows = []
    for animal, month, method in visits:
        day = f"2025-{month:02d}-{1 + draws.below(28):02d}"
        known = {"animal": f"A{animal}", "taken_at": day, "method": method}
        for _ in range(1 + draws.below(4)):
            cells = [
                known[column.name]
                if column.name in known and not draws.odd(4)
                else _cell(draws, column)
                for column in columns
            ]
            rows.append((*cells, _number(draws, "systolic")))
    return Table("readings", (*(column.name for column in columns), "systolic"), tuple(rows))


def one_table(draws: Draws, name: str, most: tuple[int, ...] = (3, 8, 24)) -> Table:
    """Return one table: the columns it needs, some it may have, and mischief in both.

    It has at most one of the numbers of rows in `most`.
    """
    own = [c for c in TABLES[name] if c.kind != "quantity"]
    columns = [c for c in own if (c.required and not draws.odd(40)) or draws.once_in(3)]
    header = [_heading(draws, column.name) for column in columns]
    if name == "readings":
        header, columns = _pressures(draws, header, columns)
    if draws.odd(10):
        header.append(draws.one(("Vet", "", "animal", "systolic", "Total", "x" * 500, "=1+1")))
        columns.append(Column("note"))
    if draws.odd(15):
        # A heading that stands there twice, or a column that has its readings elsewhere.
        at = draws.below(max(len(columns), 1))
        header.append(draws.one((*header, "chart_line")) if header else "chart_line")
        columns.append(columns[at] if columns else Column("note"))
    rows = []
    for _ in range(draws.below(1 + draws.one(most))):
        row = [_cell(draws, column) for column in columns]
        if draws.odd(25):
            row = row[: draws.below(len(row) + 1)] + [draws.one(HOSTILE)] * draws.below(3)
        rows.append(tuple(row))
    return Table(name, tuple(header), tuple(rows))


def _heading(draws: Draws, name: str) -> str:
    if not draws.odd(12):
        return name
    return draws.one(
        (
            name.upper(),
            f" {name} ",
            name.replace("_", " "),
            f"{name}*",
            f"The {name}",
            draws.text(9),
        )
    )


def _pressures(
    draws: Draws, header: list[str], columns: list[Column]
) -> tuple[list[str], list[Column]]:
    """Add the pressures in one of the ways in which people write them."""
    usual = (
        ("systolic",),
        ("systolic", "diastolic", "mean", "heart_rate"),
        ("systolic_1", "systolic_2", "systolic_3", "systolic_4"),
        SUMMARY,
    )
    names = draws.one(((), ("BP",), ("systolic", "BP"))) if draws.odd(6) else draws.one(usual)
    pressures = [Column(name, "quantity") for name in names]
    return [*header, *names], [*columns, *pressures]


def _cell(draws: Draws, column: Column) -> str:
    if draws.odd(20):
        return draws.one(HOSTILE)
    if draws.odd(40):
        return draws.text(12)
    if column.name == "animal":
        return draws.one(IDS if draws.odd(4) else IDS[:2])
    if draws.odd(15):
        return ""
    if column.kind == "word":
        return draws.one(column.words) if draws.once_in(3) else column.words[0]
    if column.name in ("excluded", "session"):
        return draws.one(("moved", "no", "0", "2")) if draws.odd(3) else ""
    if column.kind in ("number", "quantity"):
        return _number(draws, column.name)
    if column.kind in ("date", "moment"):
        return draws.one(DATES if draws.odd(4) else DATES[:5])
    special = {"drug": DRUGS, "analyte": ANALYTES, "sign": SIGNS}
    return draws.one(special.get(column.name, ("left fore", "calm", "J. Doe (invented)", "x", "")))


def _number(draws: Draws, name: str) -> str:
    if name.endswith("_n"):
        return draws.one(("5", "3", "1", "0", "2.5", "x"))
    if draws.odd(3):
        return draws.one(NUMBERS)
    return str(90 + draws.below(110))
