"""The animals of records one by one: a row found by its id, without a look through all of them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.frozen import dataclass

if TYPE_CHECKING:
    from bpvet.records.animals import Animals
    from bpvet.records.records import Records


@dataclass(frozen=True)
class AnimalRow:
    """What the animals table says of one animal.

    Parameters
    ----------
    animal, name : str
        Its id and its name; texts are blank where nothing is recorded.
    species : str
        ``cat``, ``dog`` or blank.
    species_written : str
        As written where it is neither; blank otherwise.
    breed : str
    birth_date, left_on : datetime64[D]
        NaT where nothing is recorded.
    left_reason : str
    measured_before : str
        Whether visits exist that are not in these records: ``yes``, ``no`` or blank.
    target_systolic : float or None
        Set by the vet for this animal, mmHg.
    """

    animal: str
    name: str
    species: str
    species_written: str
    breed: str
    birth_date: np.datetime64
    left_on: np.datetime64
    left_reason: str
    measured_before: str
    target_systolic: float | None

    def left(self, as_of: np.datetime64) -> bool:
        """Return whether the animal had left by a date."""
        return bool(not np.isnat(self.left_on) and self.left_on <= as_of)

    def born_after(self, visit: np.datetime64) -> bool:
        """Return whether its birth date lies after a visit: one of the two dates is wrong."""
        return bool(self.birth_date > visit)

    def age_years(self, on: np.datetime64, first: np.datetime64) -> float | None:
        """Return its age on a date; None where it is not known.

        Parameters
        ----------
        on : datetime64[D]
            The date.
        first : datetime64[D]
            Its first visit: a birth date after it tells no age.
        """
        # Python's own dates: the arithmetic of single NumPy dates takes five times as long.
        born: Any = self.birth_date.item()
        if born is None or self.born_after(first):
            return None
        day: Any = on.item()
        return float((day - born).days) / 365.25


def animal_rows(records: Records) -> Mapping[str, AnimalRow]:
    """Return the animals by id, in the order of the records."""
    return records.rows_by_animal


def rows_of(animals: Animals) -> Mapping[str, AnimalRow]:
    """Return the rows of the animals table by id."""
    names = ("animal", "name", "species", "species_written", "breed", "left_reason")
    texts = [animals[name].tolist() for name in names]
    born, left = (animals[name].astype("datetime64[D]") for name in ("birth_date", "left_on"))
    before, targets = animals["measured_before"].tolist(), animals["target_systolic"].tolist()
    found: dict[str, AnimalRow] = {}
    for row_texts, birth, gone, met, target in zip(
        zip(*texts, strict=True), born, left, before, targets, strict=True
    ):
        animal, name, species, written, breed, reason = row_texts
        found[animal] = AnimalRow(
            animal=animal,
            name=name,
            species=species,
            species_written=written,
            breed=breed,
            birth_date=birth,
            left_on=gone,
            left_reason=reason,
            measured_before=met,
            target_systolic=float(target) if np.isfinite(target) else None,
        )
    return MappingProxyType(found)
