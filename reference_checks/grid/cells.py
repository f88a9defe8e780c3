"""The cells of the grid: a pressure, a sign, an age and a drug, and the records of each."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pandas as pd

from bpvet.records.records import Records

PRESSURES = ("45", "85", "118", "150", "165", "185", "230", ">300", "no sound")
SIGNS = ("none", "eye current", "eye open", "brain", "weak", "unread", "note", "after")
AGES = (0, 40)
DRUGS = ("none", "on", "just changed", "stopped")
ANIMAL = "A1"
LATEST = np.datetime64("2026-06-01")
_BEFORE = ("2026-01-12", "2026-02-16", "2026-03-23", "2026-04-27")
_DAY = np.timedelta64(1, "D")
#: What is written of a sign, and how many days before the latest date (below 0: after it).
_WRITTEN = {
    "eye current": ("retinal detachment OD", 0),
    "eye open": ("retinal detachment OD", 40),
    "brain": ("Seizures x3", 0),
    "weak": ("collapsed", 0),
    "unread": ("näkö hävinnyt", 0),
    "after": ("Acute blindness, absent menace", -10),
}


@dataclass(frozen=True)
class Cell:
    """One cell: the latest pressure, a sign, days since the latest date, and a drug."""

    pressure: str
    sign: str
    age: int
    drug: str

    @property
    def as_of(self) -> np.datetime64:
        """The date that is spoken for."""
        return LATEST + self.age * _DAY

    @property
    def number(self) -> float | None:
        """The latest session's mean, mmHg; None without a sound."""
        return None if self.pressure == "no sound" else float(self.pressure.removeprefix(">"))

    @property
    def sign_on(self) -> np.datetime64:
        """The day of the sign; on the latest date itself it cannot lie after that."""
        return min(LATEST - _WRITTEN[self.sign][1] * _DAY, self.as_of)

    @property
    def on_drug(self) -> bool:
        """Whether a pressure drug is on at the latest date."""
        return self.drug in ("on", "just changed")

    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables of a record folder, as a clinic would write them."""
        sessions = [*((date, "150") for date in _BEFORE), (str(LATEST), self.pressure)]
        readings = [
            {"animal": ANIMAL, "taken_at": date, "method": "doppler", "systolic": value, "note": ""}
            for date, mean in sessions
            for value in _around(mean)
        ]
        if self.sign == "note":
            readings[-1]["note"] = "blind since yesterday?"
        found = {
            "readings": pd.DataFrame(readings),
            "animals": pd.DataFrame(
                [{"animal": ANIMAL, "species": "cat", "name": "Vesper", "birth_date": "2014-04-01"}]
            ),
        }
        if self.sign in _WRITTEN:
            text = _WRITTEN[self.sign][0]
            row = {"animal": ANIMAL, "seen_on": str(self.sign_on), "sign": text, "status": ""}
            found["observations"] = pd.DataFrame([row])
        if self.drug != "none":
            found["treatments"] = pd.DataFrame(self._treatments())
        return found

    def _treatments(self) -> list[dict[str, str]]:
        row = {"animal": ANIMAL, "drug": "amlodipine", "started_on": "2026-01-13"}
        row |= {"stopped_on": "", "dose": "1", "dose_unit": "ml", "purpose": "blood pressure"}
        if self.drug == "just changed":
            day = str(LATEST - 3 * _DAY)
            return [{**row, "stopped_on": day}, {**row, "started_on": day, "dose": "2"}]
        return [{**row, "stopped_on": "2026-05-04"}] if self.drug == "stopped" else [row]

    def records(self) -> Records:
        """Its records, read and checked."""
        tables = self.tables()
        return Records.from_frames(tables.pop("readings"), as_of=str(self.as_of), **tables)

    def write(self, folder: Path) -> None:
        """Write its records as a folder of CSV files."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in self.tables().items():
            table.to_csv(folder / f"{name}.csv", index=False)

    def latest_readings(self) -> list[str]:
        """The readings of its latest session, as written."""
        return _around(self.pressure)


def _around(mean: str) -> list[str]:
    if not mean.isdigit():
        return [mean] * 4
    # The first of four or more is left out; the rest average to the mean.
    return [str(int(mean) + step) for step in (6, -2, 1, 2, -1)]


def all_cells() -> Iterator[Cell]:
    """Every cell."""
    for parts in product(PRESSURES, SIGNS, AGES, DRUGS):
        yield Cell(*parts)


def some_cells(count: int, seed: int = 8) -> list[Cell]:
    """So many cells by chance, each pressure and each sign among them as far as that goes."""
    chance = random.Random(seed)
    cells = list(all_cells())
    chance.shuffle(cells)
    pairs = pairwise(cells)
    return pairs[:count]


def pairwise(cells: Sequence[Cell]) -> list[Cell]:
    """Cells that hold every pair of values of two dimensions: greedy, in the order given."""
    open_pairs = {pair for cell in cells for pair in _pairs(cell)}
    chosen = []
    while open_pairs:
        best = max(cells, key=lambda cell: len(open_pairs & _pairs(cell)))
        chosen.append(best)
        open_pairs -= _pairs(best)
    return chosen


def _pairs(cell: Cell) -> set[tuple[tuple[int, object], tuple[int, object]]]:
    return set(combinations(enumerate(astuple(cell)), 2))
