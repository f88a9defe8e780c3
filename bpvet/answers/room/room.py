"""The in-room sum: what one session comes to, whether to go on, and a line for the chart.

Standard library only, so that it starts at once. Nothing here knows the animal's other
sessions: a session's mean is "in the range of" a category and never "is" one.
"""

from __future__ import annotations

import math

from bpvet import __version__
from bpvet.answers.room.chart_line import chart_line
from bpvet.answers.room.result import (
    GoOnAnswer,
    RangeAnswer,
    ReadingFate,
    RoomAnswer,
    RoomReading,
    RoomVisit,
    Spread,
)
from bpvet.answers.room.urgent import room_urgent
from bpvet.errors import CallError
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.licensed import licensed
from bpvet.facts.protocol import ENOUGH_READINGS, MIN_READINGS
from bpvet.facts.sources import fact
from bpvet.facts.species import judged
from bpvet.facts.words import (
    CONDITION_WORDS,
    KEPT_OUT_CONDITIONS,
    METHODS,
    PRESSURE_UNITS,
    QUANTITIES_OF,
    Bound,
    Fate,
)
from bpvet.reasons import reason
from bpvet.visits.choice import (
    BOTH_BOUNDS,
    Reading,
    SessionSum,
    fates,
    session_sum,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

#: Nothing is known of a session beside its readings.
UNKNOWN = RoomVisit()
#: What an oscillometric reading carries besides the systolic pressure.
COMPANIONS = ("diastolic", "mean", "heart_rate")
_BEYOND = {Bound.AT_LEAST: "or above", Bound.AT_MOST: "or below"}


def room_answer(
    readings: Sequence[RoomReading],
    method: str,
    visit: RoomVisit = UNKNOWN,
    *,
    rule: str = "guideline",
    guideline_key: str = "acvim2018",
) -> RoomAnswer:
    """Return the in-room sum of one session.

    Parameters
    ----------
    readings : sequence of RoomReading
        In order of taking, at least one.
    method : str
        ``doppler`` or ``oscillometric``.
    visit : RoomVisit, optional
        What is known of the session beside its readings.
    rule : str
        Which readings count: ``guideline`` (the first of four or more is left out) or ``all``.
    guideline_key : str
        Key of the guideline whose range is named.

    Raises
    ------
    CallError
        For no readings, an unknown method, rule or guideline, or numbers that the method does
        not give.

    Examples
    --------
    >>> taken = [RoomReading(165.0), RoomReading(158.0), RoomReading(160.0)]
    >>> answer = room_answer(taken, "doppler")
    >>> print(answer.chart_line)
    Systolic 161 mmHg (Doppler, mean of 3 of 3 readings, SD 3.6; 165, 158, 160)
    >>> answer.go_on.more_for_enough
    3
    """
    _check(readings, method)
    chosen = guideline(guideline_key, visit.species if judged(visit.species) else None)
    found = session_sum([Reading(r.systolic, r.bound, r.excluded) for r in readings], rule)
    return _answered(found, tuple(_fated(readings, found)), method, visit, chosen)


def _fated(readings: Sequence[RoomReading], found: SessionSum) -> Iterator[ReadingFate]:
    for number, (r, status, why) in enumerate(
        zip(readings, found.fates, found.reasons, strict=True), start=1
    ):
        yield ReadingFate(
            number, r.systolic, r.bound, r.diastolic, r.mean, r.heart_rate, status, why
        )


def _answered(
    found: SessionSum,
    readings: tuple[ReadingFate, ...],
    method: str,
    visit: RoomVisit,
    chosen: Guideline,
) -> RoomAnswer:
    """Return the answer of a session that has been summed up."""
    from bpvet.wording.en.room import room_words

    condition, species = visit.condition, visit.species
    spreads = {"systolic": _spread(found, PRESSURE_UNITS["systolic"]), **_companions(readings)}
    lies = _range(found, chosen, condition, species)
    go_on = GoOnAnswer(
        _more_until(found, MIN_READINGS), _more_until(found, ENOUGH_READINGS), found.go_on
    )
    return RoomAnswer(
        animal=visit.animal,
        taken_at=visit.taken_at,
        species=species,
        method=method,
        condition=condition,
        rule=found.rule,
        n_taken=found.n_taken,
        n_used=found.n_used,
        systolic=spreads["systolic"],
        diastolic=spreads.get("diastolic"),
        mean=spreads.get("mean"),
        heart_rate=spreads.get("heart_rate"),
        readings=readings,
        range=lies,
        go_on=go_on,
        flags=found.flags,
        urgent=room_urgent(found, spreads, chosen, species, condition, visit.taken_at[:10]),
        words=room_words(found, lies, go_on, chosen, condition, species, visit.sizes),
        cautions=(licensed(),),
        chart_line=chart_line(readings, spreads, method, condition, visit.animal, visit.taken_at),
        version=__version__,
    )


def _check(readings: Sequence[RoomReading], method: str) -> None:
    if method not in METHODS:
        raise CallError(f'method "{method}" is not known. Use {" or ".join(METHODS)}.')
    if not readings:
        raise CallError("A session needs at least one reading.")
    for name in COMPANIONS:
        given = any(getattr(reading, name) is not None for reading in readings)
        if given and name not in QUANTITIES_OF[method]:
            raise CallError(f"A Doppler flow detector gives no {name.replace('_', ' ')}.")


def _spread(found: SessionSum, unit: str) -> Spread:
    used = [r for r, status in zip(found.readings, found.fates, strict=True) if status == Fate.USED]
    lowest, highest = _end(used, Bound.AT_MOST, min), _end(used, Bound.AT_LEAST, max)
    return Spread(
        mean=found.mean,
        sd=found.sd,
        n=found.n_used,
        lowest=lowest,
        highest=highest,
        median=found.median,
        cv=found.cv,
        relative_range=found.relative_range,
        bound=found.bound,
        unit=unit,
    )


def _end(
    used: Sequence[Reading], beyond: str, pick: Callable[[Iterable[float]], float]
) -> float | None:
    """Return the lowest or highest used reading; None where a bound leaves it open."""
    given = [r for r in used if r.value is not None]
    if not given or any(r.bound == beyond for r in given):
        return None
    value = pick(r.value for r in given if r.value is not None)
    return value if any(r.value == value and not r.bound for r in given) else None


def _companions(readings: Sequence[ReadingFate]) -> dict[str, Spread]:
    """Return what the other quantities of the used readings come to, where they were given."""
    spreads = {}
    for name in COMPANIONS:
        values = [getattr(r, name) for r in readings if r.fate == Fate.USED]
        given = [Reading(value) for value in values if value is not None]
        if given:
            # The readings have been chosen already: what is used is used for all it gave.
            spreads[name] = _spread(session_sum(given, "all"), PRESSURE_UNITS[name])
    return spreads


def _range(found: SessionSum, chosen: Guideline, condition: str, species: str) -> RangeAnswer:
    source = guideline(chosen.categories_from)
    withheld = _withheld(found, condition, chosen, species)
    if withheld or found.mean is None:
        return RangeAnswer(source.key, source.name, None, None, None, "", withheld, False)
    category = source.category_of(found.mean)
    ends = [end if math.isfinite(end) else None for end in (category.low, category.high)]
    # Beyond the last category there is none.
    outermost = {Bound.AT_LEAST: ends[1] is None, Bound.AT_MOST: ends[0] is None}
    beyond = "" if outermost.get(Bound(found.bound), True) else _BEYOND[Bound(found.bound)]
    remembered = fact(category.fact_id).remembered
    return RangeAnswer(
        source.key, source.name, category.name, ends[0], ends[1], beyond, None, remembered
    )


def _withheld(found: SessionSum, condition: str, chosen: Guideline, species: str) -> str | None:
    """Return why no category is named, or None."""
    if found.mean is None:
        return reason("room.none_counts")
    if not judged(species):
        return reason("category.species", species=species)
    if found.bound == BOTH_BOUNDS:
        return reason("room.both_ends")
    if condition in KEPT_OUT_CONDITIONS:
        return reason("room.not_awake", how=CONDITION_WORDS[condition])
    if found.mean < chosen.floor.value and found.bound != Bound.AT_LEAST:
        return reason("category.low")
    return None


def _more_until(found: SessionSum, wanted: int) -> int:
    """Return the fewest further plain readings after which `wanted` are used under the rule."""
    kinds = [reading.kind for reading in found.readings]
    more = 0
    while fates([*kinds, *["number"] * more], found.rule).count(Fate.USED) < wanted:
        more += 1
    return more
