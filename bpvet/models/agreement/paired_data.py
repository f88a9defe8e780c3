"""Two methods' measurements made ready for a comparison: from records, or from plain data."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError, RecordsError
from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, METHODS, UNITS
from bpvet.frozen import dataclass, field
from bpvet.maths.agreement.restricted import Cells
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.pairs import Pairs, pairs

Array = NDArray[np.float64]
Codes = NDArray[np.int64]
Names = tuple[str, str]


@dataclass(frozen=True, eq=False)
class PairedData:
    """What is compared: cells for the model, points for lines and figures, readings behind them.

    Parameters
    ----------
    methods, labels : (str, str)
        First and second method as they were named, and in words.
    quantity, unit : str
        What was measured, and its unit.
    animals : tuple of str
        The animals, in the order of their codes.
    cells : Cells
        For the variance components.
    first, second : (p,) float
        Points: means by each method of one visit (records), one animal (plain data) or one
        linked pair.
    point_animal : (p,) int
        The animal of each point.
    readings : (r, 2) float, reading_point : (r,) int
        Readings by both methods paired in order of taking, and the point they belong to: for
        the eye, and for nothing else unless linked.
    linked : bool
        Whether the replicates of both methods belong together.
    points_are : str
        What a point is, in words.
    source : str
        Where it came from, in words.
    digest : str
        SHA-256 of the data.
    notes : tuple of str
        What was left out, and what a reader must know, in sentences.
    """

    methods: Names
    labels: Names
    quantity: str
    unit: str
    animals: tuple[str, ...]
    cells: Cells
    first: Array
    second: Array
    point_animal: Codes
    readings: Array
    reading_point: Codes
    linked: bool
    points_are: str
    source: str
    digest: str
    notes: tuple[str, ...] = field(default=())

    @property
    def difference(self) -> Array:
        """Second minus first of each point, (p,)."""
        return self.second - self.first

    @property
    def single(self) -> bool:
        """Whether each animal has one reading by each method and no more."""
        return bool(np.all(self.cells.count == 1)) and self.cells.mean.size == 2 * len(self.animals)

    @property
    def balanced(self) -> bool:
        """Whether all animals have one cell by each method, of as many readings as the others."""
        if self.linked or self.cells.mean.size != 2 * len(self.animals):
            return False
        counts = [np.unique(self.cells.count[self.cells.method == m]).size for m in (0, 1)]
        return counts == [1, 1] and not np.any(np.isnan(self.cells.ss))

    def animal_means(self) -> tuple[Array, Array]:
        """Return each animal's mean of its points by both methods, (animals,)."""
        count = np.bincount(self.point_animal)
        first, second = (
            np.bincount(self.point_animal, value) / count for value in (self.first, self.second)
        )
        return first, second


def from_records(
    records: Records,
    quantity: str,
    methods: Names | None,
    condition: str | None,
    rule: str,
    linked: bool,
) -> PairedData:
    """Return the paired visits of a clinic.

    Raises
    ------
    CallError
        When a name is not known.
    RecordsError
        When fewer than two animals were measured by both methods at one visit.
    """
    found = pairs(records, quantity, methods or METHODS, condition, rule)
    table, first = found.sessions, found.methods[0]
    if table["animal"].nunique() < 2:
        raise RecordsError(
            f"Agreement needs at least two animals measured by both methods at one visit "
            f"({CONDITION_WORDS[found.condition]}); these records have "
            f"{table['animal'].nunique()}."
        )
    cells, animals = _visit_cells(found)
    code_of = dict(zip(cells.visit, cells.animal, strict=True))
    frame = found.readings.assign(
        animal=found.readings["visit"].map(code_of),
        method=(found.readings["method"] != first).astype(np.int64),
    )
    both, of = _paired_in_order(frame, "visit")
    of_first = cells.method == 0
    return PairedData(
        methods=found.methods,
        labels=(METHOD_WORDS[first], METHOD_WORDS[found.methods[1]]),
        quantity=quantity,
        unit=UNITS[quantity],
        animals=animals,
        cells=_reading_cells(frame) if linked else cells,
        first=cells.mean[of_first],
        second=cells.mean[~of_first],
        point_animal=cells.animal[of_first],
        readings=both,
        reading_point=of,
        linked=linked,
        points_are=_points_words(linked=False, visits=True),
        source=reason("agreement.paired_visits", where=CONDITION_WORDS[found.condition]),
        digest=records.digest,
        notes=_notes(found),
    )


