"""What the earlier visits let one expect of a session, and where it lies: told after it is taken.

It is kept back until all readings are down: who knows what to expect reads it off the gauge.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet.answers.room.result import RoomAnswer
from bpvet.equality import Content
from bpvet.errors import CallError, FitError
from bpvet.facts.words import KEPT_OUT_CONDITIONS, Bound
from bpvet.frozen import dataclass, replace
from bpvet.models.trend.fit import fit_trend
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
    unknown : str
        Why nothing is known: ``kept_out``, ``no_reading``, ``none_earlier`` or ``beyond_gauge``;
        blank where it is.
    """

    mean: float | None
    lower: float | None
    upper: float | None
    sessions: int
    lies: str
    text: str
    unknown: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON values."""
        from dataclasses import asdict

        shown = asdict(self)
        # The text says it.
        del shown["unknown"]
        return shown


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
    from bpvet.wording.en.room import expected_text

    found = _expected(records, animal, answer)
    return replace(found, text=expected_text(answer, found))


def _expected(records: Records, animal: str, answer: RoomAnswer) -> Expected:
    """Return the numbers, without their text."""
    if answer.condition in KEPT_OUT_CONDITIONS:
        return _nothing("kept_out")
    if answer.systolic.mean is None:
        return _nothing("no_reading")
    day = answer.taken_at[:10]
    try:
        earlier = records if str(records.as_of) == day else records.speaking_on(day)
        trend = fit_trend(
            earlier, animal, method=answer.method, condition=answer.condition, rule=answer.rule
        )
        coming = trend.next_session(day, readings=answer.n_used)
    except (CallError, FitError):
        return _nothing("none_earlier")
    mean, (low, high) = float(np.ravel(coming.mean)[0]), coming.interval(LEVEL)
    lower, upper = float(np.ravel(low)[0]), float(np.ravel(high)[0])
    if not trend.series.plain.mean() > _MOSTLY:
        return _nothing("beyond_gauge")
    many = len(trend.series.date)
    return Expected(mean, lower, upper, many, _lies(answer, lower, upper), "")


def _nothing(why: str) -> Expected:
    return Expected(None, None, None, 0, "", "", why)


def _lies(answer: RoomAnswer, lower: float, upper: float) -> str:
    mean, bound = answer.systolic.mean or 0.0, answer.systolic.bound
    if mean > upper and bound in (Bound.NONE, Bound.AT_LEAST):
        return "above"
    if mean < lower and bound in (Bound.NONE, Bound.AT_MOST):
        return "below"
    return "open" if bound else "within"
