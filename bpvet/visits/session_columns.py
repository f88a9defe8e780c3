"""The sessions of one animal as plain columns: of few sessions a data frame costs far more."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from bpvet.visits.session_store import SessionStore

if TYPE_CHECKING:
    import pandas as pd

#: What urgency and windows are judged on.
JUDGED = (
    *("date", "condition", "systolic", "systolic_bound", "diastolic", "mean"),
    *("mean_bound", "heart_rate", "n_used", "n_taken", "n_no_sound", "n_below_gauge"),
)

_Made = TypeVar("_Made")


class SessionColumns:
    """Some columns of `bpvet.sessions`, of the sessions of one animal: slices of a clinic's.

    Parameters
    ----------
    columns : mapping of str to (m,) array
        By name, all of one length, of any number of animals; texts are objects.
    rows : slice or (n,) int
        Those of the animal.
    """

    __slots__ = ("_columns", "_made", "_rows")

    def __init__(
        self, columns: Mapping[str, np.ndarray], rows: slice | NDArray[np.int64] = slice(None)
    ) -> None:
        self._columns, self._rows = columns, rows
        self._made: dict[str, Any] = {}

    def __len__(self) -> int:
        return len(self[next(iter(self._columns))])

    def __getitem__(self, name: str) -> np.ndarray:
        return self._columns[name][self._rows]

    def once(self, name: str, make: Callable[[], _Made]) -> _Made:
        """Return what is made of these sessions, made when it is first asked for."""
        if name not in self._made:
            self._made[name] = make()
        return self._made[name]

    def keep(self, name: str, made: object) -> None:
        """Keep what `once` of that name is to return: it was made for all animals together."""
        self._made[name] = made

    def at(self, rows: slice | NDArray[np.int64]) -> SessionColumns:
        """Return other rows of the same columns, counted from the first of all animals."""
        return SessionColumns(self._columns, rows)

    def where(self, keep: NDArray[np.bool_]) -> SessionColumns:
        """Return the sessions where `keep` (n,) is true."""
        count = len(next(iter(self._columns.values())))
        return self.at(np.arange(count)[self._rows][keep])


#: Sessions of one animal: rows of `bpvet.sessions`, or some of its columns.
SessionTable: TypeAlias = "pd.DataFrame | SessionColumns"


def column(sessions: SessionTable, name: str) -> np.ndarray:
    """Return one column (n,) as an array."""
    values = sessions[name]
    return values if isinstance(values, np.ndarray) else np.asarray(values.to_numpy())


def some(sessions: SessionTable, keep: NDArray[np.bool_]) -> SessionTable:
    """Return the sessions where `keep` (n,) is true."""
    return sessions.where(keep) if isinstance(sessions, SessionColumns) else sessions[keep]


def by_animal(
    store: SessionStore, names: Iterable[str] = JUDGED
) -> tuple[dict[str, SessionColumns], SessionColumns]:
    """Return the sessions of every animal as columns, and the same without any session.

    Parameters
    ----------
    store : SessionStore
        As `bpvet.visits.sessions.session_store` gives it.
    names : iterable of str
        The columns.
    """
    columns = {name: store.array(name) for name in names}
    found = {
        animal: SessionColumns(columns, slice(*bounds)) for animal, bounds in store.bounds.items()
    }
    return found, SessionColumns(columns, slice(0, 0))