def _visit_cells(found: Pairs) -> tuple[Cells, tuple[str, ...]]:
    """Return a cell for each session of a paired visit, and the animals by their codes."""
    table = found.sessions
    codes, animals = pd.factorize(table["animal"])
    visit = table["visit"].to_numpy(dtype=np.int64)
    cells = Cells(
        table["mean"].to_numpy(dtype=float),
        table["count"].to_numpy(dtype=float),
        table["ss"].to_numpy(dtype=float),
        codes.astype(np.int64),
        np.asarray(table["method"] == found.methods[1], dtype=np.int64),
        visit,
        visit,
    )
    return cells, tuple(str(name) for name in animals)


def _notes(found: Pairs) -> tuple[str, ...]:
    notes = [reason("agreement.rule", rule=found.rule)]
    if found.single_sessions:
        notes.append(reason("agreement.single_sessions", sessions=found.single_sessions))
    if found.beyond_gauge:
        notes.append(reason("agreement.beyond_gauge", sessions=found.beyond_gauge))
    notes += [
        reason("agreement.other_condition", condition=CONDITION_WORDS[name], count=count)
        for name, count in found.others.items()
    ]
    return tuple(notes)


@dataclass(frozen=True)
class PlainColumns:
    """The columns of plain data.

    Parameters
    ----------
    value, animal, method : str
        What was measured, of which animal, by which method.
    replicate : str or None
        The number of the reading; without it readings keep their order.
    visit : str or None
        Without it each animal was seen once.
    """

    value: str
    animal: str
    method: str
    replicate: str | None = None
    visit: str | None = None


def from_frame(
    frame: pd.DataFrame, columns: PlainColumns, methods: Names | None, linked: bool, unit: str
) -> PairedData:
    """Return plain data, one row a reading; rows without a value are dropped and counted.

    Raises
    ------
    CallError
        When a column is missing, the methods cannot be told, a linked replicate is missing, or
        fewer than two animals have readings by both methods.
    """
    named = [name for name in vars(columns).values() if name is not None]
    if missing := [name for name in named if name not in frame.columns]:
        raise CallError(f"the data have no column {', '.join(map(repr, missing))}.")
    if linked and columns.replicate is None:
        raise CallError("linked replicates need the column of their numbers (replicate=).")
    chosen = _two_methods(frame[columns.method], methods)
    usable, notes = _usable(frame, columns, chosen)
    code, names = pd.factorize(usable["animal"])
    rows = _numbered(
        usable.assign(animal=code, visit=usable.groupby(["animal", "visit"]).ngroup()),
        None if columns.replicate is None else frame.loc[usable.index, columns.replicate],
        linked,
    )
    both, of = _paired_in_order(rows, "point")
    wide = rows.pivot_table(index="point", columns="method", values="value").dropna()
    animal_of = rows.drop_duplicates("point").set_index("point")["animal"]
    row_of = {int(name): index for index, name in enumerate(wide.index)}
    kept = np.isin(of, wide.index.to_numpy())
    return PairedData(
        methods=chosen,
        labels=chosen,
        quantity=columns.value,
        unit=unit,
        animals=tuple(str(name) for name in names),
        cells=_reading_cells(rows) if linked else _summed_cells(rows),
        first=wide[0].to_numpy(dtype=float),
        second=wide[1].to_numpy(dtype=float),
        point_animal=animal_of.loc[wide.index].to_numpy(dtype=np.int64),
        readings=both[kept],
        reading_point=np.array([row_of[int(point)] for point in of[kept]], dtype=np.int64),
        linked=linked,
        points_are=_points_words(linked, columns.visit is not None),
        source="plain data",
        digest=_digest(rows),
        notes=notes,
    )


def _numbered(rows: pd.DataFrame, replicate: pd.Series[Any] | None, linked: bool) -> pd.DataFrame:
    """Return the rows in order of taking, with the column `point`: the point that each is of."""
    if replicate is None:
        rows["place"] = rows.groupby(["visit", "method"]).cumcount()
    else:
        rows["place"] = pd.factorize(replicate, sort=True)[0]
        if linked and rows.duplicated(["visit", "method", "place"]).any():
            raise CallError("linked replicates must be numbered once by each method.")
    rows = rows.sort_values(["visit", "method", "place"], kind="stable")
    rows["point"] = rows.groupby(["visit", "place"] if linked else ["visit"]).ngroup()
    return rows


