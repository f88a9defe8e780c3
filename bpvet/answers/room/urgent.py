"""What is urgent of one session in the room, judged on it alone.

Standard library only. Nothing is known here of the animal's signs and drugs: what would be urgent
with them is told as what to ask for (`bpvet.answers.room.words.caution_lines`).
"""

from __future__ import annotations

from dataclasses import dataclass

from bpvet.answers.room.parts import Spread
from bpvet.facts.categories import Guideline
from bpvet.facts.sources import credit, fact
from bpvet.printing import number
from bpvet.visits.choice import SessionSum

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

#: Conditions whose pressures are lower than a clinic's, and what is added before they are judged.
_LOWER = ("home", "calmed")


@dataclass(frozen=True)
class RoomUrgent:
    """An urgent line of the room: the rule, the words, its date (blank if not given), its age."""

    rule: str
    text: str
    on: str
    age_days: int = 0


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
    lines = (*_low(found, spreads, condition), *_severe(found, chosen, species, condition))
    return tuple(RoomUrgent(rule, text, on) for rule, text in lines)


def judged(mean: float, condition: str) -> float:
    """Return a session mean as a clinic's bounds judge it, mmHg."""
    return mean + (_number(condition) if condition in _LOWER else 0.0)


def _low(
    found: SessionSum, spreads: Mapping[str, Spread], condition: str
) -> Iterator[tuple[str, str]]:
    low, low_mean = _number("low"), _number("low_mean")
    mean = spreads["mean"].mean if "mean" in spreads else None
    silent = found.fates.count("no sound")
    enough = found.n_taken >= _number("silent_readings")
    if found.mean is not None and found.mean < low and found.bound != "at least":
        why = f"this session's mean is {number(found.mean, 0)} mmHg, below {number(low, 0)}"
    elif enough and silent >= _number("silent_share") * found.n_taken:
        why = "half or more of the readings gave no sound"
    elif mean is not None and mean < low_mean and condition != "sedated":
        why = f"the mean arterial pressure is {number(mean, 0)} mmHg, below {number(low_mean, 0)}"
    else:
        return
    under = "" if condition != "anaesthetised" else " The animal is under anaesthesia."
    yield (
        "low",
        f"The pressure may be too low, or measured wrongly: {why}.{under} Repeat it, look at the "
        "animal, and let a vet see it now. What to change is for the vet to decide.",
    )


def _severe(
    found: SessionSum, chosen: Guideline, species: str, condition: str
) -> Iterator[tuple[str, str]]:
    severe = _number("severe")
    if found.mean is None or found.bound == "at most" or condition == "anaesthetised":
        return
    as_judged = judged(found.mean, condition)
    if as_judged < severe:
        return
    from bpvet.facts.recheck import rows

    window = rows()["severe"].window(chosen.key, species)
    name = "judgement of this project"
    if window.fact is not None:
        name = credit(window.fact)
    said = f"{number(severe, 0)} mmHg or more"
    if found.mean < severe:
        said = (
            f"{number(found.mean, 0)} mmHg, judged as {number(as_judged, 0)} because readings at "
            "home or after a calming drug are lower than a clinic's"
        )
    yield (
        "severe",
        f"{said}: look for organ damage today (eyes, nervous signs, heart, kidneys). With a sign "
        "of damage to the eye or the brain a vet must see this animal now. Without one, measure "
        f"again within {window.earliest} to {window.latest} days ({name}).",
    )


def _number(key: str) -> float:
    value = fact(f"project.urgent.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return value
