"""One animal's sessions of one quantity as arrays; what a user has as a data frame ends here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.errors import NothingLeft
from bpvet.facts.words import METHODS, TREND_CONDITIONS, UNITS
from bpvet.frozen import dataclass
from bpvet.printing import Brief
from bpvet.records.records import Records
from bpvet.visits.beyond import Beyond
from bpvet.visits.defaults import Rows, checked, chosen_rows, nothing_left
from bpvet.visits.series_columns import (
    SeriesColumns,
    SeriesNumbers,
    SeriesTexts,
    alike,
    entering,
    grouped,
)
from bpvet.visits.session_store import AnimalSessions, SessionStore
from bpvet.visits.sessions import session_store
from bpvet.visits.treatments.courses import Course, Treatments, all_courses, courses

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Course",
    "Series",
    "Source",
    "all_series",
    "series",
]

Key = tuple[str, str, str, str]


@dataclass(frozen=True, eq=False, repr=False)
class Series(Brief, Content):
    """Sessions of one animal, method, condition and quantity through time.

    All arrays are read-only, of length n, in the contract's session order.

    Parameters
    ----------
    animal, species, method, condition, quantity, unit : str
        `method` is that of the latest session.
    date : (n,) datetime64[D]
        Local date of each session.
    y : (n,) float
        Mean of the used readings, in `unit`; of a session with a bound a bound too, for drawing.
    ss : (n,) float
        Sum of squares of the used readings about `y`; 0 where unknown or k = 1.
    k : (n,) float
        Used readings.
    scatter_known : (n,) bool
        False where only mean and count are known or a bound was used: of such a session no
        sum of squares of all readings enters the likelihood.
    bound : (n,) str
        ``""``, ``at least`` or ``at most``.
    visit : (n,) int
        Index j of the date among dates with a used clinic or calmed session by any method;
        −1 where the first-visit term is nil (home).
    session : (n,) int
        The session's number in the animal, as in `bpvet.sessions`.
    methods, conditions : (n,) str
        Method and condition of each session (they differ only in a bridged series).
    median : (n,) float
        Median of the used readings; the mean where only that is known, NaN with a bound.
    tense : (n,) bool
        Whether the demeanour was written as tense.
    courses : tuple of Course
        The modelled courses of the animal, in order of start.
    recorded : (n, 4) str, or None
        Site, posture, instrument and operator of each session, as written; blank where none is
        recorded or its readings hold two values. None where no session has any.
    beyond : (n,) object, or None
        `bpvet.visits.beyond.Beyond` of each session with a reading beyond the gauge, None for the
        others; None where there is no such session. Systolic only.
    """

    animal: str
    species: str
    method: str
    condition: str
    quantity: str
    unit: str
    date: NDArray[np.datetime64]
    y: NDArray[np.float64]
    ss: NDArray[np.float64]
    k: NDArray[np.float64]
    scatter_known: NDArray[np.bool_]
    bound: NDArray[np.str_]
    visit: NDArray[np.int64]
    session: NDArray[np.int64]
    methods: NDArray[np.str_]
    conditions: NDArray[np.str_]
    median: NDArray[np.float64]
    tense: NDArray[np.bool_]
    courses: tuple[Course, ...]
    recorded: NDArray[np.str_] | None = None
    beyond: NDArray[np.object_] | None = None

    @property
    def beyond_by_session(self) -> tuple[Beyond | None, ...]:
        """What is known of each session with a reading beyond the gauge; None of the others."""
        if self.beyond is None:
            return (None,) * self.y.size
        return tuple(self.beyond)

    @property
    def bounded(self) -> bool:
        """Whether a session holds a reading beyond the gauge that enters the model as a bound."""
        return self.beyond is not None and any(readings is not None for readings in self.beyond)

    @property
    def numbers(self) -> NDArray[np.float64]:
        """(n,) used readings that are numbers."""
        if self.beyond is None:
            return self.k
        pairs = zip(self.k.tolist(), self.beyond_by_session, strict=True)
        return np.array([k if readings is None else readings.numbers for k, readings in pairs])

    @property
    def plain(self) -> NDArray[np.bool_]:
        """(n,) whether each session's mean is a number and no bound."""
        return np.asarray(self.bound == "")

    @property
    def share_beyond(self) -> tuple[float, float]:
        """Shares of the used readings that lie above the gauge, and below it."""
        if self.beyond is None:
            return 0.0, 0.0
        bounded = [readings for readings in self.beyond if readings is not None]
        total = float(self.k.sum())
        return sum(readings.above for readings in bounded) / total, sum(
            readings.below for readings in bounded
        ) / total


