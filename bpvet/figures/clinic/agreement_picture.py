"""What an agreement figure shows, as frozen numbers and words; it holds no model."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bpvet.errors import CallError
from bpvet.figures.frozen import freeze
from bpvet.figures.words import AgreementWords
from bpvet.frozen import dataclass

Numbers = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PairMarks:
    """Values by both methods, each pair a mark. Arrays are read-only and of length n.

    Parameters
    ----------
    first, second : (n,) float
        By the first and by the second method, in the picture's unit.
    animal : (n,) int
        Which animal of the picture each belongs to.
    """

    first: Numbers
    second: Numbers
    animal: NDArray[np.int64]

    def __post_init__(self) -> None:
        kinds = {"first": np.float64, "second": np.float64, "animal": np.int64}
        if len(freeze(self, kinds)) != 1 or self.first.ndim != 1:
            raise CallError("Marks need one value by each method and one animal each.")

    @property
    def difference(self) -> Numbers:
        """Second minus first, (n,)."""
        return self.second - self.first

    @property
    def middle(self) -> Numbers:
        """Mean of both, (n,)."""
        return (self.first + self.second) / 2


@dataclass(frozen=True)
class LevelLine:
    """A line across the differences, with the ends of its interval (None where there is none)."""

    value: float
    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class FittedLine:
    """A straight line, second = intercept + slope · first (or difference on mean)."""

    slope: float
    intercept: float
    words: str

    def at(self, x: ArrayLike) -> Numbers:
        """Return its height at `x`."""
        return self.intercept + self.slope * np.asarray(x, dtype=float)


@dataclass(frozen=True, eq=False)
class AgreementPicture:
    """Two methods against each other.

    Parameters
    ----------
    title : str
        One line or two.
    labels : (str, str)
        First and second method in words.
    unit : str
        Unit of all values.
    animals : tuple of str
        Names of the animals when there are few: each then has its own mark; else empty.
    points : PairMarks
        What the limits are drawn among: means of visits, animals or pairs.
    readings : PairMarks
        Single readings paired in order of taking: faint, for the eye.
    points_are : str
        What a point is, in words.
    bias, lower, upper : LevelLine
        Bias and limits of agreement.
    trend : FittedLine or None
        Difference on mean, where it is told.
    lines : tuple of FittedLine
        Lines of the second method on the first.
    caption, alt_text : str
        Sentences.
    words : AgreementWords
        What the figure writes by itself.
    """

    title: str
    labels: tuple[str, str]
    unit: str
    animals: tuple[str, ...]
    points: PairMarks
    readings: PairMarks
    points_are: str
    bias: LevelLine
    lower: LevelLine
    upper: LevelLine
    trend: FittedLine | None
    lines: tuple[FittedLine, ...]
    caption: str
    alt_text: str
    words: AgreementWords

    def __post_init__(self) -> None:
        if not self.points.first.size:
            raise CallError("An agreement figure needs at least one point.")
        if self.animals and int(self.points.animal.max()) >= len(self.animals):
            raise CallError("A mark belongs to an animal that is not named.")
