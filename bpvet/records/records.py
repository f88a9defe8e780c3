"""`Records`: an animal's or a clinic's tables as read and checked, and what was found in them."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.equality import Content
from bpvet.errors import Ambiguous, CallError, RecordsError
from bpvet.frozen import dataclass
from bpvet.printing import ShortTable
from bpvet.reasons import reason
from bpvet.records.checks.row_findings import Findings
from bpvet.records.findings import Finding, shown
from bpvet.records.headings.near_names import did_you_mean, nearest

if TYPE_CHECKING:
    import pandas as pd

    from bpvet.records.animal_rows import AnimalRow
    from bpvet.records.entries.cancelled import CancelledRow
    from bpvet.records.made_tables import CodedReadings, MadeTables
    from bpvet.records.table_columns import TableColumns


@cache
def copies_on_write() -> bool:
    """Return whether pandas copies on write, so that a shallow copy is safe to hand out."""
    import pandas as pd

    return int(pd.__version__.split(".")[0]) >= 3


@dataclass(frozen=True, eq=False, repr=False)
class Records(Content):
    """Records as read and checked: eight tables, the findings, and the date they are read at.

    Made by `bpvet.read` or `Records.from_frames`. Nothing in it can be changed: a frame that is
    handed out is the reader's own.

    Parameters
    ----------
    findings : Findings
        What the record check has to say, in the order of the input: a sequence of `Finding` that
        reads as a tuple.
    as_of : datetime64[D]
        The date that is looked at; rows dated later are set aside.
    source : str
        Name of the folder or file, without its path.
    digest : str
        sha256 of what was read (file names and bytes, or the frames' cells).
    cancelled_rows : tuple of CancelledRow
        The rows that a row of `cancelled` takes back: they are in no other table here.
    """

    _tables: MadeTables
    findings: Findings
    as_of: np.datetime64
    source: str
    digest: str
    cancelled_rows: tuple[CancelledRow, ...]
    _understood: Mapping[str, Any]
    _reread: Callable[[np.datetime64], Records]

    @classmethod
    def from_frames(
        cls,
        readings: pd.DataFrame,
        treatments: pd.DataFrame | None = None,
        animals: pd.DataFrame | None = None,
        labs: pd.DataFrame | None = None,
        observations: pd.DataFrame | None = None,
        missed: pd.DataFrame | None = None,
        contacts: pd.DataFrame | None = None,
        cancelled: pd.DataFrame | None = None,
        as_of: object = None,
    ) -> Records:
        """Return records from data frames, with the same checks as `bpvet.read`.

        Parameters
        ----------
        readings, treatments, animals, labs, observations, missed, contacts, cancelled : DataFrame
            Tables with the columns of a record folder's files; only `readings` is needed.
            They are not altered. A finding's line is the row's position from 1.
        as_of : date or text, optional
            The date to look at, YYYY-MM-DD; today if left out.

        Raises
        ------
        CallError
            A table is no data frame, or `as_of` is no date.

        Examples
        --------
        >>> import pandas as pd
        >>> frame = pd.DataFrame(
        ...     {"animal": ["A17"], "taken_at": ["2026-03-01"], "method": ["doppler"],
        ...      "systolic": [152]}
        ... )
        >>> Records.from_frames(frame, as_of="2026-03-02").readings["systolic"].tolist()
        [152.0]
        """
        from bpvet.records.read import records_of_frames

        frames = {
            "readings": readings,
            "animals": animals,
            "treatments": treatments,
            "labs": labs,
            "observations": observations,
            "missed": missed,
            "contacts": contacts,
            "cancelled": cancelled,
        }
        return records_of_frames(frames, as_of)

    @property
    def readings(self) -> pd.DataFrame:
        """Every row of the readings in the order of the input, one row a reading.

        A row with a reason in ``set_aside`` cannot be used; what else it holds is kept so that it
        still counts as taken. ``…_bound`` is "", "at least", "at most" or "no sound".
        """
        return self._handed_out("readings")

    def coded_readings(self) -> CodedReadings:
        """Return what sessions are made of: the readings with their texts as categories.

        All columns of `readings` but ``file``, ``line``, ``note`` and those that are not ours;
        ``session`` is called ``label``, ``set_aside`` says "set aside" in place of the reason, and
        ``below_gauge`` whether that is of a number lower than any animal has.
        """
        return self._tables.coded_readings()

    @property
    def animals(self) -> pd.DataFrame:
        """One row for each animal met in any of the tables."""
        return self._handed_out("animals")

    @cached_property
    def rows_by_animal(self) -> Mapping[str, AnimalRow]:
        """The rows of `animals` by id: for who asks of one animal after another."""
        from bpvet.records.animal_rows import rows_of

        return rows_of(self._tables.animals)

    @property
    def treatments(self) -> pd.DataFrame:
        """Every row of the treatments."""
        return self._handed_out("treatments")

    @property
    def labs(self) -> pd.DataFrame:
        """Every row of the laboratory values."""
        return self._handed_out("labs")

    @property
    def observations(self) -> pd.DataFrame:
        """Every row of the signs seen."""
        return self._handed_out("observations")

    @property
    def missed(self) -> pd.DataFrame:
        """Every row of doses that were missed or late; a blank ``what`` is "missed"."""
        return self._handed_out("missed")

    @property
    def contacts(self) -> pd.DataFrame:
        """Every row of contacts with owners; they move a row of `bpvet.due`."""
        return self._handed_out("contacts")

    @property
    def cancelled(self) -> pd.DataFrame:
        """Every row that takes an entry back; what it took back is in `cancelled_rows`."""
        return self._handed_out("cancelled")

    def rows_of(self, table: str, animal: str | None = None) -> pd.DataFrame:
        """Return a table, or of one animal alone the rows of it.

        Parameters
        ----------
        table : str
            Such as ``readings``.
        animal : str, optional
            The animal's id; its rows are kept until another's are asked for. Of one that is not
            in the table there are none.

        Returns
        -------
        DataFrame
            As the property of that name gives it; whoever takes it may change it.

        Raises
        ------
        CallError
            There is no such table.
        """
        if table not in self._tables:
            raise CallError(f"{table!r} is no table; write one of {', '.join(self._tables)}.")
        if animal is None:
            return self._handed_out(table)
        kept = self._kept_rows
        if animal not in kept:
            kept.clear()
        frames = kept.setdefault(animal, {})
        if table not in frames:
            rows = self._tables[table]
            frames[table] = rows[(rows["animal"] == animal).to_numpy(dtype=bool)]
        return copied(frames[table])

    def columns(self, table: str, animal: str | None = None) -> TableColumns:
        """Return the rows of a table as arrays by column; parameters and errors as `rows_of`.

        Returns
        -------
        TableColumns
            The columns of the frame; what they hold cannot be changed.
        """
        if table not in self._tables:
            raise CallError(f"{table!r} is no table; write one of {', '.join(self._tables)}.")
        whole = self._tables.columns(table)
        if animal is None:
            return whole
        kept = self._kept_columns
        if animal not in kept:
            kept.clear()
        rows = kept.setdefault(animal, {})
        if table not in rows:
            rows[table] = whole.take(whole.is_text("animal", animal))
        return rows[table]

    @cached_property
    def _kept_columns(self) -> dict[str, dict[str, TableColumns]]:
        """The columns of the animal last asked for, by animal and table."""
        return {}

    @cached_property
    def _kept_rows(self) -> dict[str, dict[str, pd.DataFrame]]:
        """The rows of the animal last asked for, by animal and table."""
        return {}

    @property
    def understood(self) -> dict[str, Any]:
        """What was made of the input: layout, dates, unit, encoding, methods, animals, …"""
        return copy.deepcopy(dict(self._understood))

    @property
    def stopping(self) -> tuple[Finding, ...]:
        """The findings that stop the work."""
        return self.findings.stopping

    def require_usable(self) -> Records:
        """Return these records, or raise a `RecordsError` if a finding stops the work."""
        if self.stopping:
            raise RecordsError("\n".join(map(str, self.stopping)), self.stopping)
        return self

    def speaking_on(self, as_of: object) -> Records:
        """Return the same records as they speak on another date.

        Parameters
        ----------
        as_of : date or text
            The date to look at, YYYY-MM-DD.

        Raises
        ------
        CallError
            It is no date.
        """
        from bpvet.records.parsing.dates import date_of

        day = date_of(as_of, "as_of")
        return self if day == self.as_of else self._reread(day)

    def animal(self, text: str) -> str:
        """Return the id of an animal from its id, or from its name if only one bears it.

        Parameters
        ----------
        text : str
            An id as it stands in the records, or a name in any case.

        Raises
        ------
        CallError
            No animal, or more than one, fits; the message names near ones.
        """
        animals = self._tables.animals
        ids = animals["animal"].tolist()
        text = str(text).strip()
        if text in ids:
            return text
        names = [str(name) for name in animals["name"].tolist()]
        folded = text.casefold()
        fits = [
            id
            for id, name in zip(ids, names, strict=True)
            if folded in (id.casefold(), name.casefold())
        ]
        if len(fits) == 1 and text:
            return str(fits[0])
        if len(fits) > 1 and text:
            listed = ", ".join(shown(str(id)) for id in fits[:10])
            raise Ambiguous(f"{shown(text)} may be any of {listed}: give the id.")
        hint = did_you_mean(nearest(text, [*ids, *filter(None, names)]))
        raise CallError(f"There is no animal {shown(text)} in these records. {hint}".rstrip())

    def _content(self) -> tuple[Any, ...]:
        # The digest is of every cell; what was made of the cells follows from the rest.
        return self.digest, self.source, self.as_of, self._understood

    def __reduce__(self) -> tuple[Callable[[np.datetime64], Records], tuple[np.datetime64]]:
        # What travels between processes is the cells; they are checked again on arrival.
        return self._reread, (self.as_of,)

    def __repr__(self) -> str:
        return self._table().brief()

    def _repr_html_(self) -> str:
        return self._table().html()

    def _handed_out(self, table: str) -> pd.DataFrame:
        return copied(self._tables[table])

    def _table(self) -> ShortTable:
        rows = []
        for name in self._tables:
            aside = 0 if name == "animals" else self._tables.set_aside(name)
            rows.append((name, str(self._tables.rows(name)), str(aside)))
        stops = len(self.stopping)
        notes = [reason("records.findings", findings=len(self.findings), stopping=stops)]
        return ShortTable(
            reason("records.title", source=self.source, as_of=self.as_of),
            ("table", "rows", "set aside"),
            tuple(rows),
            tuple(notes),
        )


def copied(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame that whoever takes it may change."""
    return frame.copy(deep=not copies_on_write())
