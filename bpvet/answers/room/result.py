"""The parts of the in-room sum: frozen plain numbers, and the words beside them.

Standard library only; a number that cannot be given is None.
"""

from __future__ import annotations

from dataclasses import dataclass

from bpvet.equality import Content
from bpvet.visits.choice import GoOn


@dataclass(frozen=True, eq=False)
class RoomReading(Content):
    """One reading as it was taken in the room.

    Parameters
    ----------
    systolic : float or None
        mmHg; a bound stands at its value; None when no sound was obtained.
    bound : str
        ``""``, ``at least`` or ``at most``.
    diastolic, mean, heart_rate : float or None
        As an oscillometric instrument gave them: mmHg, mmHg, per minute.
    excluded : str
        Why it shall not count; blank when it counts.
    """

    systolic: float | None
    bound: str = ""
    diastolic: float | None = None
    mean: float | None = None
    heart_rate: float | None = None
    excluded: str = ""


@dataclass(frozen=True, eq=False)
class ReadingFate(Content):
    """A reading with its place from 1, what became of it (`bpvet.visits.choice.FATES`) and why."""

    number: int
    systolic: float | None
    bound: str
    diastolic: float | None
    mean: float | None
    heart_rate: float | None
    fate: str
    reason: str


@dataclass(frozen=True, eq=False)
class Spread(Content):
    """What the used readings of one quantity come to, in `unit`.

    `sd` is None with fewer than two; `cv` and `relative_range` are the SD, and highest minus
    lowest, divided by the mean. All but the mean, which then is a bound, are None where a reading
    beyond the gauge leaves them open.
    """

    mean: float | None
    sd: float | None
    n: int
    lowest: float | None
    highest: float | None
    median: float | None
    cv: float | None
    relative_range: float | None
    bound: str
    unit: str


@dataclass(frozen=True, eq=False)
class RangeAnswer(Content):
    """The category in whose range the mean lies, or why none is named.

    `or_beyond` is ``or above`` or ``or below`` where the mean is a bound; `low` and `high` are
    None where the range is open.
    """

    guideline: str
    guideline_name: str
    name: str | None
    low: float | None
    high: float | None
    or_beyond: str
    withheld: str | None
    remembered: bool


@dataclass(frozen=True, eq=False)
class GoOnAnswer(Content):
    """Whether to take more readings now.

    Parameters
    ----------
    more_for_minimum, more_for_enough : int
        Fewest further readings after which 3, and after which 5, count under the rule.
    reasons : tuple of GoOn
        Why; empty when there are enough and they agree.
    """

    more_for_minimum: int
    more_for_enough: int
    reasons: tuple[GoOn, ...]


@dataclass(frozen=True, eq=False)
class RoomWords(Content):
    """What a person reads beside the numbers.

    Parameters
    ----------
    range : str
        The range that the mean lies in, with the guideline's name, or why none is named.
    go_on : tuple of str
        Whether to take more readings, and why.
    cautions : tuple of str
        What must be done or looked for today; may be empty.
    notes : tuple of str
        What must be said beside single readings; may be empty.
    """

    range: str
    go_on: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
