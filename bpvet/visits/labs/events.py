"""What laboratory values say by themselves: a rise, a stage, a loss of weight, a gap.

Pure functions of one animal's `LabHistory`; each result is frozen, holds the values that it rests
on and its age, and says nothing in words. Of two values of one day the one that asks for more care
counts. A bound counts where it proves something: "> 6.5" as a potassium of at least 6.5.

The numbers are facts, named beside each function; "more careful" is the rule where records leave a
choice, and every such choice stands in a docstring.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import islice

import numpy as np

from bpvet.facts.sources import fact
from bpvet.facts.species import species_of
from bpvet.facts.stages import staging
from bpvet.facts.words import SPECIES
from bpvet.frozen import dataclass
from bpvet.reasons import reason
from bpvet.visits.labs.history import Change, LabHistory, LabValue, change, days_between

#: The two markers of kidney function.
MARKERS = ("creatinine", "sdma")
#: Values of the kidneys that stages are told of, in the order in which they are shown.
STAGED = (*MARKERS, "upc")
_MG = "mg/dL"


@cache
def number_of(id: str) -> float:
    """Return the single value of a fact."""
    value = fact(id).value
    if value is None:
        raise ValueError(f"{id} has no single value")
    return value


@dataclass(frozen=True)
class AcuteRise:
    """A rise of creatinine that may be an acute injury.

    Parameters
    ----------
    first, second : LabValue
        The two values.
    change : Change
        From the first to the second, in the unit of the second.
    within : str
        ``48 h`` or ``7 d``: by which of the two rules.
    age_days : int
        Age of the second value.
    """

    first: LabValue
    second: LabValue
    change: Change
    within: str
    age_days: int


def acute_kidney(history: LabHistory, as_of: np.datetime64) -> AcuteRise | None:
    """Return the acute rise of creatinine that no newer value has answered.

    Creatinine up by `kidney.acute.umol` (`kidney.acute.mg` where both are in mg/dL) and by
    `project.kidney.acute_share` within `kidney.acute.soon`, or by more than `kidney.acute.share`
    within `kidney.acute.week`; the newest such pair of `project.kidney.alarm_age`. A newer day
    whose values form no such pair answers it; a bound that leaves it open ("< 900") does not.
    Dates have no time of day: two days apart is within 48 h, and one day is no pair.

    Parameters
    ----------
    history : LabHistory
    as_of : datetime64[D]
    """
    days = history.days("creatinine", as_of)
    oldest = as_of - np.timedelta64(int(number_of("project.kidney.alarm_age")), "D")
    week = int(number_of("kidney.acute.week"))
    for day_index, values in enumerate(days):
        if values[0].date < oldest:
            return None
        earlier = [
            value
            for day in days[day_index + 1 :]
            if days_between(day[0].date, values[0].date) <= week
            for value in day
        ]
        found = [pair for pair in _acute_pairs(earlier, values) if _proven(*pair[:2])]
        if found:
            first, second, step, rule = max(found, key=lambda pair: pair[2].percent)
            return AcuteRise(first, second, step, rule, second.age(as_of))
        if any(_answers(value, earlier) for value in values):
            return None
    return None


def _acute_pairs(
    earlier: Sequence[LabValue], later: Sequence[LabValue]
) -> list[tuple[LabValue, LabValue, Change, str]]:
    """Return the pairs that lie far enough apart by their numbers, bounds or not."""
    found = []
    for first in earlier:
        for second in later:
            step = change(first, second)
            if rule := _acute_rule(first, second, step):
                found.append((first, second, step, rule))
    return found


def _acute_rule(first: LabValue, second: LabValue, step: Change) -> str:
    both_mg = first.unit == second.unit == _MG
    least = number_of("kidney.acute.mg" if both_mg else "kidney.acute.umol")
    rise = step.absolute
    if not both_mg:
        assert first.modelled is not None
        assert second.modelled is not None
        rise = round(second.modelled - first.modelled, 9)
    soon = step.days <= number_of("kidney.acute.soon") / 24
    if soon and rise >= least and step.percent >= number_of("project.kidney.acute_share"):
        return "48 h"
    return "7 d" if step.percent > number_of("kidney.acute.share") else ""


def _proven(first: LabValue, second: LabValue) -> bool:
    """Return whether the rise is at least what the two numbers give."""
    return first.ceiling is not None and second.floor is not None


def _answers(value: LabValue, earlier: Sequence[LabValue]) -> bool:
    """Return whether a value shows that no acute rise leads to it."""
    if value.bound == "at least":
        return False
    return value.bound == "" or not _acute_pairs(earlier, [value])


@dataclass(frozen=True)
class PotassiumAlarm:
    """A potassium out of bounds: ``high``, ``low``, or ``repeat`` (not urgent)."""

    value: LabValue
    level: str
    age_days: int


def potassium_alarm(history: LabHistory, as_of: np.datetime64) -> PotassiumAlarm | None:
    """Return what the newest potassium of `project.kidney.alarm_age` calls for; None if nothing.

    Above `kidney.potassium.high` or below `kidney.potassium.low`: ``high``, ``low``. From
    `kidney.potassium.repeat` up to the first: ``repeat``. A bound at the number itself ("> 6.0")
    counts as beyond it; a bound that leaves it open is passed over.
    """
    oldest = as_of - np.timedelta64(int(number_of("project.kidney.alarm_age")), "D")
    order = ("high", "low", "repeat", "")
    for values in history.days("potassium", as_of):
        if values[0].date < oldest:
            return None
        levels = {value: _potassium_level(value) for value in values}
        judged = [value for value in values if levels[value] is not None]
        if judged:
            worst = min(judged, key=lambda value: order.index(str(levels[value])))
            level = str(levels[worst])
            return PotassiumAlarm(worst, level, worst.age(as_of)) if level else None
    return None


def _potassium_level(lab_value: LabValue) -> str | None:
    """Return the level of a value, "" where it is none, None where a bound leaves it open."""
    value = lab_value.modelled
    assert value is not None
    high, low, repeat = (
        number_of(f"kidney.potassium.{name}") for name in ("high", "low", "repeat")
    )
    if lab_value.bound == "at least":
        return "high" if value >= high else "repeat" if value >= repeat else None
    if lab_value.bound == "at most":
        return "low" if value <= low else None
    if value > high:
        return "high"
    return "low" if value < low else "repeat" if value >= repeat else ""


@dataclass(frozen=True)
class KidneyStage:
    """The kidney stage that the newest values point to, or why none is given.

    Parameters
    ----------
    stage : int or None
        1 to 4.
    value : LabValue or None
        The value that gives it: of the marker with the higher stage.
    confirmed : bool
        Whether the value of that marker on an earlier day lies in this stage or a higher one.
    before : LabValue or None
        That earlier value.
    before_stage : int or None
        Its stage.
    is_last : bool
        Whether no stage lies above it.
    edition : str
        Whose bounds they are, with their year.
    reason : str
        Why no stage is given; blank where one is.
    age_days : int or None
        Age of `value`.
    """

    stage: int | None
    value: LabValue | None = None
    confirmed: bool = False
    before: LabValue | None = None
    before_stage: int | None = None
    is_last: bool = False
    edition: str = ""
    reason: str = ""
    age_days: int | None = None

    @property
    def leaps(self) -> bool:
        """Whether the newest value lies far beyond what was known: a first one of the last stage.

        Or one two stages or more above the value before it; for `project.kidney.alarm_age`.
        """
        if self.stage is None or (self.age_days or 0) > number_of("project.kidney.alarm_age"):
            return False
        rise = 0 if self.before_stage is None else self.stage - self.before_stage
        return rise > 1 or (self.is_last and not self.confirmed)


def kidney_stage_now(history: LabHistory, species: str, as_of: np.datetime64) -> KidneyStage:
    """Return the kidney stage that the newest creatinine and SDMA point to.

    The newest day of each marker within `project.kidney.stage_memory`, each value beside the bounds
    of its own unit; of the two markers the higher stage. Between two printed ranges the lower
    stage. Not stable (`acute_kidney`): no stage. A bound is staged by its number.

    Parameters
    ----------
    history : LabHistory
    species : str
        ``cat`` or ``dog``; no other species has bounds.
    as_of : datetime64[D]
    """
    oldest = as_of - np.timedelta64(int(number_of("project.kidney.stage_memory")), "D")
    recent = [
        marker
        for marker in MARKERS
        if (days := history.days(marker, as_of)) and days[0][0].date >= oldest
    ]
    if not recent:
        return KidneyStage(None, reason=reason("kidney.stage_old"))
    if acute_kidney(history, as_of) is not None:
        return KidneyStage(None, reason=reason("kidney.not_stable"))
    staged = [
        staged_value
        for marker in recent
        if (staged_value := _marker_stage(history, marker, species, as_of))
    ]
    if not staged:
        why = reason("kidney.stage_unit") if species in SPECIES else reason("kidney.stage_species")
        return KidneyStage(None, reason=why)
    return max(staged, key=lambda stage: (stage.stage or 0, stage.confirmed))


def _marker_stage(
    history: LabHistory, marker: str, species: str, as_of: np.datetime64
) -> KidneyStage | None:
    known = history.days(marker, as_of)
    staged = (
        found
        for values in known
        if (
            found := [
                (n, lab_value)
                for lab_value in values
                if (n := stage_of(lab_value, species)) is not None
            ]
        )
    )
    days, newest = list(islice(staged, 2)), known[0][0].date
    if not days or days[0][0][1].date != newest:
        return None
    stage, value = max(days[0], key=lambda pair: pair[0])
    before = max(days[1], key=lambda pair: pair[0]) if len(days) > 1 else None
    bounds = staging(marker, species, value.unit)
    return KidneyStage(
        stage=stage,
        value=value,
        confirmed=before is not None and before[0] >= stage,
        before=None if before is None else before[1],
        before_stage=None if before is None else before[0],
        is_last=bounds is not None and stage == len(bounds.stages),
        edition="" if bounds is None else bounds.edition,
        age_days=value.age(as_of),
    )


def stage_of(value: LabValue, species: str) -> int | None:
    """Return the kidney stage of one value in its own unit; None without sourced bounds.

    "> 440" lies above 440.
    """
    found = staging(value.analyte, species, value.unit) if value.analyte in MARKERS else None
    if found is None:
        return None
    above = value.bound == "at least"
    return found.place_of(float(np.nextafter(value.value, np.inf)) if above else value.value) + 1


@dataclass(frozen=True)
class WeightLoss:
    """The newest weight against the highest before it; `percent` is how far it fell, above 0."""

    highest: LabValue
    newest: LabValue
    percent: float
    days: int
    age_days: int


def weight_loss(history: LabHistory, as_of: np.datetime64) -> WeightLoss | None:
    """Return a loss of weight of `project.weight.fall` or more; None where there is none.

    The highest is sought in the `project.weight.memory` days before the newest weight, however
    long ago that was: only a newer weight answers a loss.
    """
    values = history.of("weight", as_of)
    if not values:
        return None
    last = values[-1].date
    low = [weight for weight in values if weight.date == last and weight.ceiling is not None]
    memory = int(number_of("project.weight.memory"))
    high = [
        weight
        for weight in values
        if weight.date < last and days_between(weight.date, last) <= memory and weight.floor
    ]
    if not low or not high:
        return None
    newest = min(low, key=lambda weight: weight.ceiling or 0.0)
    highest = max(high, key=lambda weight: weight.floor or 0.0)
    fell = round(100 * (1 - (newest.ceiling or 0.0) / (highest.floor or 1.0)), 9)
    if fell < number_of("project.weight.fall"):
        return None
    days = days_between(highest.date, newest.date)
    return WeightLoss(highest, newest, fell, days, newest.age(as_of))


def upc_above(history: LabHistory, species: str) -> tuple[LabValue, LabValue] | None:
    """Return the two newest UPC, the newer first, if both lie above the proteinuric bound.

    The bound is `iris.upc.*.proteinuric`; of a blank species that of the one that stands in, which
    is the lower. Two days are asked. "< 5" leaves it open and is passed over.
    """
    kind = species or species_of("").name
    if staging("upc", kind, "ratio") is None:
        return None
    bound = fact(f"iris.upc.{kind}.proteinuric").low
    assert bound is not None
    worst = []
    for values in history.days("upc"):
        known = [value for value in values if value.bound != "at most" or value.value <= bound]
        if known:
            worst.append(max(known, key=lambda value: value.value))
        if len(worst) == 2:
            break
    above = [
        value
        for value in worst
        if value.value > bound or (value.bound == "at least" and value.value >= bound)
    ]
    return (above[0], above[1]) if len(above) == 2 else None


@dataclass(frozen=True)
class MissingKidneyValues:
    """That no creatinine or SDMA is on record lately; `last` is None where there never was one."""

    last: np.datetime64 | None
    age_days: int | None


def missing_kidney_values(history: LabHistory, as_of: np.datetime64) -> MissingKidneyValues | None:
    """Return that creatinine and SDMA are missing since `project.kidney.missing`; None if not.

    A value in a unit that is not read counts: it was measured.
    """
    newest = (history.newest(marker, as_of) for marker in MARKERS)
    last = max((day for day in newest if day is not None), default=None)
    if last is None:
        return MissingKidneyValues(None, None)
    age = days_between(last, as_of)
    return MissingKidneyValues(last, age) if age > number_of("project.kidney.missing") else None