def _points_words(linked: bool, visits: bool) -> str:
    if linked:
        return reason("agreement.points_linked")
    return reason("agreement.points_visit") if visits else reason("agreement.points_animal")


def _two_methods(column: pd.Series[Any], methods: Names | None) -> Names:
    found = list(pd.unique(column.dropna().astype(str)))
    if methods is None:
        if len(found) != 2:
            raise CallError(
                f"agreement is of two methods; the data have {len(found)} "
                f"({', '.join(found)}): name two (methods=)."
            )
        ordered = tuple(sorted(found))
        return METHODS if set(found) == set(METHODS) else (ordered[0], ordered[1])
    names = tuple(str(name) for name in methods)
    if len(names) != 2 or names[0] == names[1] or not set(names) <= set(found):
        raise CallError(f"methods= takes two of: {', '.join(found)}.")
    return names[0], names[1]


def _usable(
    frame: pd.DataFrame, columns: PlainColumns, chosen: Names
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return rows with a number of animals measured by both methods, and what was dropped."""
    named = frame[columns.method].astype(str)
    visit = columns.visit
    rows = pd.DataFrame(
        {
            "animal": frame[columns.animal].astype(str),
            "method": (named == chosen[1]).astype(np.int64),
            "visit": 0 if visit is None else frame[visit].astype(str),
            "value": pd.to_numeric(frame[columns.value], errors="coerce").astype(float),
        }
    )[named.isin(chosen)]
    finite = np.isfinite(rows["value"].to_numpy(dtype=float))
    both = rows[finite].groupby("animal")["method"].transform("nunique") == 2
    kept = rows[finite][both]
    if kept["animal"].nunique() < 2:
        raise CallError("agreement needs at least two animals with readings by both methods.")
    notes = []
    if not finite.all():
        notes.append(reason("agreement.no_number", rows=int((~finite).sum())))
    if not both.all():
        lost = rows[finite]["animal"].nunique() - kept["animal"].nunique()
        notes.append(reason("agreement.one_method", animals=lost))
    return kept, tuple(notes)


def _summed_cells(rows: pd.DataFrame) -> Cells:
    groups = rows.groupby(["visit", "method"])
    mean = groups["value"].transform("mean")
    table = groups.agg(
        animal=("animal", "first"), mean=("value", "mean"), count=("value", "size")
    ).reset_index()
    ss = ((rows["value"] - mean) ** 2).groupby([rows["visit"], rows["method"]]).sum()
    visit = table["visit"].to_numpy(dtype=np.int64)
    return Cells(
        table["mean"].to_numpy(dtype=float),
        table["count"].to_numpy(dtype=float),
        ss.to_numpy(dtype=float),
        table["animal"].to_numpy(dtype=np.int64),
        table["method"].to_numpy(dtype=np.int64),
        visit,
        visit,
    )


def _reading_cells(rows: pd.DataFrame) -> Cells:
    """Return every reading as a cell, those of one visit and place linked."""
    linked = rows.assign(pair=rows.groupby(["visit", "place"]).ngroup())
    animal, method, visit, pair = (
        np.asarray(linked[name], dtype=np.int64) for name in ("animal", "method", "visit", "pair")
    )
    ones = np.ones(len(rows))
    value = np.asarray(rows["value"], dtype=float)
    return Cells(value, ones, 0 * ones, animal, method, visit, pair)


def _paired_in_order(rows: pd.DataFrame, point: str) -> tuple[Array, Codes]:
    """Return readings by both methods side by side, (r, 2), and the point of each."""
    placed = rows.assign(turn=rows.groupby([point, "method"]).cumcount())
    wide = placed.pivot_table(index=[point, "turn"], columns="method", values="value").dropna()
    if wide.shape[1] < 2:
        return np.empty((0, 2)), np.empty(0, dtype=np.int64)
    return wide[[0, 1]].to_numpy(dtype=float), wide.index.get_level_values(0).to_numpy(np.int64)


def _digest(rows: pd.DataFrame) -> str:
    columns = rows[["animal", "method", "visit", "place", "value"]]
    return sha256(columns.to_csv(index=False).encode()).hexdigest()
