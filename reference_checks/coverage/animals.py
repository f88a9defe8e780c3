"""Simulated animals as arrays, with the truth about them; each is handed over as a `Series`.

Sessions stand right-aligned: column `LATEST` is each animal's latest session (day 0), earlier
ones lie to its left, and the last column is a session that the fit never sees, 28 days on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bpvet.visits.series import Series
from bpvet.visits.treatments.courses import Course

Array = NDArray[np.float64]
Rows = NDArray[np.int64]
Flags = NDArray[np.bool_]

SPECIES, METHOD, DRUG = "cat", "doppler", "amlodipine"
MOST_SESSIONS = 14
LATEST = MOST_SESSIONS - 1
_DAY_0 = np.datetime64("2025-06-01")


@dataclass(frozen=True, eq=False)
class Animals:
    """Simulated animals with the truth about them; arrays of N rows, one an animal.

    Parameters
    ----------
    day : (N, 15)
        Days of the sessions from the latest (column 13); column 14 is the session to come.
    live : (N, 14) bool
        Which sessions there are.
    y, ss : (N, 15)
        Mean and sum of squares of the readings that the guideline's rule uses, mmHg.
    k : (N, 15)
        How many those are.
    start : (N,) int
        Column of the session on whose date the course starts; −1 without a course.
    usual, slope, effect, effect_now : (N,)
        The truth: usual pressure at the latest session, slope per 30 days, full effect of
        the course and its effect at the latest session (NaN without a course).
    """

    day: Rows
    live: Flags
    y: Array
    ss: Array
    k: Array
    start: Rows
    usual: Array
    slope: Array
    effect: Array
    effect_now: Array

    def __post_init__(self) -> None:
        for values in vars(self).values():
            values.flags.writeable = False

    def __len__(self) -> int:
        return self.start.size

    @property
    def to_come(self) -> Array:
        """(N,) mean of the session to come: what a forecast is held against."""
        return self.y[:, LATEST + 1]

    def series(self, animal: int, tau_days: float, species: str = SPECIES) -> Series:
        """Return the series of one animal as records would give it.

        Parameters
        ----------
        animal : int
            Its row.
        tau_days : float
            Time constant that the fit assumes.
        species : str
            ``cat`` or ``dog``.
        """
        first = MOST_SESSIONS - int(self.live[animal].sum())
        held = slice(first, MOST_SESSIONS)
        count = MOST_SESSIONS - first
        date = _DAY_0 + self.day[animal].astype("timedelta64[D]")
        start = int(self.start[animal])
        return Series(
            animal=f"animal {animal}",
            species=species,
            method=METHOD,
            condition="clinic",
            quantity="systolic",
            unit="mmHg",
            date=date[held],
            y=self.y[animal, held],
            ss=self.ss[animal, held],
            k=self.k[animal, held],
            scatter_known=np.ones(count, dtype=bool),
            bound=np.full(count, ""),
            visit=np.arange(count),
            session=np.arange(1, count + 1),
            methods=np.full(count, METHOD),
            conditions=np.full(count, "clinic"),
            median=self.y[animal, held],
            tense=np.zeros(count, dtype=bool),
            courses=(_course(date[start], tau_days),) if start >= 0 else (),
        )


def _course(started_on: np.datetime64, tau_days: float) -> Course:
    return Course(
        drug=DRUG,
        kind="base",
        started_on=started_on,
        stopped_on=np.datetime64("NaT"),
        tau_days=tau_days,
        spell=0,
        dose="",
        known_drug=True,
        spells=(0,),
    )
