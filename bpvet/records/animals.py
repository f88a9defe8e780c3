"""The animals table: one row for each animal met anywhere, and ids that look like one animal."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from functools import cached_property, partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.species import all_species, judged
from bpvet.facts.words import SPECIES
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfCell, near_names
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome, finding_of
from bpvet.records.parsing import dates
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.codes import firsts
from bpvet.records.parsing.columns import TEXT, distinct, distinct_cells, uncoded
from bpvet.records.parsing.dates import NAT
from bpvet.records.parsing.values import Values
from bpvet.records.table_columns import TableColumns
from bpvet.records.tables import TABLES, column_names

#: What no animal has two of, and the finding that one id has.
_TWO = {
    "species": Code.TWO_SPECIES,
    "birth_date": Code.TWO_BIRTH_DATES,
    "breed": Code.TWO_BREEDS,
    "sex": Code.TWO_SEXES,
}
#: Digits that a date with its year has, at least.
_DIGITS_OF_DATE = 6
#: An animal's own target outside these is a slip, mmHg.
TARGET_RANGE = (80, 200)


class Animals:
    """One row for each animal met in any table, by column.

    Parameters
    ----------
    columns : dict of str to (n,) array
        Texts as objects. They are not altered once the records are made.
    """

    def __init__(self, columns: dict[str, NDArray[Any]]) -> None:
        self.columns = columns

    def __len__(self) -> int:
        return len(self.columns["animal"])

    def __getitem__(self, column: str) -> NDArray[Any]:
        return self.columns[column]

    @cached_property
    def _ids(self) -> pa.Array:
        return text_column(self["animal"])

    def rows_of(self, ids: Sequence[str]) -> NDArray[np.int64]:
        """Return the row of each id (k,); -1 where there is none."""
        rows = pc.index_in(text_column(ids), value_set=self._ids)
        return numpy_of(pc.coalesce(rows, scalar_of(-1))).astype(np.int64)

    def table(self) -> TableColumns:
        """Return the same as every table has it."""
        return TableColumns({name: partial(self._cells, name) for name in self.columns}, len(self))

    def _cells(self, name: str) -> Any:
        column = self.columns[name]
        return text_column(column.tolist()) if column.dtype == object else column


def animals_table(checked: CheckedTable, values: Values, met: list[str]) -> Animals:
    """Return one row for each animal: those of the animals table, then others as met.

    Parameters
    ----------
    checked : CheckedTable
        Cells of the animals table; it may have no rows.
    values : dict
        Its values.
    met : list of str
        Ids met in the other tables, in order.
    """
    given = {name: values[name] for name in ("animal", *column_names("animals"))}
    given |= {name: checked.cells(name) for name in checked.unknown}
    columns: dict[str, Any] = {
        name: _objects(column) if isinstance(column, pa.Array) else column
        for name, column in given.items()
    }
    columns["species_written"] = _as_written(checked, columns["species"])
    columns["left_written"] = _left_written(checked, columns["left_on"], values["left_after_today"])
    rows = np.zeros(0, dtype=np.int64)
    if checked.n:
        usable = checked.usable
        columns = _join_doubled(checked, columns, usable)
        rows = np.flatnonzero(usable)
        rows = rows[firsts_of(columns["animal"][rows])]
    listed = set(columns["animal"][rows])
    others = [animal for animal in dict.fromkeys(met) if animal not in listed]
    whole = {"animal": np.array([*columns["animal"][rows], *others], dtype=object)}
    for name, column in columns.items():
        if name != "animal":
            rest = np.full(len(others), _blank_of(column), dtype=column.dtype)
            whole[name] = np.concatenate([column[rows], rest])
    return Animals(whole)


def firsts_of(ids: NDArray[np.object_]) -> NDArray[np.int64]:
    """Return where each id is met first (m,), in order."""
    met: dict[str, int] = {}
    for row, animal in enumerate(ids.tolist()):
        met.setdefault(animal, row)
    return np.array(list(met.values()), dtype=np.int64)


def _as_written(checked: CheckedTable, species: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return the species as it was written (n,) where no guideline speaks of it; else blank.

    A rabbit is not judged as a cat: whoever judges needs to know that something was written. A
    "caat" is no rabbit, and neither is "DSH": what is written nearly as a known species, or holds a
    word for one, counts as left blank, and the rules of all of them hold.
    """
    known = [kind for kind in SPECIES if judged(kind)]
    kinds = [all_species()[kind] for kind in known]
    words = {word for kind in kinds for word in (kind.name, kind.plural, *kind.other_words)}
    texts, code = distinct(checked.cells("species"))
    written = [text.strip() for text in texts]
    for place, text in enumerate(written):
        plain = text.casefold()[:100]
        near = text and get_close_matches(plain, words, n=1, cutoff=0.8)
        if near or not words.isdisjoint(re.findall(r"[\w-]+", plain)):
            written[place] = ""
    # A last one, for a table without rows.
    each_written = np.array([*written, ""], dtype=object)[code]
    each_written[np.array([kind in known for kind in species.tolist()], dtype=bool)] = ""
    return each_written


