"""The in-room sum as frozen plain numbers, and the words beside them.

Standard library only; a number that cannot be given is None.
"""

from __future__ import annotations

from bpvet.equality import Content
from bpvet.facts.words import condition_of
from bpvet.frozen import dataclass
from bpvet.printing import Brief
from bpvet.visits.choice import GoOn

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
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


@dataclass(frozen=True, eq=False, repr=False)
class RoomVisit(Content):
    """What is known of a session in the room beside its readings; blank where it is not.

    Parameters
    ----------
    species, setting, state : str
        As in the records.
    animal, taken_at : str
        Its id, and the ISO date or date and time, for the line for the chart.
    cuff_width_cm, limb_circumference_cm : float, optional
        Sizes of the cuff and of the limb under it; where both are given, a cuff too narrow or too
        wide is told.
    """

    species: str = ""
    setting: str = ""
    state: str = ""
    animal: str = ""
    taken_at: str = ""
    cuff_width_cm: float | None = None
    limb_circumference_cm: float | None = None

    @property
    def condition(self) -> str:
        """The contract's condition of the setting and the state."""
        return condition_of(self.setting, self.state)

    @property
    def sizes(self) -> tuple[float | None, float | None]:
        """Width of the cuff, and circumference of the limb, cm."""
        return self.cuff_width_cm, self.limb_circumference_cm


@dataclass(frozen=True, eq=False, repr=False)
class RoomUrgent(Content):
    """An urgent line of the room: the rule, the words, its date (blank if not given), its age."""

    rule: str
    text: str
    on: str
    age_days: int = 0


@dataclass(frozen=True, eq=False, repr=False)
class RoomAnswer(Brief, Content):
    """The in-room sum of one session.

    Numbers are in the unit beside them; what cannot be given is None. `words` is what a person
    reads, `cautions` what stands on everything that may be kept, `chart_line` what goes into the
    chart. `to_dict` gives plain JSON values.
    """

    animal: str
    taken_at: str
    species: str
    method: str
    condition: str
    rule: str
    n_taken: int
    n_used: int
    systolic: Spread
    diastolic: Spread | None
    mean: Spread | None
    heart_rate: Spread | None
    readings: tuple[ReadingFate, ...]
    range: RangeAnswer
    go_on: GoOnAnswer
    flags: tuple[str, ...]
    urgent: tuple[RoomUrgent, ...]
    words: RoomWords
    cautions: tuple[str, ...]
    chart_line: str
    version: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values."""
        from dataclasses import asdict

        return asdict(self)
