"""The tables that records hand out, made when they are asked for; and the readings as codes.

A million readings are small as numbers and codes and large as texts, so the texts of a table are
made only for who looks at it. Sessions are made from the codes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.animals import Animals
from bpvet.records.checked_table import CheckedTable
from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.frames import columns_of, frame_of
from bpvet.records.parsing.numbers import BOUND_WORDS
from bpvet.records.parsing.packed import PackedNumbers, PackedTimes
from bpvet.records.parsing.values import Values
from bpvet.records.table_columns import TableColumns

if TYPE_CHECKING:
    import pandas as pd

#: Columns of the readings that say when and how each was taken, and what it gave.
_CODED = (
    *("animal", "taken_at", "timed", "date", "method", *READING_QUANTITIES, "counted_pulse"),
    *(f"{quantity}_bound" for quantity in READING_QUANTITIES),
    *("summary_n", "summary_sd", "session", "reading", "excluded", "setting", "state"),
    *("condition", "site", "side", "posture", "demeanour", "operator", "instrument"),
    *("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm", "duplicate", "future"),
    "below_gauge",
)


class MadeTables(Mapping[str, "pd.DataFrame"]):
    """Data frames by table, each made when first asked for.

    Parameters
    ----------
    tables : mapping of str to CheckedTable
        The tables' cells, and what was said of them.
    values : mapping of str to dict
        Their values.
    animals : Animals
        Which are made in any case.
    """

    def __init__(
        self,
        tables: Mapping[str, CheckedTable],
        values: Mapping[str, Values],
        animals: Animals,
    ) -> None:
        self._tables, self._values, self.animals = tables, values, animals
        self._columns = {"animals": animals.table()}
        self._made: dict[str, pd.DataFrame] = {}

    def __getitem__(self, table: str) -> pd.DataFrame:
        if table not in self._made:
            columns = self.columns(table)
            if table == "animals":
                import pandas as pd

                whole = {name: columns[name] for name in columns.names}
                self._made[table] = pd.DataFrame(whole)
            else:
                self._made[table] = frame_of(columns)
        return self._made[table]

    def columns(self, table: str) -> TableColumns:
        """Return the columns of a table, each made when it is asked for."""
        if table not in self._columns:
            self._columns[table] = columns_of(self._tables[table], self._values[table])
        return self._columns[table]

    def __contains__(self, table: object) -> bool:
        return table in self._tables

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)

    def set_aside(self, table: str) -> int:
        """Return how many rows of a table are set aside."""
        return int((~self._tables[table].usable).sum())

    def rows(self, table: str) -> int:
        """Return how many rows a table has."""
        return len(self.animals) if table == "animals" else self._tables[table].n

    def coded_readings(self) -> CodedReadings:
        """Return the readings with their texts as codes.

        All but `note` and unknown columns, in the order of the input. `session` as written is
        called `label`, `set_aside` says "set aside" in place of the reason, and `below_gauge` says
        whether that is of a number lower than any animal has.
        """
        checked, values = self._tables["readings"], self._values["readings"]
        columns = {name: _coded(values.packed(name), name) for name in _CODED}
        columns["label"] = columns.pop("session")
        aside = (~checked.usable).astype(np.int8)
        columns["set_aside"] = Coded(aside, text_column(["", "set aside"]))
        return CodedReadings(columns, checked.n)


class CodedReadings:
    """Readings as codes and packed numbers, of which some rows are made a frame at a time.

    Parameters
    ----------
    columns : mapping of str to (n,) array, Coded or packed column
    n : int
        Rows.
    """

    def __init__(self, columns: Mapping[str, Any], n: int) -> None:
        self.columns, self._n = dict(columns), n

    def __len__(self) -> int:
        return self._n

    def frame(
        self,
        rows: NDArray[np.integer] | slice = slice(None),
        names: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return some rows (k,) of some columns, all by default; texts are categories."""
        import pandas as pd

        some = {name: self.some(name, rows) for name in names or self.columns}
        made = {
            name: column.categorical() if isinstance(column, Coded) else column
            for name, column in some.items()
        }
        return pd.DataFrame(made, copy=False)

    def some(self, name: str, rows: NDArray[np.integer] | slice) -> Any:
        """Return some rows (k,), or by a slice all, of a column; texts are `Coded`."""
        column = self.columns[name]
        if isinstance(column, PackedNumbers | PackedTimes):
            return column.whole() if isinstance(rows, slice) else column.at(rows)
        return column[rows]


def _coded(column: Any, name: str) -> Any:
    if name.endswith("_bound"):
        return Coded(column, text_column(BOUND_WORDS.tolist()))
    if isinstance(column, np.ndarray | PackedNumbers | PackedTimes):
        return column
    return Coded.of_cells(column)