def has_date(text: str) -> bool:
    """Return whether a text has digits enough for a date with its year."""
    return sum(map(str.isdigit, text)) >= _DIGITS_OF_DATE


def _left_written(
    checked: CheckedTable, left_on: NDArray[np.datetime64], after_today: NDArray[np.bool_]
) -> NDArray[np.object_]:
    """Return what was written of an animal's leaving (n,) where no date of it can be read.

    Blank where there is a date, and where a date stands there that is later than the one that is
    looked at: on that day it had not left. One that lies after today as well is no such date: a
    slip of the year, perhaps.
    """
    written = []
    days, reasons = (_objects(checked.cells(name)) for name in ("left_on", "left_reason"))
    known = zip(days, reasons, np.isnat(left_on), after_today, strict=True)
    for day, reason, without, ahead in known:
        dated = not without or has_date(day)
        written.append("" if dated and not ahead else " ".join(filter(None, (day, reason))))
    return np.array(written, dtype=object)


def check_animals(checked: CheckedTable, values: Values, as_of: np.datetime64) -> None:
    """Check an animal's own dates and target; what is set aside becomes NaN or NaT in `values`."""
    low, high = TARGET_RANGE
    target = values["target_systolic"]
    odd = (target < low) | (target > high)
    checked.report(
        odd, "target_systolic", Code.TARGET, Outcome.CELL, written=WRITTEN, low=low, high=high
    )
    values["target_systolic"] = np.where(odd, np.nan, target)
    values["left_after_today"] = values["left_on"] > max(as_of, dates.today())
    for name, code in (("birth_date", Code.BORN_IN_FUTURE), ("left_on", Code.LEFT_IN_FUTURE)):
        later = values[name] > as_of
        checked.report(later, name, code, Outcome.CELL, written=WRITTEN, as_of=str(as_of))
        values[name] = np.where(later, NAT, values[name])
    checked.report(values["left_on"] < values["birth_date"], "left_on", Code.LEFT_BEFORE_BORN)
    blank = checked.blank("species") & checked.has("species") & checked.usable
    checked.report(blank, "species", Code.NO_SPECIES)


def report_strangers(
    tables: Mapping[str, CheckedTable], known: set[str], with_readings: set[str]
) -> None:
    """Report which animals of the side tables have no reading, or are in no animals table."""
    others = [name for name, checked in tables.items() if name != "readings" and checked.n]
    near = sorted(with_readings - {""}) if others else []
    for checked in map(tables.__getitem__, others):
        texts, code = distinct(checked.cells("animal"))
        strange = [animal != "" and animal not in with_readings for animal in texts]
        unlisted = OfCell(lambda v: bool(known) and v.strip() not in known)
        _report_of_first(checked, strange, code, near, Code.NO_READINGS, unlisted=unlisted)


def report_unlisted(tables: Mapping[str, CheckedTable]) -> list[Finding]:
    """Report animals with readings that are in no animals table; return a finding if none is."""
    readings, animals = tables["readings"], tables["animals"]
    texts, code = distinct(readings.cells("animal"))
    if animals.n == 0:
        many = len([text for text in texts if text])
        return [finding_of(Code.NO_ANIMALS_TABLE, readings.files[0], animals=many)] if many else []
    listed = set(distinct(animals.cells("animal"))[0])
    strange = [animal != "" and animal not in listed for animal in texts]
    _report_of_first(readings, strange, code, sorted(listed - {""}), Code.NOT_LISTED)
    return []


def _report_of_first(
    checked: CheckedTable,
    strange: list[bool],
    code_of_row: NDArray[np.integer],
    known: list[str],
    code: Code,
    **values: Any,
) -> None:
    """Report the first row of each `strange` animal, by its code (n,), with known ids like it."""
    first = firsts(code_of_row, len(strange))
    rows = np.sort(first[np.array(strange, dtype=bool) & (first >= 0)])
    near = near_names(known, lambda: checked.raw("animal").take(arrow_of(rows)), n=2)
    checked.report(rows, "animal", code, animal=WRITTEN, **values, near=near)


