"""What the earlier visits let one expect of a session, and where it lies: told after it is taken.

It is kept back until all readings are down: who knows what to expect reads it off the gauge.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from bpvet.answers.room.room import RoomAnswer
from bpvet.equality import Content
from bpvet.errors import CallError, FitError
from bpvet.facts.words import KEPT_OUT_CONDITIONS, METHOD_WORDS
from bpvet.models.trend.fit import fit_trend
from bpvet.printing import a_or_an, number
from bpvet.records.records import Records

#: The probability that a session of an animal that goes on as before lies between the two ends.
LEVEL = 0.95
#: Share of the sessions without a reading beyond the gauge from which both ends are told.
_MOSTLY = 0.5


@dataclass(frozen=True, eq=False)
class Expected(Content):
    """The mean that was to be expected of a session, mmHg; None where nothing is known.

    Parameters
    ----------
    mean, lower, upper : float or None
        The expected mean, and the ends of its interval.
    sessions : int
        Earlier sessions that it rests on.
    lies : str
        ``within``, ``above``, ``below`` or ``open``: where the session lies; blank without one.
    text : str
        All of it as sentences.
    """

    mean: float | None
    lower: float | None
    upper: float | None
    sessions: int
    lies: str
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return asdict(self)


def expected(records: Records, animal: str, answer: RoomAnswer) -> Expected:
    """Return what earlier sessions by the method and under the condition let one expect.

    Parameters
    ----------
    records : Records
        Without the session.
    animal : str
        Its id.
    answer : RoomAnswer
        The session, with its date.
    """
    kind = f"{METHOD_WORDS[answer.method]} session"
    if answer.condition != "clinic":
        kind = f"{answer.condition} {kind}"
    if answer.condition in KEPT_OUT_CONDITIONS:
        return _nothing(f"{a_or_an(kind)} is not set beside others")
    if answer.systolic.mean is None:
        return _nothing("no reading counts")
    day = answer.taken_at[:10]
    try:
        earlier = records if str(records.as_of) == day else records.speaking_on(day)
        trend = fit_trend(
            earlier, animal, method=answer.method, condition=answer.condition, rule=answer.rule
        )
        coming = trend.next_session(day, readings=answer.n_used)
    except (CallError, FitError):
        return _nothing(f"no earlier {kind} is on record that could say so")
    mean, (low, high) = float(np.ravel(coming.mean)[0]), coming.interval(LEVEL)
    lower, upper = float(np.ravel(low)[0]), float(np.ravel(high)[0])
    many = len(trend.series.date)
    lies = _lies(answer, lower, upper)
    if not trend.series.plain.mean() > _MOSTLY:
        return _nothing("earlier readings beyond the gauge leave open what was to be expected")
    return Expected(mean, lower, upper, many, lies, _text(answer, kind, many, mean, lower, upper))


def _nothing(why: str) -> Expected:
    return Expected(None, None, None, 0, "", f"What was to be expected is not known: {why}.")


def _lies(answer: RoomAnswer, lower: float, upper: float) -> str:
    mean, bound = answer.systolic.mean or 0.0, answer.systolic.bound
    if mean > upper and bound in ("", "at least"):
        return "above"
    if mean < lower and bound in ("", "at most"):
        return "below"
    return "open" if bound else "within"


def _text(answer: RoomAnswer, kind: str, many: int, mean: float, lower: float, upper: float) -> str:
    readings = f"{answer.n_used} reading{'s' * (answer.n_used != 1)}"
    told = (
        f"Expected from {many} earlier {kind}{'s' * (many != 1)}, for a mean of {readings}: "
        f"{number(mean, 0)} mmHg, 95 % from {number(max(lower, 0.0), 0)} to {number(upper, 0)}."
    )
    lies = _lies(answer, lower, upper)
    here = f"{answer.systolic.bound} {number(answer.systolic.mean, 0)}".strip()
    if lies == "within":
        less = "; what is urgent is no less urgent for that" if answer.urgent else ""
        return f"{told} This session, {here}, lies within{less}."
    if lies == "open":
        return f"{told} This session is a bound, {here}: whether it lies within is not known."
    return (
        f"{told} This session, {here}, lies {lies} that: look for what changed, in the animal or "
        "in the measuring."
    )
