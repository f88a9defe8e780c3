"""What is urgent of one session in the room, judged on it alone.

Standard library only. Nothing is known here of the animal's signs and drugs: what would be urgent
with them is told as what to ask for (`bpvet.wording.en.room.caution_lines`).
"""

from __future__ import annotations

from bpvet.answers.room.result import RoomUrgent, Spread
from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.species import judged as has_bounds
from bpvet.facts.words import Bound, Fate
from bpvet.visits.choice import SessionSum

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping

#: Conditions whose pressures are lower than a clinic's, and what is added before they are judged.
_LOWER = ("home", "calmed")


def room_urgent(
    found: SessionSum,
    spreads: Mapping[str, Spread],
    chosen: Guideline,
    species: str,
    condition: str,
    on: str,
) -> tuple[RoomUrgent, ...]:
    """Return the urgent lines of one session, the most pressing first.

    Parameters
    ----------
    found : SessionSum
    spreads : mapping of str to Spread
        What the used readings come to, by quantity.
    chosen : Guideline
    species : str
        ``cat``, ``dog`` or blank.
    condition : str
        As in the records.
    on : str
        Date of the session, ISO; may be blank.
    """
    from bpvet.wording.en.room import low_text, severe_text

    if not has_bounds(species):
        # The bounds are of animals that a guideline speaks of.
        return ()
    lines = []
    if (why := _low(found, spreads, condition)) is not None:
        mean = found.mean if why == "below" else spreads["mean"].mean if why == "mean" else None
        lines.append(RoomUrgent("low", low_text(why, mean, condition), on))
    if (as_judged := _severe(found, condition)) is not None and found.mean is not None:
        lines.append(RoomUrgent("severe", severe_text(found.mean, as_judged, chosen, species), on))
    return tuple(lines)


def judged(mean: float, condition: str) -> float:
    """Return a session mean as a clinic's bounds judge it, mmHg."""
    return mean + (_number(condition) if condition in _LOWER else 0.0)


def _low(found: SessionSum, spreads: Mapping[str, Spread], condition: str) -> str | None:
    """Return why the pressure may be too low: ``below``, ``no_sound`` or ``mean``; else None."""
    mean = spreads["mean"].mean if "mean" in spreads else None
    silent = found.fates.count(Fate.NO_SOUND)
    enough = found.n_taken >= _number("silent_readings")
    if found.mean is not None and found.mean < _number("low") and found.bound != Bound.AT_LEAST:
        return "below"
    if enough and silent >= _number("silent_share") * found.n_taken:
        return "no_sound"
    low = mean is not None and mean < _number("low_mean") and condition != "sedated"
    return "mean" if low else None


def _severe(found: SessionSum, condition: str) -> float | None:
    """Return the mean as it is judged, mmHg, where that is severe; else None."""
    if found.mean is None or found.bound == Bound.AT_MOST or condition == "anaesthetised":
        return None
    as_judged = judged(found.mean, condition)
    return as_judged if as_judged >= _number("severe") else None


def _number(key: str) -> float:
    value = fact(f"project.urgent.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return value