def report_look_alikes(tables: Mapping[str, CheckedTable]) -> None:
    """Report which ids differ in nothing but case, white space or how a letter is encoded."""
    if _plainly_different(
        [distinct_cells(checked.cells("animal"))[0] for checked in tables.values()]
    ):
        return
    groups: dict[str, list[tuple[str, CheckedTable, int]]] = {}
    seen: set[str] = set()
    for checked in tables.values():
        texts, code = distinct(checked.cells("animal"))
        for animal, row in zip(texts, firsts(code, len(texts)).tolist(), strict=True):
            if animal and row >= 0 and animal not in seen:
                seen.add(animal)
                if not animal.isprintable():
                    checked.report(np.array([row]), "animal", Code.ODD_ID, animal=animal)
                groups.setdefault(_folded(animal), []).append((animal, checked, row))
    for found in groups.values():
        for animal, checked, row in found[1:]:
            of_id = np.array([row])
            checked.report(of_id, "animal", Code.IDS_ALIKE, animal=animal, other=found[0][0])


def _plainly_different(ids: list[pa.Array]) -> bool:
    """Whether ids of all tables are plain ASCII, and differ in more than case and blanks."""
    different = pc.unique(pa.concat_arrays([column.cast(TEXT) for column in ids]))
    if not pc.all(pc.ascii_is_printable(different), min_count=0).as_py():
        return False
    bare = pc.ascii_lower(pc.replace_substring(different, " ", ""))
    return len(pc.unique(bare)) == len(different)


def _folded(animal: str) -> str:
    if animal.isascii():
        # Nothing to normalise, and nothing that joins or formats.
        return "".join(animal.lower().split())
    text = unicodedata.normalize("NFKC", animal).casefold()
    return "".join(c for c in text if not c.isspace() and unicodedata.category(c) != "Cf")


def _join_doubled(
    checked: CheckedTable, columns: dict[str, NDArray[Any]], usable: NDArray[np.bool_]
) -> dict[str, NDArray[Any]]:
    """Return columns in which the rows of one animal say the same.

    A cell on which they disagree is left blank, and said.
    """
    rows_of: dict[str, list[int]] = {}
    for row, animal in enumerate(columns["animal"].tolist()):
        rows_of.setdefault(animal, []).append(row)
    doubled = {
        animal: [row for row in rows if usable[row]]
        for animal, rows in rows_of.items()
        if len(rows) > 1
    }
    if not any(doubled.values()):
        return columns
    columns = {name: column.copy() for name, column in columns.items()}
    in_order = sorted((rows, animal) for animal, rows in doubled.items() if rows)
    for rows, animal in in_order:
        index = np.array(rows)
        lines = tuple(int(checked.line[row]) for row in rows)
        checked.report(index, "", Code.LISTED_TWICE, animal=animal, lines=lines)
        for name, column in columns.items():
            if name == "animal":
                continue
            # Case is no disagreement; the first way of writing stays.
            given = dict.fromkeys(value for value in column[index] if not _is_blank(value))
            first = {_comparable(value): value for value in reversed(given)}
            different = list(first.values())[::-1]
            if len(different) == 1:
                column[index] = different[0]
            elif len(different) > 1:
                column[index] = _blank_of(column)
                checked.report(
                    index,
                    name if name in checked.unknown or name in column_names("animals") else "",
                    _TWO.get(name, Code.ROWS_DISAGREE),
                    animal=animal,
                    different=tuple(_shown(value) for value in different[:3]),
                )
    return columns


def _is_blank(value: Any) -> bool:
    """Whether a cell holds nothing: a text of no letter, no number, no date."""
    return value == "" if isinstance(value, str) else bool(value != value)


def _shown(value: Any) -> str:
    return str(value.astype("datetime64[D]")) if isinstance(value, np.datetime64) else f"{value}"


def _blank_of(column: NDArray[Any]) -> Any:
    """Return what stands for nothing in a column of this type."""
    return {"f": np.nan, "M": NAT}.get(column.dtype.kind, "")


def _comparable(value: object) -> object:
    return " ".join(value.casefold().split()) if isinstance(value, str) else value


def _objects(cells: pa.Array) -> NDArray[np.object_]:
    return numpy_of(uncoded(cells))


def met_animals(tables: Mapping[str, CheckedTable]) -> list[str]:
    """Return every id that stands in any table, in order of tables and rows."""
    met: dict[str, None] = {}
    for table in TABLES:
        met.update(dict.fromkeys(distinct(tables[table].cells("animal"))[0]))
    return [animal for animal in met if animal]
