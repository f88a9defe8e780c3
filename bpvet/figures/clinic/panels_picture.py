"""What a cohort's small panels show, as frozen numbers and words; they hold no model."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.figures.clinic.cohort_picture import (
    IntervalsPicture,
    Numbers,
    PopulationLine,
    ResidualsPicture,
)
from bpvet.figures.frozen import freeze
from bpvet.figures.words import PanelsWords
from bpvet.frozen import dataclass, field


@dataclass(frozen=True, eq=False)
class AnimalPanel:
    """One animal's sessions, and where its target and floor lie.

    Parameters
    ----------
    key, name : str
        Its id or pseudonym, and what it is called above its panel.
    state : str
        What stands before the name, such as ``urgent``; blank for nothing.
    standing : tuple of str
        What stands below the name, in words; the first that fits is written.
    date : (n,) datetime64[D]
        Ascending; NaT where dates are left out.
    months, value : (n,) float
        Months since its first session of any kind; session means, in the picture's unit.
    bound : (n,) str
        ``""``, ``at least`` or ``at most``.
    method : (n,) str
    treated : (n,) bool
    words : tuple of str
        What a pointer shows, of each session.
    target, floor : float or None
        In the picture's unit; `target_is` names the first.
    target_is : str
    """

    key: str
    name: str
    state: str
    standing: tuple[str, ...]
    date: NDArray[np.datetime64]
    months: Numbers
    value: Numbers
    bound: NDArray[np.str_]
    method: NDArray[np.str_]
    treated: NDArray[np.bool_]
    words: tuple[str, ...]
    target: float | None = None
    floor: float | None = None
    target_is: str = ""

    def __post_init__(self) -> None:
        kinds: dict[str, type | str] = {
            "date": "datetime64[D]",
            "months": np.float64,
            "value": np.float64,
            "bound": str,
            "method": str,
            "treated": bool,
        }
        if freeze(self, kinds) != {(len(self.words),)} or not self.words:
            raise CallError("A panel needs at least one session, and arrays of one length.")


@dataclass(frozen=True, eq=False)
class Deciles:
    """Deciles of the animals' means in bins of months, for a group too large for panels.

    Parameters
    ----------
    months : (m,) float
        Middle of each bin.
    value : (m, 9) float
        The deciles, lowest first.
    animals : (m,) int
        How many animals each bin holds.
    """

    months: Numbers
    value: Numbers
    animals: NDArray[np.int64]

    def __post_init__(self) -> None:
        freeze(self, {"months": np.float64, "value": np.float64, "animals": np.int64})
        rows = self.animals.size
        if (self.months.shape, self.value.shape) != ((rows,), (rows, 9)):
            raise CallError("Nine deciles are needed for each bin.")


@dataclass(frozen=True, eq=False)
class Overview:
    """All animals in one panel: the population's lines, and deciles where there are many.

    Parameters
    ----------
    heading : str
    lines : tuple of PopulationLine
    deciles : Deciles or None
    target, floor : float or None
        The guideline's, where they are drawn.
    """

    heading: str
    lines: tuple[PopulationLine, ...]
    deciles: Deciles | None
    target: float | None
    floor: float | None


@dataclass(frozen=True, eq=False)
class PanelsPicture:
    """A sheet of small panels on shared axes, an animal each; the first sheet has all in one.

    Parameters
    ----------
    title, quantity, unit : str
    overview : Overview or None
        On the first sheet alone.
    panels : tuple of AnimalPanel
        In their order, from left to right and down.
    low, high, longest : float
        Ends of the shared axes: in the unit, and in months. What lies beyond is drawn at the edge
        with its value in letters.
    interval : str
        What the intervals are called, such as "95 % interval".
    caption, alt_text : str
    words : PanelsWords
        What the figure writes by itself.
    """

    title: str
    quantity: str
    unit: str
    overview: Overview | None
    panels: tuple[AnimalPanel, ...]
    low: float
    high: float
    longest: float
    interval: str
    caption: str
    alt_text: str
    words: PanelsWords = field(kw_only=True)

    def __post_init__(self) -> None:
        if not (self.low < self.high and self.longest > 0):
            raise CallError("The shared axes of a picture need some length.")
        if not self.panels:
            raise CallError("A figure of a cohort needs at least one session.")


#: Every figure of a cohort.
CohortPicture = PanelsPicture | ResidualsPicture | IntervalsPicture
