"""What the picture of the newest session says: its readings, and what was expected of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bpvet.answers.trend.usual import SurpriseAnswer
from bpvet.facts.words import METHOD_WORDS
from bpvet.frozen import dataclass
from bpvet.printing import number, prose_date
from bpvet.wording.en.phrases import percent

AXIS = "mmHg from the expected mean"
#: What a mark is.
MARK = "Reading or mean"


@dataclass(frozen=True)
class SessionWords:
    """The words of the picture of one session.

    Parameters
    ----------
    found : SurpriseAnswer
        With its expectation and the ends of its interval.
    level : float
        Of the interval.
    readings : tuple of str
        As `reading_name` gives them.
    """

    found: SurpriseAnswer
    level: float
    readings: tuple[str, ...]

    @property
    def expected(self) -> str:
        """What was expected, with its interval."""
        ends = f"{self._number(self.found.lower)} to {self._number(self.found.upper)}"
        return f"{self._number(self.found.expected)} mmHg, {percent(self.level)} from {ends}"

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the rows, from top to bottom."""
        return (f"expected: {self.expected}", *self.readings, self._mean)

    @property
    def zero_is(self) -> str:
        """What the line at 0 is."""
        return f"{self._number(self.found.expected)} mmHg, expected of the session's mean"

    @property
    def interval(self) -> str:
        """What the line through the expectation is."""
        return f"line: {percent(self.level)} of such sessions"

    def title(self, who: str) -> str:
        """Return whose session of which day it is."""
        return f"{who}: the readings of {prose_date(self.found.date)} beside what was expected"

    def caption(self, method: str) -> str:
        """Return the written caption."""
        return (
            f"{METHOD_WORDS[method]} readings in the order of taking, beside what the earlier "
            f"sessions let one expect of their mean: {self.expected}. The session lies "
            f"{self._lies} that. A single reading scatters more than a mean. What was expected is "
            "told when the readings are down."
        )

    @property
    def alt_text(self) -> str:
        """The picture in words."""
        return (
            f"Readings of {prose_date(self.found.date)} in order: {'; '.join(self.readings)}. "
            f"Expected {self.expected}; {self._mean}, {self._lies} it."
        )

    @property
    def _mean(self) -> str:
        mean = f"{self.found.bound} {self._number(self.found.observed)}".strip()
        return f"the session: {mean} mmHg, the mean of what counts"

    @property
    def _lies(self) -> str:
        lower, upper = self.found.lower, self.found.upper
        # Whoever draws it has an interval.
        assert lower is not None
        assert upper is not None
        return "within" if lower <= self.found.observed <= upper else "outside"

    @staticmethod
    def _number(value: float | None) -> str:
        return number(value, 0)


def reading_names(rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return readings by their order, each with its value and what became of it.

    Parameters
    ----------
    rows : sequence of mapping
        With ``order``, ``systolic``, ``systolic_bound`` and ``fate``.
    """
    names = []
    for row in rows:
        bound = f"{row['systolic_bound']} " if row["systolic_bound"] else ""
        shown = f"{row['order']}: {bound}{row['systolic']:.0f}"
        names.append(shown if row["fate"] == "used" else f"{shown}, {row['fate']}")
    return tuple(names)
