"""The in-room sum in words that are read once, with the animal on the table.

Standard library only. Where a rule is from memory, the words say so.
"""

from __future__ import annotations

from bpvet.answers.room_parts import RangeAnswer
from bpvet.facts.categories import Guideline
from bpvet.facts.protocol import CEILING, ENOUGH_READINGS, MIN_READINGS, limits
from bpvet.facts.sources import AS_REMEMBERED, Fact, fact, source
from bpvet.facts.words import KEPT_OUT_CONDITIONS
from bpvet.printing import number
from bpvet.visits.choice import FEW, INCONSISTENT, NOT_ENOUGH, STILL_FALLING, SessionSum

_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven")


def range_line(lies: RangeAnswer) -> str:
    """Return the range that the mean lies in as a sentence."""
    if lies.name is None:
        return f"No range is named: {lies.withheld}."
    if lies.low is None:
        ends = f"below {number(lies.high, 0)} mmHg"
    elif lies.high is None:
        ends = f"{number(lies.low, 0)} mmHg or more"
    else:
        ends = f"{number(lies.low, 0)} up to {number(lies.high, 0)} mmHg"
    beyond = f" {lies.or_beyond}" if lies.or_beyond else ""
    remembered = f"; {AS_REMEMBERED}" if lies.remembered else ""
    return (
        f'In the range of "{lies.name}"{beyond} ({ends}; {lies.guideline_name}{remembered}). '
        "One session says where this visit lies, not what the animal usually has."
    )


def go_on_lines(found: SessionSum, to_minimum: int, to_enough: int) -> tuple[str, ...]:
    """Return whether to take more readings, and why.

    Parameters
    ----------
    found : SessionSum
    to_minimum, to_enough : int
        Further readings after which 3, and after which 5, count.
    """
    reasons = {reason.text for reason in found.go_on}
    lines = []
    if FEW in reasons:
        lines.append(
            f"Go on: take at least {_counted(to_minimum, 'more reading')}, so that "
            f"{_count(MIN_READINGS)} count ({_cited('protocol.n.minimum')}). Better: "
            f"{_count(to_enough)} more, so that {_count(ENOUGH_READINGS)} count"
            f"{_first_goes(found)}."
        )
    elif NOT_ENOUGH in reasons:
        lines.append(
            f"Go on if the animal lets you: {_counted(to_enough, 'more reading')} would make "
            f"{_count(ENOUGH_READINGS)} that count, and {_count(ENOUGH_READINGS)} to seven are "
            f"advised ({_cited('protocol.n.enough')}){_first_goes(found)}."
        )
    if STILL_FALLING in reasons:
        lines.append(
            "Go on: the readings are still falling, so their mean reads high. Wait until they "
            f"level off, then take five to seven ({_cited('protocol.plateau')})."
        )
    if INCONSISTENT in reasons:
        lines.append(
            f"The readings disagree: their SD is {number(100 * (found.cv or 0), 0)} % of the "
            "mean, and up to 20 % is called consistent. Change the site or the cuff, or come back "
            f"later ({_cited('protocol.repeat')})."
        )
    if not lines:
        lines.append(
            f"Enough: {_count(found.n_used)} readings count, they agree, and they are not falling."
        )
    return tuple(lines)


def caution_lines(found: SessionSum, chosen: Guideline, condition: str) -> tuple[str, ...]:
    """Return what must be done or looked for today, judged on this session alone.

    Under sedation or anaesthesia nothing is said: the rules speak of awake animals.
    """
    if condition in KEPT_OUT_CONDITIONS:
        return ()
    severe, low = fact("project.urgent.severe"), fact("project.urgent.low_on_drug")
    if found.mean is None:
        return (_nothing_heard(),) if "no sound" in found.fates else ()
    if found.mean >= (severe.value or 0):
        confirm = chosen.recheck["severe"].fact
        return (
            f"{number(severe.value, 0)} mmHg or more: look for organ damage today (eyes, nervous "
            "signs, heart, kidneys). With a sign of damage to the eye or the brain a vet must see "
            f"this animal now. Without one, measure again within {confirm.figure()} "
            f"({_cited_fact(confirm)}).",
        )
    if found.mean < (low.value or 0):
        return (
            f"Below {number(low.value, 0)} mmHg: if the animal is weak or has collapsed, or is on "
            "a drug that acts on pressure, a vet should see it today. What to change is for the "
            "vet to decide.",
        )
    if found.mean < chosen.floor.value:
        return (
            f"Below {number(chosen.floor.value, 0)} mmHg: if the animal is weak or has collapsed, "
            "its pressure may be too low and a vet should see it today "
            f"({_cited_fact(chosen.floor.fact)}). Many healthy animals read this low.",
        )
    return ()


def note_lines(found: SessionSum, species: str) -> tuple[str, ...]:
    """Return what must be said beside single readings: bounds, ceilings, unusual values."""
    bounds = limits("systolic", species)
    lines = []
    for place, reading in enumerate(found.readings, start=1):
        if reading.value is None or reading.kind == "excluded":
            continue
        if reading.bound:
            sense = "higher" if reading.bound == "at least" else "lower"
            lines.append(
                f"Reading {place} is a bound: it counts as {number(reading.value, 0)} mmHg, and "
                f"the true value is {sense}."
            )
        elif reading.value == CEILING:
            lines.append(
                f"Reading {place}: {CEILING} is the ceiling of many gauges. If yours could show "
                f"no more, enter it as over{CEILING}."
            )
        elif bounds.notes(reading.value):
            lines.append(
                f"Reading {place}: {number(reading.value, 0)} mmHg is unusual (outside "
                f"{bounds.note_low:g} to {bounds.note_high:g}). Check it; it is kept."
            )
    return tuple(lines)


def _nothing_heard() -> str:
    return (
        "No sound was obtained, so there is no number. In a weak animal the pressure may be too "
        "low: a vet should see it today."
    )


def _first_goes(found: SessionSum) -> str:
    """Say that the first will be left out, where that is still to come."""
    if found.rule != "guideline" or "left out" in found.fates:
        return ""
    if found.readings[0].kind not in ("number", "bound"):
        return ""
    return "; from four readings on the first is left out"


def _cited(id: str) -> str:
    return _cited_fact(fact(id))


def _cited_fact(found: Fact) -> str:
    name = source(found.source).name
    return f"{name}; {AS_REMEMBERED}" if found.remembered else name


def _count(count: int) -> str:
    return _SMALL[count] if count < len(_SMALL) else str(count)


def _counted(count: int, word: str) -> str:
    return f"{_count(count)} {word}" + ("" if count == 1 else "s")
