"""Pictures: what a figure shows, as frozen numbers and words.

A picture is made above (`pictures/trend.py`), drawn here, and can be tested without drawing.
It holds no model and computes nothing. A date given by the day (``datetime64[D]``) is drawn at
local noon, as the model takes it; finer dates are drawn where they are.
"""

from __future__ import annotations

import numpy as np

from bpvet.errors import CallError
from bpvet.figures.picture_marks import FATES, Band, ReadingMarks, SessionMarks
from bpvet.figures.words import TrendWords
from bpvet.frozen import dataclass, field

__all__ = [
    "FATES",
    "Band",
    "CourseSpan",
    "DrugTrack",
    "GuideLine",
    "Level",
    "Panel",
    "ReadingMarks",
    "SessionMarks",
    "SignMark",
    "SmallRow",
    "TrendPicture",
    "Window",
]


@dataclass(frozen=True)
class Level:
    """A named range of a guideline: its name stands at the right edge, its lower bound is a line.

    Parameters
    ----------
    name : str
        Name of the category, written at the right edge.
    low, high : float
        Bounds in the panel's unit; minus or plus infinity at the ends.
    """

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class GuideLine:
    """A line across the panel: the target, or the floor.

    Parameters
    ----------
    value : float
        Where it lies, panel's unit.
    words : str
        What it is and whose, such as ``target 160, set for this animal``.
    """

    value: float
    words: str


@dataclass(frozen=True, eq=False)
class Panel:
    """One quantity through time.

    Parameters
    ----------
    heading : str
        Quantity, method and condition in words, such as ``Systolic pressure by Doppler, in the
        clinic, awake``.
    quantity : str
        The quantity's key, such as ``systolic``.
    unit : str
        Unit of every number in the panel, such as ``mmHg``.
    sessions : SessionMarks
        The series shown, filled marks.
    readings : ReadingMarks
        Its readings.
    others : tuple of SessionMarks
        Sessions by other methods or under other conditions, hollow marks.
    band : Band or None
        The usual value; None where there is none to show.
    levels : tuple of Level
        Categories of the guideline; may be empty.
    guideline : str
        Name and year of the guideline the levels come from; blank without levels.
    target, floor : GuideLine or None
        Lines across the panel.
    note : str
        What must be said with the panel, such as that the join between two methods is
        estimated; may be blank.
    words : TrendWords
        What the figure writes by itself of the panel's marks.
    """

    heading: str
    quantity: str
    unit: str
    sessions: SessionMarks
    readings: ReadingMarks = field(default_factory=ReadingMarks.none)
    others: tuple[SessionMarks, ...] = ()
    band: Band | None = None
    levels: tuple[Level, ...] = ()
    guideline: str = ""
    target: GuideLine | None = None
    floor: GuideLine | None = None
    note: str = ""
    words: TrendWords = field(kw_only=True)


@dataclass(frozen=True)
class CourseSpan:
    """A spell of treatment.

    Parameters
    ----------
    drug : str
        Name of the drug.
    dose : str
        Dose as written in the records; may be blank.
    started_on : datetime64[D]
        First day.
    stopped_on : datetime64[D] or NaT
        Last day; NaT while it is ongoing.
    modelled : bool
        True for a course of the model (a thick span), False for any other treatment (a thin
        one).
    """

    drug: str
    dose: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    modelled: bool

    @property
    def label(self) -> str:
        """Drug and dose as they are written beside the span."""
        return f"{self.drug} {self.dose}".strip()


@dataclass(frozen=True)
class DrugTrack:
    """One drug on one thin line, however often its dose changed.

    Parameters
    ----------
    drug : str
        Name of the drug.
    spans : tuple of CourseSpan
        Its spells in order of their first day, at least one.
    words : str
        What stands at the right of the line: the dose of the day the picture speaks for, as
        written, or when it was stopped.
    """

    drug: str
    spans: tuple[CourseSpan, ...]
    words: str

    def __post_init__(self) -> None:
        if not self.spans:
            raise CallError("A drug's track needs at least one spell.")


@dataclass(frozen=True, eq=False)
class SmallRow:
    """A quantity as a small line under the pressure, on the same dates.

    Parameters
    ----------
    name : str
        What was measured, such as ``Creatinine``.
    quantity : str
        Its key, such as ``creatinine``; a second unit of one quantity needs a key of its own.
    unit : str
        Unit of every value; may be blank.
    values : SessionMarks
        The values, without a method.
    lead : str
        Name and newest value with its unit, in a few words.
    detail : str
        Its date, the change to it, and the stage it points to; may be blank.
    """

    name: str
    quantity: str
    unit: str
    values: SessionMarks
    lead: str
    detail: str = ""


@dataclass(frozen=True)
class SignMark:
    """A recorded sign.

    Parameters
    ----------
    date : datetime64
        When it was seen.
    label : str
        The sign, such as ``retinal detachment``; its status if it is not simply present.
    """

    date: np.datetime64
    label: str


@dataclass(frozen=True)
class Window:
    """When the animal should be measured again: the one mark that may lie beyond `as_of`.

    Parameters
    ----------
    earliest : datetime64[D] or NaT
        First day; NaT where only a latest one is given.
    latest : datetime64[D]
        Last day.
    words : str
        What is written beside it, such as ``next visit: 3 to 17 May 2026``.
    """

    earliest: np.datetime64
    latest: np.datetime64
    words: str


@dataclass(frozen=True, eq=False)
class TrendPicture:
    """One animal through time: panels above each other on one date axis.

    Parameters
    ----------
    title : str
        Whom the figure is about, and of what.
    as_of : datetime64[D]
        The date the figure speaks for, drawn as "today"; an ongoing course runs to it, and
        nothing but the window lies beyond it.
    panels : tuple of Panel
        From top to bottom; the first is the tallest. Laboratory values are further panels.
    courses : tuple of CourseSpan
        Treatments, in a strip above the panels.
    signs : tuple of SignMark
        Signs, in a strip above the panels, each with a line down through them.
    caption : str
        The written caption, whole; `figures.trend.caption` adds what the drawing had to shorten.
    alt_text : str
        The figure in words for a reader who does not see it.
    urgent : tuple of str
        What is urgent, in sentences; the caption and the alternative text hold it too, and the
        drawing bears a mark that sends its reader there.
    newest : str
        The newest value, its date, the dose on that day and the usual value, in words under the
        title; may be blank.
    window : Window or None
        When to measure again; None where none is given.
    tracks : tuple of DrugTrack
        The treatments again, a thin line each under the pressure's dates; where there are any,
        they stand there and not in the strip above it.
    rows : tuple of SmallRow
        Kidney values and weight as small lines under the tracks.
    """

    title: str
    as_of: np.datetime64
    panels: tuple[Panel, ...]
    courses: tuple[CourseSpan, ...] = ()
    signs: tuple[SignMark, ...] = ()
    caption: str = ""
    alt_text: str = ""
    urgent: tuple[str, ...] = ()
    newest: str = ""
    window: Window | None = None
    tracks: tuple[DrugTrack, ...] = ()
    rows: tuple[SmallRow, ...] = ()

    @property
    def words(self) -> TrendWords:
        """What the figure writes by itself: the first panel's words."""
        return self.panels[0].words

    def __post_init__(self) -> None:
        if not self.panels:
            raise CallError("A picture of a trend needs at least one panel.")
        if np.isnat(self.as_of):
            raise CallError("A picture of a trend needs the date it speaks for (as_of).")
