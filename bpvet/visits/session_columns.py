"""The sessions of one animal as plain columns: of few sessions a data frame costs far more."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: What urgency and windows are judged on.
JUDGED = (
    *("date", "condition", "systolic", "systolic_bound", "mean", "mean_bound", "heart_rate"),
    *("n_used", "n_taken", "n_no_sound", "n_below_gauge"),
)

_Made = TypeVar("_Made")


class SessionColumns:
    """Some columns of `bpvet.sessions`, of the sessions of one animal.

    Parameters
    ----------
    columns : dict of str to (n,) array
        By name, all of one length; texts are objects.
    """

    __slots__ = ("_columns", "_made")

    def __init__(self, columns: dict[str, np.ndarray]) -> None:
        self._columns = columns
        self._made: dict[str, Any] = {}

    def __len__(self) -> int:
        return len(next(iter(self._columns.values())))

    def __getitem__(self, name: str) -> np.ndarray:
        return self._columns[name]

    def once(self, name: str, make: Callable[[], _Made]) -> _Made:
        """Return what is made of these sessions, made when it is first asked for."""
        if name not in self._made:
            self._made[name] = make()
        made: _Made = self._made[name]
        return made

    def where(self, keep: NDArray[np.bool_]) -> SessionColumns:
        """Return the sessions where `keep` (n,) is true."""
        return SessionColumns({name: held[keep] for name, held in self._columns.items()})


#: Sessions of one animal: rows of `bpvet.sessions`, or some of its columns.
SessionTable = pd.DataFrame | SessionColumns


def column(sessions: SessionTable, name: str) -> np.ndarray:
    """Return one column (n,) as an array."""
    held = sessions[name]
    return held if isinstance(held, np.ndarray) else np.asarray(held.to_numpy())


def some(sessions: SessionTable, keep: NDArray[np.bool_]) -> SessionTable:
    """Return the sessions where `keep` (n,) is true."""
    return sessions.where(keep) if isinstance(sessions, SessionColumns) else sessions[keep]


def by_animal(
    sessions: pd.DataFrame, names: Iterable[str] = JUDGED
) -> tuple[dict[str, SessionColumns], SessionColumns]:
    """Return the sessions of every animal as columns, and the same without any session.

    Parameters
    ----------
    sessions : DataFrame
        As `bpvet.sessions` gives them, each animal's sessions together.
    names : iterable of str
        The columns.
    """
    columns = {name: column(sessions, name) for name in names}
    if "date" in columns:
        columns["date"] = columns["date"].astype("datetime64[D]")
    animal = column(sessions, "animal").astype(object)
    # Each run of equal ids is an animal.
    first = np.append(len(animal) > 0, animal[1:] != animal[:-1])
    starts: list[int] = np.flatnonzero(first[: len(animal)]).tolist()
    ends = [*starts[1:], len(animal)]
    found = {
        str(animal[start]): SessionColumns(
            {name: held[start:end] for name, held in columns.items()}
        )
        for start, end in zip(starts, ends, strict=False)
    }
    return found, SessionColumns({name: held[:0] for name, held in columns.items()})