@dataclass(frozen=True, eq=False)
class Source:
    """What series are cut from; what is not given is found in the records.

    Parameters
    ----------
    sessions : DataFrame, SessionStore or AnimalSessions, optional
        As from `bpvet.visits.sessions.sessions` or `session_store`; one animal's part of a store
        serves for a series of that animal.
    treatments : mapping, optional
        As from `bpvet.visits.treatments.courses.all_courses`.
    rule : str
        ``guideline`` or ``all``; of no effect where `sessions` is given.
    """

    sessions: pd.DataFrame | SessionStore | AnimalSessions | None = None
    treatments: Mapping[str, Treatments] | None = None
    rule: str = "guideline"

    def of_animal(self, records: Records, animal: str) -> AnimalSessions:
        """Return the sessions of one animal."""
        if isinstance(self.sessions, AnimalSessions):
            return self.sessions
        if self.sessions is None:
            return session_store(records, self.rule).of_animal(animal)
        if isinstance(self.sessions, SessionStore):
            return self.sessions.of_animal(animal)
        return AnimalSessions.of_frame(self.sessions[self.sessions["animal"] == animal])


#: Sessions by the guideline's rule, and treatments, both found in the records.
FROM_RECORDS = Source()


def series(
    records: Records,
    animal: str,
    method: str | None = None,
    quantity: str = "systolic",
    condition: str | None = None,
    bridge: Sequence[str] = (),
    source: Source = FROM_RECORDS,
) -> Series:
    """Return one animal's series of one quantity.

    Without `method`, that of the latest session that may enter a trend: a clinic, home or calmed
    session with a used number of this quantity, under `condition` if one is asked for. When
    sessions by both methods share the latest date, the method with more such sessions in the year
    before it leads, whatever their clock times; among equals Doppler. Then, without `condition`,
    that method's condition with most such sessions; among equals that of the latest session.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id as it stands in the records.
    method : str, optional
        ``doppler`` or ``oscillometric``. When methods are bridged it only picks the condition.
    quantity : str
        One of `bpvet.facts.words.QUANTITIES`; Doppler gives systolic only.
    condition : str, optional
        ``clinic``, ``home`` or ``calmed``. When conditions are bridged it only picks the method.
    bridge : sequence of str
        ``methods`` and/or ``conditions``: sessions of all of them enter; the series says of each
        which it is.
    source : Source
        The sessions and treatments, of this animal or of all, where they are known already.

    Returns
    -------
    Series

    Raises
    ------
    CallError
        When a name is not known, the method does not give the quantity, or no session is left;
        the message says what there is instead.

    Notes
    -----
    A bridged series takes its `method` and `condition` from its latest session; where both methods
    share the latest date, from the one with the later first time, or Doppler where the times do
    not tell. It need not be the last row when the last date has no times.
    """
    bridge = checked(method, quantity, condition, bridge)
    sessions, treatments = source.of_animal(records, animal), source.treatments
    columns, numbers = SeriesColumns.of(sessions), SeriesNumbers.of(sessions, quantity)
    rows = entering(columns, numbers)
    chosen = chosen_rows(columns, rows, method, condition, bridge)
    if not len(chosen):
        raise NothingLeft(nothing_left(sessions, animal, method, quantity, condition))
    if treatments is None:
        treatments = {animal: courses(records, animal)}
    return next(_built(columns, numbers, chosen, np.zeros(1, dtype=np.int64), treatments))


