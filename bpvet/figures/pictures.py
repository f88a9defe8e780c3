"""Pictures: what a figure shows, as frozen numbers and words.

A picture is made above (`models/picture.py`), drawn here, and can be tested without drawing.
It holds no model and computes nothing. A date given by the day (``datetime64[D]``) is drawn at
local noon, as the model takes it; finer dates are drawn where they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.words import BOUNDS

#: What can have become of a reading.
FATES = ("used", "left out", "excluded", "no sound", "set aside")

Dates = NDArray[np.datetime64]
Numbers = NDArray[np.float64]
Words = NDArray[np.str_]


@dataclass(frozen=True, eq=False)
class ReadingMarks:
    """The readings of one series, each a faint mark.

    All arrays are read-only and of length n, which may be 0.

    Parameters
    ----------
    date : (n,) datetime64
        Date, or date and time, of the session the reading belongs to.
    value : (n,) float
        Value in the panel's unit; NaN for "no sound" and for what was set aside (not drawn).
    fate : (n,) str
        One of `FATES`.
    bound : (n,) str
        ``""``, ``at least`` or ``at most``: such a value is drawn as an arrow.
    """

    date: Dates
    value: Numbers
    fate: Words
    bound: Words

    def __post_init__(self) -> None:
        _freeze(self, dates=("date",), numbers=("value",), words=("fate", "bound"))
        _only(self.fate, FATES, "fate of a reading")
        _only(self.bound, ("", *BOUNDS), "bound of a reading")

    @classmethod
    def none(cls) -> ReadingMarks:
        """Return marks of no reading at all."""
        return cls(_NO_DATES, _NO_NUMBERS, _NO_WORDS, _NO_WORDS)


@dataclass(frozen=True, eq=False)
class SessionMarks:
    """The sessions of one method under one condition.

    All arrays are read-only and of length n, which may be 0.

    Parameters
    ----------
    name : str
        What these sessions are, for the key, such as ``Doppler, at home``.
    method : str
        ``doppler``, ``oscillometric`` or ``""`` (a laboratory value): picks marker and line.
    condition : str
        One of the conditions in `facts.words`, or ``""``: picks the sign inside a hollow mark.
    date : (n,) datetime64
        Date, or date and time.
    mean : (n,) float
        Mean of the used readings, panel's unit; NaN where there is none (not drawn).
    low, high : (n,) float
        Mean minus and plus one standard deviation of the used readings, panel's unit; NaN
        where it is not known.
    n : (n,) int
        Used readings.
    bound : (n,) str
        ``""``, ``at least`` or ``at most``: the mark then carries an arrow.
    label : (n,) str
        What to call this session in the figure, such as ``first visit`` or ``very unusual``;
        mostly blank.
    """

    name: str
    method: str
    condition: str
    date: Dates
    mean: Numbers
    low: Numbers
    high: Numbers
    n: NDArray[np.int64]
    bound: Words
    label: Words

    def __post_init__(self) -> None:
        _freeze(
            self,
            dates=("date",),
            numbers=("mean", "low", "high"),
            words=("bound", "label"),
            counts=("n",),
        )
        _only(self.bound, ("", *BOUNDS), "bound of a session")


@dataclass(frozen=True, eq=False)
class Band:
    """Where the usual value lies through time. All arrays are read-only, of length m.

    Parameters
    ----------
    date : (m,) datetime64
        Dates in rising order.
    centre : (m,) float
        Mean of the usual value, panel's unit.
    low_inner, high_inner, low_outer, high_outer : (m,) float
        Ends of the inner and of the outer interval, panel's unit.
    words : str
        What the bands are, in a sentence, such as ``Usual pressure as measured here: the line
        is the best estimate; it lies in the dark band with 50 %, in the light band with 95 %
        probability.``
    inner, outer : float
        Probability of the two intervals, 0 to 1.
    """

    date: Dates
    centre: Numbers
    low_inner: Numbers
    high_inner: Numbers
    low_outer: Numbers
    high_outer: Numbers
    words: str
    inner: float = 0.5
    outer: float = 0.95

    def __post_init__(self) -> None:
        numbers = ("centre", "low_inner", "high_inner", "low_outer", "high_outer")
        _freeze(self, dates=("date",), numbers=numbers)
        if not 0 < self.inner < self.outer < 1:
            raise CallError(f"A band needs 0 < inner < outer < 1, not {self.inner}, {self.outer}.")


@dataclass(frozen=True)
class Level:
    """A named range of a guideline, drawn as a lightly shaded level.

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


@dataclass(frozen=True, eq=False)
class TrendPicture:
    """One animal through time: panels above each other on one date axis.

    Parameters
    ----------
    title : str
        Whom the figure is about, and of what.
    as_of : datetime64[D]
        The date the figure speaks for; an ongoing course runs to it at least.
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
    """

    title: str
    as_of: np.datetime64
    panels: tuple[Panel, ...]
    courses: tuple[CourseSpan, ...] = ()
    signs: tuple[SignMark, ...] = ()
    caption: str = ""
    alt_text: str = ""

    def __post_init__(self) -> None:
        if not self.panels:
            raise CallError("A picture of a trend needs at least one panel.")
        if np.isnat(self.as_of):
            raise CallError("A picture of a trend needs the date it speaks for (as_of).")


_NO_DATES: Dates = np.array([], dtype="datetime64[D]")
_NO_NUMBERS: Numbers = np.array([], dtype=np.float64)
_NO_WORDS: Words = np.array([], dtype=np.str_)


def _freeze(
    marks: ReadingMarks | SessionMarks | Band,
    dates: Sequence[str],
    numbers: Sequence[str] = (),
    words: Sequence[str] = (),
    counts: Sequence[str] = (),
) -> None:
    """Turn the named fields into read-only arrays of one length, copies of what was given."""
    for name in (*dates, *numbers, *words, *counts):
        array = np.array(getattr(marks, name), copy=True)
        if name in dates and array.dtype.kind != "M":
            array = array.astype("datetime64[m]" if array.size else "datetime64[D]")
        elif name in numbers:
            array = array.astype(np.float64)
        elif name in words:
            array = array.astype(np.str_)
        elif name in counts:
            array = array.astype(np.int64)
        array.setflags(write=False)
        object.__setattr__(marks, name, array)
    lengths = {getattr(marks, name).shape for name in (*dates, *numbers, *words, *counts)}
    if len(lengths) != 1 or len(next(iter(lengths))) != 1:
        named = ", ".join(
            f"{part.name} {np.shape(getattr(marks, part.name))}"
            for part in fields(marks)
            if isinstance(getattr(marks, part.name), np.ndarray)
        )
        raise CallError(f"{type(marks).__name__} needs arrays of one length: {named}.")
    if np.isnat(getattr(marks, dates[0])).any():
        raise CallError(f"{type(marks).__name__} needs a date for every mark.")


def _only(found: Words, known: Sequence[str], what: str) -> None:
    for word in np.unique(found):
        if word not in known:
            listed = ", ".join(repr(one) for one in known)
            raise CallError(f"Unknown {what}: {str(word)!r}. Known are {listed}.")
