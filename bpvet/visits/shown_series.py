"""The systolic series that is shown of each animal of a clinic where none is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import TREND_CONDITIONS
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.defaults import chosen_rows
from bpvet.visits.series import Series, Source, all_series, series
from bpvet.visits.session_columns import SessionColumns
from bpvet.visits.session_store import SessionStore
from bpvet.visits.treatments.courses import Treatments

#: One series by itself takes as long as so many of all that are made in one pass.
_AT_ONCE = 8


@dataclass(frozen=True, eq=False)
class ShownSeries:
    """Series of animals, made once they are asked for: some by themselves, many in one pass.

    Parameters
    ----------
    records : Records
    store : SessionStore
        Sessions of all animals.
    by_animal : mapping of str to SessionColumns
        The same of each that has any.
    treatments : mapping of str to Treatments
    """

    records: Records
    store: SessionStore
    by_animal: Mapping[str, SessionColumns]
    treatments: Mapping[str, Treatments]

    @cached_property
    def animals(self) -> dict[str, None]:
        """The animals that have such a series, sorted."""
        conditions, words = self.store.coded("condition")
        enters = np.isin(words, TREND_CONDITIONS)[conditions] & (self.store.array("systolic_n") > 0)
        codes, ids = self.store.coded("animal")
        return dict.fromkeys(sorted(map(str, ids[np.unique(codes[enters])])))

    def __iter__(self) -> Iterator[str]:
        return iter(self.animals)

    def __contains__(self, animal: object) -> bool:
        return animal in self.animals

    def of(self, animals: Iterable[str]) -> list[Series]:
        """Return the series of those of some animals that have one."""
        asked = [animal for animal in animals if animal in self.animals]
        if _AT_ONCE * len(asked) > len(self.animals):
            return [self._all[animal] for animal in asked]
        source = Source(self.store, self.treatments)
        return [series(self.records, animal, source=source) for animal in asked]

    @cached_property
    def _all(self) -> dict[str, Series]:
        several: dict[str, list[tuple[str, str, str, str]]] = {}
        found = all_series(self.records, source=Source(self.store, self.treatments))
        for key in found:
            several.setdefault(key[0], []).append(key)
        return {
            animal: found[keys[0] if len(keys) == 1 else _default(self.by_animal[animal], animal)]
            for animal, keys in several.items()
        }


@dataclass(frozen=True, eq=False)
class _Keys:
    method: NDArray[np.object_]
    condition: NDArray[np.object_]
    date: NDArray[np.datetime64]
    first_time: NDArray[np.datetime64]


def _default(sessions: SessionColumns, animal: str) -> tuple[str, str, str, str]:
    """Return the key of the series that is shown of an animal with several."""
    keys = _Keys(*(sessions[name] for name in ("method", "condition", "date", "first_time")))
    trended = np.array([word in TREND_CONDITIONS for word in keys.condition], dtype=bool)
    entering = np.flatnonzero(trended & (sessions["systolic_n"] > 0))
    rows = chosen_rows(keys, entering, None, None, ())
    return animal, str(keys.method[rows[-1]]), str(keys.condition[rows[-1]]), "systolic"