def all_series(
    records: Records,
    quantities: Iterable[str] = ("systolic",),
    methods: Iterable[str] = METHODS,
    conditions: Iterable[str] = TREND_CONDITIONS,
    bridge: Sequence[str] = (),
    source: Source = FROM_RECORDS,
) -> dict[Key, Series]:
    """Return every series of every animal, the records being read through once.

    Parameters
    ----------
    records : Records
    quantities, methods, conditions : iterable of str
        Those to take; a method that does not give a quantity has no series of it.
    bridge, source
        As in `series`; the sessions are those of all animals.

    Returns
    -------
    dict
        `Series` by (animal, method, condition, quantity), sorted; the same as one at a time.

    Raises
    ------
    CallError
        When a name is not known.
    """
    methods, conditions, quantities = tuple(methods), tuple(conditions), tuple(quantities)
    names = checked(None, "systolic", None, bridge)
    for name in quantities:
        checked(None, name, None, ())
    for method in methods:
        checked(method, "systolic", None, ())
    for condition in conditions:
        checked(None, "systolic", condition, ())
    treatments, store = source.treatments, source.sessions
    if treatments is None:
        treatments = all_courses(records)
    if store is None:
        store = session_store(records, source.rule, treatments)
    elif not isinstance(store, SessionStore | AnimalSessions):
        store = SessionStore.of_frame(store)
    columns = SeriesColumns.of(store)
    wanted = columns.among("method", methods) & columns.among("condition", conditions)
    found: list[tuple[Key, Series]] = []
    for quantity in quantities:
        numbers = SeriesNumbers.of(store, quantity)
        rows = entering(columns, numbers)
        rows, start = grouped(columns, rows[wanted[rows]], names)
        for made in _built(columns, numbers, rows, start, treatments):
            found.append(((made.animal, made.method, made.condition, quantity), made))
    return dict(sorted(found, key=lambda pair: pair[0]))


def rounding_step(series: Series) -> float:
    """Return the step to which readings were rounded where rounding is all the scatter there is.

    Where every session of two or more readings holds equal ones, the reading SD is told to be as
    small as its prior lets it, though each reading is known to a step only.

    Returns
    -------
    float
        2 where every reading is even, else 1, in the unit; 0 where rounding need not be thought of.
    """
    several = False
    columns = (series.numbers, series.ss, series.scatter_known)
    each = zip(*(values.tolist() for values in columns), series.beyond_by_session, strict=True)
    for number, ss, known, single in each:
        if number < 2:
            continue
        square = (ss if known else None) if single is None else single.ss
        if square is None or square:
            return 0.0
        several = True
    if not several:
        return 0.0
    plain = series.y[series.plain]
    return 2.0 if plain.size and np.all(plain % 2 == 0) else 1.0


def _built(
    columns: SeriesColumns,
    numbers: SeriesNumbers,
    rows: Rows,
    start: Rows,
    treatments: Mapping[str, Treatments],
) -> Iterator[Series]:
    """Yield series as slices of arrays made once.

    Parameters
    ----------
    columns, numbers
        What is known of the sessions.
    rows : (n,) int
        Their places, series by series, in session order.
    start : (s,) int
        Where in `rows` each series starts.
    treatments : mapping
        Courses by animal.
    """
    known = ~np.isnan(numbers.ss[rows]) & numbers.plain[rows]
    arrays: dict[str, NDArray[Any]] = {
        "date": columns.date[rows],
        "y": numbers.mean[rows],
        "ss": np.where(known, numbers.ss[rows], 0.0),
        "k": numbers.n[rows],
        "scatter_known": known,
        "visit": np.where(columns.among("condition", ["home"])[rows], -1, columns.visit[rows]),
        "session": columns.session[rows],
        "median": numbers.median[rows],
        "tense": columns.tense[rows],
    }
    for array in arrays.values():
        array.setflags(write=False)
    made = SeriesTexts(columns, numbers, rows)
    quantity, unit = numbers.quantity, UNITS[numbers.quantity]
    recorded, bounded = made.has_recorded(start), made.has_bound(start)
    stop = [*start[1:].tolist(), len(rows)][: len(start)]
    for i, (first, end) in enumerate(zip(start.tolist(), stop, strict=True)):
        rows_of = slice(first, end)
        animal, species, method, condition = made.newest(rows_of)
        yield Series(
            animal=animal,
            species=species,
            method=method,
            condition=condition,
            quantity=quantity,
            unit=unit,
            courses=treatments[animal].courses if animal in treatments else (),
            bound=made.bound(rows_of) if bounded[i] else alike("", end - first),
            methods=made.of("method", rows_of),
            conditions=made.of("condition", rows_of),
            recorded=made.recorded(rows_of) if recorded[i] else None,
            beyond=made.beyond(rows_of) if bounded[i] and quantity == "systolic" else None,
            **{name: array[rows_of] for name, array in arrays.items()},
        )
