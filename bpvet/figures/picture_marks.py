"""Marks of a picture: readings, sessions and bands, as frozen arrays of one length."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.words import BOUNDS
from bpvet.figures.frozen import freeze
from bpvet.frozen import dataclass, field, field_names

#: What can have become of a reading.
FATES = ("used", "left out", "excluded", "no sound", "set aside")

Dates = NDArray[np.datetime64]
Numbers = NDArray[np.float64]
Words = NDArray[np.str_]
Counts = NDArray[np.int64]
Truths = NDArray[np.bool_]


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
    session : (n,) int
        Number of the session it belongs to, as in `SessionMarks`; 0 where that is not known.
    """

    date: Dates
    value: Numbers
    fate: Words
    bound: Words
    session: Counts = field(default_factory=lambda: _NO_COUNTS)

    def __post_init__(self) -> None:
        _numbered(self)
        kinds = {"value": np.float64, "fate": np.str_, "bound": np.str_, "session": np.int64}
        _freeze(self, kinds)
        _only(self.fate, FATES, "fate", "reading")
        _only(self.bound, ("", *BOUNDS), "bound", "reading")

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
    session : (n,) int
        Number of the session in the animal, from 1, as in the table of sessions; 0 where there is
        none.
    """

    name: str
    method: str
    condition: str
    date: Dates
    mean: Numbers
    low: Numbers
    high: Numbers
    n: Counts
    bound: Words
    label: Words
    session: Counts = field(default_factory=lambda: _NO_COUNTS)

    def __post_init__(self) -> None:
        _numbered(self)
        numbers = dict.fromkeys(("mean", "low", "high"), np.float64)
        texts = dict.fromkeys(("bound", "label"), np.str_)
        _freeze(self, numbers | texts | dict.fromkeys(("n", "session"), np.int64))
        _only(self.bound, ("", *BOUNDS), "bound", "session")


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
    doubtful : (m,) bool
        Where the band is not to be leaned on: hatched between two such dates. None by default.
    unjoined : (m,) bool
        Where the centre is not to be drawn as a line, because a session is known as a bound alone:
        between two such dates. None by default.
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
    doubtful: Truths = field(default_factory=lambda: _NO_TRUTHS)
    unjoined: Truths = field(default_factory=lambda: _NO_TRUTHS)

    def __post_init__(self) -> None:
        numbers = ("centre", "low_inner", "high_inner", "low_outer", "high_outer")
        for name in ("doubtful", "unjoined"):
            if not np.size(getattr(self, name)):
                object.__setattr__(self, name, np.zeros(np.shape(self.date), dtype=bool))
        truths = dict.fromkeys(("doubtful", "unjoined"), np.bool_)
        _freeze(self, dict.fromkeys(numbers, np.float64) | truths)
        if not 0 < self.inner < self.outer < 1:
            raise CallError(f"A band needs 0 < inner < outer < 1, not {self.inner}, {self.outer}.")


_NO_DATES: Dates = np.array([], dtype="datetime64[D]")
_NO_NUMBERS: Numbers = np.array([], dtype=np.float64)
_NO_WORDS: Words = np.array([], dtype=np.str_)
_NO_COUNTS: Counts = np.array([], dtype=np.int64)
_NO_TRUTHS: Truths = np.array([], dtype=np.bool_)


def _numbered(marks: ReadingMarks | SessionMarks) -> None:
    """Give marks without numbers of sessions a 0 each."""
    if not np.size(marks.session) and np.size(marks.date):
        object.__setattr__(marks, "session", np.zeros(np.size(marks.date), dtype=np.int64))


def _freeze(marks: ReadingMarks | SessionMarks | Band, kinds: Mapping[str, Any]) -> None:
    """Turn the dates and the named fields into read-only arrays of one length."""
    date = np.asarray(marks.date)
    # What holds no date as such is read to the minute.
    day = date.dtype if date.dtype.kind == "M" else f"datetime64[{'m' if date.size else 'D'}]"
    lengths = freeze(marks, {"date": day, **kinds})
    if len(lengths) != 1 or len(next(iter(lengths))) != 1:
        named = ", ".join(
            f"{name} {np.shape(getattr(marks, name))}"
            for name in field_names(marks)
            if isinstance(getattr(marks, name), np.ndarray)
        )
        raise CallError(f"{type(marks).__name__} needs arrays of one length: {named}.")
    if np.isnat(marks.date).any():
        raise CallError(f"{type(marks).__name__} needs a date for every mark.")


def _only(found: Words, known: Sequence[str], what: str, of: str) -> None:
    for word in np.unique(found):
        if word not in known:
            listed = ", ".join(repr(word) for word in known)
            raise CallError(f"Unknown {what} of a {of}: {str(word)!r}. Known are {listed}.")
