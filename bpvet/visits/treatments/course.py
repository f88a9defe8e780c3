"""Courses of modelled drugs and the other drugs that an animal was given, as they are handed on.

What makes them of the rows is in `bpvet.visits.treatments.courses`.
"""

from __future__ import annotations

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass, field
from bpvet.records.findings import Finding
from bpvet.visits.treatments.missed import MissedDoses, Stretches
from bpvet.visits.treatments.spells import Row


@dataclass(frozen=True, eq=False)
class Course(Content):
    """One coefficient of a trend: a spell on one drug, or a change of its dose on top.

    Parameters
    ----------
    drug : str
        Generic name; drugs that cannot be told apart (begun on one day, or with the same start,
        stop and tau) are joined by " + ".
    kind : str
        ``base``; ``increment``: a change of dose or product; ``left``: what is changed when one
        of several drugs begun on one day stops.
    started_on, stopped_on : datetime64[D]
        First day, and last day or NaT while it is ongoing at `as of`.
    tau_days : float
        Time constant of rise and decay, days.
    spell : int
        Index of the spell; a base and its increments share it.
    dose : str
        Dose as written in the records.
    known_drug : bool
        False where the drug is not on the drug list: its purpose names blood pressure, and tau is
        the neutral one.
    together_with : tuple of str
        Drugs folded into this one coefficient.
    product : str
        Product as written in the records; blank where none is.
    missed : tuple of (datetime64[D], datetime64[D])
        Stretches without doses, first and last day, both inclusive: over them the effect decays.
    spells : tuple of int
        Every spell that this coefficient is part of: more than one where spells cannot be told
        apart.
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
    spells: tuple[int, ...] = ()
    product: str = ""
    missed: Stretches = ()


@dataclass(frozen=True, eq=False)
class GivenDrug(Content):
    """A row of treatment: which drug, when, and what is known of it.

    Parameters
    ----------
    drug : str
        Generic name where it is known, else as written.
    dose : str
        As written, with its unit.
    started_on, stopped_on : datetime64[D]
        First and last day; NaT while it is ongoing at `as of`.
    known : bool
        Whether the drug is on the list; one off it may act on pressure, and is asked about.
    raises : bool
        Whether it is known to raise pressure.
    renin : bool
        Whether it acts on the renin–angiotensin system.
    nsaid : bool
        Whether it is a non-steroidal anti-inflammatory drug.
    """

    drug: str
    dose: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    known: bool = field(default=True, kw_only=True)
    raises: bool = field(default=False, kw_only=True)
    renin: bool = field(default=False, kw_only=True)
    nsaid: bool = field(default=False, kw_only=True)

    def on(self, date: np.datetime64) -> bool:
        """Return whether the row is on at a date: after its first day, up to its last.

        A session on the first day comes before the first dose.
        """
        return is_on(self.started_on, self.stopped_on, date)


@dataclass(frozen=True, eq=False)
class Span(GivenDrug):
    """A row of treatment as it is drawn; fields as in `GivenDrug`, and:

    Parameters
    ----------
    modelled : bool
        Whether the row is part of a course.
    """

    modelled: bool


@dataclass(frozen=True, eq=False)
class OtherDrug(GivenDrug):
    """A row of a drug that is named and drawn but never modelled; as in `GivenDrug`, and:

    Parameters
    ----------
    kind : str
        Kind of drug (calming, thyroid, steroid, diet, …).
    moves_pressure : bool
        Whether it may move pressure: its start and stop are then a change of conditions.
    """

    kind: str
    moves_pressure: bool


@dataclass(frozen=True, eq=False)
class Treatments(Content):
    """What one animal was given, as the trend and the figure need it.

    Parameters
    ----------
    courses : tuple of Course
        Coefficients of the trend in order of start; what cannot be told apart is one.
    others : tuple of OtherDrug
        In order of start.
    findings : tuple of Finding
        What had to be decided, and what would settle it.
    spans : tuple of Span
        Every row that is drawn, in order of start.
    rows : tuple of Row
        The row of the records behind each span.
    missed : tuple of MissedDoses
        Rows of doses missed or late, in order of their first day.
    """

    courses: tuple[Course, ...]
    others: tuple[OtherDrug, ...]
    findings: tuple[Finding, ...]
    spans: tuple[Span, ...]
    rows: tuple[Row, ...] = ()
    missed: tuple[MissedDoses, ...] = ()


def is_on(started_on: np.datetime64, stopped_on: np.datetime64, date: np.datetime64) -> bool:
    """Return whether something given from one day to another (NaT: ongoing) is on at a date.

    It is on from the day after its start (a session on the start date comes before the first
    dose) to its last day.
    """
    return bool(started_on < date and (np.isnat(stopped_on) or date <= stopped_on))
