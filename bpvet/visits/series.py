"""One animal's sessions of one quantity as arrays; data frames end here."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Course:
    """One coefficient of a trend: a spell on one drug, or a change of its dose on top.

    Parameters
    ----------
    drug : str
        Generic name; drugs that cannot be told apart (same start, stop and tau) are joined
        by " + ".
    kind : str
        ``base`` or ``increment``.
    started_on, stopped_on : datetime64[D]
        First day, and last day or NaT while it is ongoing at `as of`.
    tau_days : float
        Time constant of rise and decay, days.
    spell : int
        Index of the spell; a base and its increments share it.
    dose : str
        Dose as written in the records.
    known_drug : bool
        False where the drug is not in the drug table (tau is then the default).
    together_with : tuple of str
        Drugs folded into this one coefficient.
    """

    drug: str
    kind: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    tau_days: float
    spell: int
    dose: str
    known_drug: bool
    together_with: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Series:
    """Sessions of one animal, method, condition and quantity through time.

    All arrays are read-only, of length n, in the contract's session order.

    Parameters
    ----------
    animal, species, method, condition, quantity, unit : str
        `method` is that of the latest session.
    date : (n,) datetime64[D]
        Local date of each session.
    y : (n,) float
        Mean of the used readings, in `unit`.
    ss : (n,) float
        Sum of squares of the used readings about `y`; 0 where unknown or k = 1.
    k : (n,) float
        Used readings.
    scatter_known : (n,) bool
        False where only mean and count are known or a bound was used: such a session adds
        no reading-level terms to the likelihood.
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
        Median of the used readings; the mean where only that is known.
    tense : (n,) bool
        Whether the demeanour was written as tense.
    courses : tuple of Course
        The modelled courses of the animal, in order of start.
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
