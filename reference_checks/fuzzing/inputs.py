"""Generated inputs on disk: tables in every format that is read, and files that are broken."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet

from bpvet.records.headings.mapping_file import LAYOUTS
from bpvet.records.tables import TABLES
from reference_checks.fuzzing.cells import HOSTILE, IDS, Table, clinic, one_table
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.layouts import laid_out

#: Spreadsheet cells cannot hold these.
_NOT_IN_SHEETS = dict.fromkeys((*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF))


def write_input(draws: Draws, folder: Path, busy: int = 0) -> Path:
    """Write one input into an empty folder and return what the command line is given.

    Parameters
    ----------
    draws : Draws
        Where the choices come from.
    folder : Path
        It is there, and empty.
    busy : int
        Of how many animals there are visits over months; 0 where anything may be.
    """
    tables = clinic(draws, busy)
    if not busy and draws.once_in(6):
        tables[0] = laid_out(draws)
    if draws.once_in(3):
        return _single(draws, tables[0], folder)
    whole = draws.one((*(_folder,) * 5, _file_an_animal, _one_workbook, _database))
    place = whole(draws, tables, folder)
    if draws.odd(6):
        (folder / "bpvet-columns.toml").write_bytes(_settings(draws))
    return place


def write_file(draws: Draws, folder: Path) -> Path:
    """Write one small file, for what reads a file alone, and return it; see `write_input`."""
    name = "readings" if draws.once_in(2) else draws.one(tuple(TABLES))
    held = laid_out(draws) if draws.once_in(5) else one_table(draws, name, (1, 3, 6))
    place = _single(draws, held, folder)
    if draws.odd(12):
        (folder / "bpvet-columns.toml").write_bytes(_settings(draws))
    return place


def _single(draws: Draws, table: Table, folder: Path) -> Path:
    ending = draws.one(("csv", "csv", "csv", *WRITERS))
    name = draws.one(("readings", "export", "Sheet 1 (2)", "=1+1"))
    place = folder / f"{name}.{ending}"
    place.write_bytes(_broken(draws, WRITERS[ending](draws, table)))
    return place


def _folder(draws: Draws, tables: list[Table], folder: Path) -> Path:
    for table in tables:
        ending = draws.one(("csv", "csv", *WRITERS))
        content = _broken(draws, WRITERS[ending](draws, table))
        (folder / f"{table.name}.{ending}").write_bytes(content)
    return folder


def _file_an_animal(draws: Draws, tables: list[Table], folder: Path) -> Path:
    readings = tables[0]
    for animal in IDS[: 1 + draws.below(3)]:
        place = folder / f"readings-{animal}.csv"
        place.write_bytes(_broken(draws, _csv(draws, readings)))
    (folder / "bpvet-columns.toml").write_text('layout = "one file an animal"\n')
    return folder


def _one_workbook(draws: Draws, tables: list[Table], folder: Path) -> Path:
    place = folder / "clinic.xlsx"
    place.write_bytes(_broken(draws, _workbook(draws, tables)))
    return place


def _database(draws: Draws, tables: list[Table], folder: Path) -> Path:
    place = folder / "clinic.db"
    connection = sqlite3.connect(place)
    for table in tables:
        heads = _distinct(table.header)
        columns = ", ".join('"' + head.replace('"', '""') + '"' for head in heads)
        marks = ", ".join("?" for _ in heads)
        connection.execute(f'create table "{table.name}" ({columns})')
        connection.executemany(f'insert into "{table.name}" values ({marks})', _square(table))
    connection.commit()
    connection.close()
    return place


def _csv(draws: Draws, table: Table) -> bytes:
    separator = "|" if draws.odd(6) else draws.one((",", ",", ";", "\t"))
    quoting = csv.QUOTE_NONE if draws.odd(6) else draws.one((csv.QUOTE_MINIMAL, csv.QUOTE_ALL))
    text = io.StringIO()
    writer = csv.writer(
        text,
        delimiter=separator,
        quoting=quoting,
        escapechar="\\" if quoting == csv.QUOTE_NONE else None,
        lineterminator=draws.one(("\n", "\r\n", "\r")),
    )
    if draws.odd(12):
        writer.writerow([draws.one(("Report of the clinic", "# exported 2025-01-01", "two words"))])
    # A row of one empty field, or of none, cannot be written without quotes.
    writer.writerows(row for row in (table.header, *table.rows) if any(row))
    if draws.odd(12):
        writer.writerow([draws.one(("Total", "Mean", "# end"))] + ["150"] * draws.below(5))
    usual = draws.one(("utf-8", "utf-8", "utf-8-sig", "utf-16"))
    encoding = draws.one(("cp1252", "latin-1")) if draws.odd(6) else usual
    return text.getvalue().encode(encoding, "replace")


def _xlsx(draws: Draws, table: Table) -> bytes:
    return _workbook(draws, [table])


def _workbook(draws: Draws, tables: list[Table]) -> bytes:
    book = openpyxl.Workbook()
    # A workbook needs one sheet that is not hidden.
    book.active.title = "notes"
    for table in tables:
        sheet = book.create_sheet(table.name)
        for row in (table.header, *table.rows):
            sheet.append([_spreadsheet_cell(draws, cell) for cell in row])
        if draws.odd(15):
            sheet.sheet_state = "hidden"
        if draws.odd(15):
            sheet.merge_cells("A1:B1")
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _spreadsheet_cell(draws: Draws, cell: str) -> object:
    if draws.once_in(3):
        try:
            return float(cell)
        except ValueError:
            pass
    return cell.translate(_NOT_IN_SHEETS)[:30_000]


def _jsonl(draws: Draws, table: Table) -> bytes:
    lines = []
    for row in table.rows:
        held: dict[str, object] = dict(zip(table.header, row, strict=False))
        if draws.odd(10):
            held[draws.one(table.header)] = draws.one(
                (None, 150, 1e400, True, [1, 2], {"a": 1}, float("nan"))
            )
        lines.append(json.dumps(held, ensure_ascii=draws.once_in(2)))
    return ("\n".join(lines) + "\n").encode("utf-8", "replace")


def _arrow_table(draws: Draws, table: Table) -> pa.Table:
    # These files may bear a name twice.
    heads = list(table.header) if draws.odd(6) else _distinct(table.header)
    columns = [list(column) for column in zip(*_square(table), strict=True)] or [[] for _ in heads]
    arrays = []
    for column in columns:
        array = pa.array(column, pa.string())
        arrays.append(array.dictionary_encode() if draws.once_in(5) else array)
    return pa.table(arrays, names=heads)


def _parquet(draws: Draws, table: Table) -> bytes:
    held = io.BytesIO()
    pyarrow.parquet.write_table(_arrow_table(draws, table), held)
    return held.getvalue()


def _arrow(draws: Draws, table: Table) -> bytes:
    held, made = io.BytesIO(), _arrow_table(draws, table)
    with pa.ipc.new_file(held, made.schema) as writer:
        writer.write_table(made)
    return held.getvalue()


def _bundle(draws: Draws, table: Table) -> bytes:
    """Write a bundle of observations by hand, with what may be missing or odd in one."""
    entries = []
    for row in table.rows:
        cells = dict(zip(table.header, row, strict=False))
        quantity = {"value": cells.get("systolic", 150), "unit": "mmHg", "code": "mm[Hg]"}
        observation = {
            "resourceType": draws.one(("Observation", "Observation", "Patient", "Nonsense")),
            "status": "final",
            "code": {"coding": [{"system": "http://loinc.org", "code": "8480-6"}]},
            "subject": {"reference": f"Patient/{draws.one(IDS)}"},
            "effectiveDateTime": draws.one(("2025-01-01", "2025-01-01T10:00:00Z", "soon")),
            "valueQuantity": draws.one((quantity, None, [], "150", {"value": "x"})),
        }
        if draws.once_in(4):
            del observation[draws.one(tuple(observation))]
        entries.append({"resource": draws.one((observation, observation, None, []))})
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}).encode()


WRITERS: dict[str, Callable[[Draws, Table], bytes]] = {
    "csv": _csv,
    "tsv": _csv,
    "txt": _csv,
    "xlsx": _xlsx,
    "parquet": _parquet,
    "feather": _arrow,
    "arrow": _arrow,
    "jsonl": _jsonl,
    "json": _bundle,
}


def _settings(draws: Draws) -> bytes:
    lines = [
        draws.one(('dates = "dmy"', 'dates = "mdy"', "dates = 3", 'unit = "kPa"', "[", "x = 1")),
        draws.one(('encoding = "cp1252"', 'encoding = "x"', "", "[columns]")),
        draws.one(("", "layout = 1", *(f'layout = "{one}"' for one in LAYOUTS.values()))),
        f'{json.dumps(draws.one(("BP", "Vet", *HOSTILE)))} = "systolic"',
    ]
    return "\n".join(lines).encode("utf-8", "replace")


def _broken(draws: Draws, content: bytes) -> bytes:
    """Return the content as it is, or as a bad disk, a bad program or a bad day leaves it."""
    if not draws.odd(6) or not content:
        return content
    place = draws.below(len(content))
    kind = draws.below(5)
    if kind == 0:
        return content[:place]
    if kind == 1:
        return content[:place] + draws.raw(16) + content[place:]
    if kind == 2:
        return content[:place] + draws.raw(8) + content[place + 8 :]
    if kind == 3:
        return content[:place] + content[place : place + 200] * 5 + content[place:]
    return draws.raw(400)


def _distinct(header: tuple[str, ...]) -> list[str]:
    """Return headings that differ, as databases and Arrow ask for."""
    found: list[str] = []
    for place, head in enumerate(header):
        plain = head.replace("\x00", "") or f"column {place}"
        taken = plain.casefold() in {one.casefold() for one in found}
        found.append(f"{plain} {place}" if taken else plain)
    return found


def _square(table: Table) -> list[list[str]]:
    width = len(table.header)
    return [[*row, *[""] * width][:width] for row in table.rows]
