"""Every answer of a trend once more, from plain days and numbers and the dense posterior.

Written from the definition of the model and the safety rules alone; nothing of bpvet. Records
hold pressures, treatments, an age, an own target and perhaps one ordinary creatinine value.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from reference_checks.answers.dense import Animal, Answer, Dense, beyond, posterior
from reference_checks.answers.drawn import Drawn, date
from reference_checks.answers.windows import Found, window

#: Raised bound, target and floor of each guideline; categories at 140, 160 and 180 in all.
BOUNDS = {
    "acvim2018": (140.0, 160.0, 120.0),
    "iris2023": (140.0, 160.0, 120.0),
    "isfm2017": (150.0, 160.0, 110.0),
}
CATEGORIES = (140.0, 160.0, 180.0)
ADDED = {"clinic": 0.0, "home": 15.0, "calmed": 12.0}
TWO_YEARS = 730


@dataclass(frozen=True)
class Told:
    """The answers: distributions and numbers by name, words by name, and the window."""

    values: dict[str, Answer]
    numbers: dict[str, float]
    words: dict[str, Any]
    window: Found


def told(drawn: Drawn) -> Told:
    """Return every answer of an animal."""
    animal = drawn.animal
    dense = posterior(animal, coarse=True)
    usual = dense.usual(animal.t0)
    latest = animal.sessions[-1]
    added = ADDED[latest.condition]
    raised, goal, floor = BOUNDS[drawn.guideline]
    treated = any(
        one.start <= drawn.as_of and (one.stop is None or one.stop >= drawn.as_of)
        for one in animal.spells
    )
    target, kind = raised, "raised"
    if treated:
        target, kind = (
            (goal, "guideline") if drawn.own_target is None else (drawn.own_target, "own")
        )

    def below(value: float) -> float:
        return usual.below(value - added)

    values = {"latest": usual, "slope": dense.coefficient(1)}
    numbers = {
        "p_at_or_below": below(target),
        "p_below_floor": below(floor),
        "p_rising": 1 - values["slope"].below(0.0),
        "p_rising_by_1": 1 - values["slope"].below(1.0),
    }
    seen = _surprise(animal)
    standing = _standing(drawn, below, seen, treated)
    rules = [one.rule for one in standing.urgent]
    withheld = bool(rules)
    numbers |= _category(below, floor)
    words: dict[str, Any] = {
        "urgent": rules,
        "target value": target,
        "target kind": kind,
        "target": None if withheld else _between(numbers["p_at_or_below"], "at or below", "above"),
        "slope": None if withheld else _between(numbers["p_rising_by_1"], "rising", "unlikely"),
    }
    if seen is not None:
        expected, tail, _, _ = seen
        values["expected"] = expected
        numbers["tail"] = tail
        said = "very unusual" if tail <= 0.01 else "unusual" if tail <= 0.05 else "as expected"
        words["surprise"] = None if withheld else said
    _effects(drawn, dense, values, numbers, words, withheld)
    numbers |= _shares(animal, dense, target - added)
    found = window(standing, drawn.guideline)
    assert found is not None
    ahead = max(int((found.latest - date(0)) / np.timedelta64(1, "D")), drawn.as_of)
    words["next session on"] = date(ahead)
    visit = -1 if latest.condition == "home" else max(animal.visits) + 1
    values["next session"] = dense.session(ahead, 5.0, visit, latest)
    return Told(values, numbers, words, found)


def _between(p: float, yes: str, no: str, low: float = 0.10) -> str:
    return yes if p >= 0.90 else no if p <= low else "not settled"


def _category(below: Any, floor: float) -> dict[str, float]:
    if below(floor) >= 0.5:
        return {}
    ends = [0.0, *(below(value) for value in CATEGORIES), 1.0]
    return {f"category {i}": ends[i + 1] - ends[i] for i in range(4)}


def _surprise(animal: Animal) -> tuple[Answer, float, float, float] | None:
    """Return what was expected of the newest session, its two-sided tail, and both tails."""
    if len(animal.sessions) < 2:
        return None
    newest, visit = animal.sessions[-1], animal.visits[-1]
    before = animal.earlier()
    used = newest.used(animal.rule)
    expected = posterior(before, coarse=True).session(newest.day, float(used.size), visit, newest)
    # A join that only the newest session shows is expected as its prior has it.
    shift, variance = 0.0, 0.0
    for name in set(animal.joins) - set(before.joins):
        step = beyond(name, newest) - beyond(name, animal.sessions[0])
        mean, sd = animal.join_prior(name)
        shift, variance = shift + step * mean, variance + (step * sd) ** 2
    sds = np.sqrt(expected.sds**2 + variance)
    expected = replace(expected, means=expected.means + shift, sds=sds)
    lower = expected.below(float(used.mean()))
    return expected, min(1.0, 2 * min(lower, 1 - lower)), 1 - lower, lower


def _effects(
    drawn: Drawn,
    dense: Dense,
    values: dict[str, Answer],
    numbers: dict[str, float],
    words: dict[str, Any],
    withheld: bool,
) -> None:
    animal = drawn.animal
    days = [one.day for one in animal.sessions]
    if not animal.spells:
        return
    other = {
        factor: posterior(
            replace(
                animal,
                spells=tuple(replace(one, tau=one.time * factor) for one in animal.spells),
            ),
            coarse=True,
        )
        for factor in (0.5, 2.0)
    }
    for i, spell in enumerate(animal.spells):
        name = f"spell {i + 1}"
        newest = max((spell.start, *spell.changes))
        words[f"{name} finished"] = animal.t0 - newest >= 3 * spell.time
        before = min(days) <= spell.start
        after = spell.stop is not None and animal.t0 >= spell.stop + 3 * spell.time
        under = max(spell.on(day) for day in days) >= 0.5
        if not ((before or after) and under):
            words[f"{name} verdict"] = "cannot be known"
            continue
        values[f"{name} full"] = dense.effect(i)
        values[f"{name} at half tau"] = other[0.5].effect(i)
        values[f"{name} at double tau"] = other[2.0].effect(i)
        if any(one.on(animal.t0, begun) for one, begun in animal.columns if one is spell):
            values[f"{name} now"] = dense.effect(i, now=True)
        p = values[f"{name} full"].below(-10.0)
        numbers[f"{name} p_lower_by_10"] = p
        verdict = _between(p, "has lowered", "no fall", 0.05)
        words[f"{name} verdict"] = None if withheld else verdict


def _shares(animal: Animal, dense: Dense, target: float) -> dict[str, float]:
    """Return the expected share of days at or below a value, and that of straight lines."""
    first, last = animal.sessions[0].day, animal.t0
    daily = [one.below(target) for one in dense.days(first, last)]
    found = {"share expected": float(np.mean(daily))}
    if last == first:
        return found
    by_day: dict[int, list[float]] = {}
    for one in animal.sessions:
        by_day.setdefault(one.day, []).append(float(one.used(animal.rule).mean()))
    points = [(day, float(np.mean(held))) for day, held in sorted(by_day.items())]
    under = 0.0
    for (start, a), (end, b) in itertools.pairwise(points):
        if max(a, b) <= target:
            part = 1.0
        elif min(a, b) > target:
            part = 0.0
        else:
            part = (target - min(a, b)) / abs(b - a)
        under += part * (end - start)
    return found | {"share interpolated": under / (last - first)}


def _standing(drawn: Drawn, below: Any, seen: Any, treated: bool) -> SimpleNamespace:
    """Return the facts that decide urgency and the window."""
    animal, as_of = drawn.animal, drawn.as_of
    raised, goal, floor = BOUNDS[drawn.guideline]
    target = goal if drawn.own_target is None else drawn.own_target
    plain: dict[int, list[float]] = {}
    judged: dict[int, list[float]] = {}
    for one in animal.sessions:
        mean = float(one.used(animal.rule).mean())
        plain.setdefault(one.day, []).append(mean)
        judged.setdefault(one.day, []).append(mean + ADDED[one.condition])
    latest = animal.t0
    high, low = max(judged[latest]), min(judged[latest])
    low_plain = min(plain[latest])
    changes = _changes(animal)
    last = max(changes, default=None)
    years = [day for day in judged if day > as_of - TWO_YEARS]
    since_last = [day for day in years if last is None or day > last[0]]
    above = [day for day in since_last if max(judged[day]) > target]
    likely_low = below(floor) >= 0.8
    low_dates = [
        day
        for day in since_last
        if min(plain[day]) < 100 or (min(judged[day]) < floor and likely_low)
    ]
    urgent = []
    if low_plain < 90:
        urgent.append("low")
    elif treated and (low_plain < 100 or (low < floor and likely_low)):
        urgent.append("low_on_treatment")
    if high >= 180:
        urgent.append("severe")
    on_latest = date(latest)
    clinic = [one.day for one in animal.sessions if one.condition == "clinic"]
    return SimpleNamespace(
        as_of=date(as_of),
        latest=on_latest,
        left=False,
        species=animal.species,
        written="",
        age_years=None if drawn.born is None else (latest - drawn.born) / 365.25,
        judged=drawn.born is None or (latest - drawn.born) / 365.25 >= 1,
        treated=treated,
        on_drug=treated,
        p_target=below(target),
        p_160=1 - below(160.0),
        p_raised=1 - below(raised),
        p_180=1 - below(180.0),
        p_below_floor=below(floor),
        upper_tail=None if seen is None else seen[2],
        lower_tail=None if seen is None else seen[3],
        highest=high,
        lowest=low,
        target=target,
        raised=raised,
        floor=floor,
        urgent=[SimpleNamespace(rule=rule, on=on_latest) for rule in urgent],
        sign_open_on=None,
        changed_on=_unanswered(changes, judged),
        stopped_on=_stopped(animal, judged),
        severe_dates=sum(max(judged[day]) >= 180 for day in years),
        dates_160=sum(max(judged[day]) >= 160 for day in years),
        raised_dates=sum(max(judged[day]) >= raised for day in years),
        above_dates=len(above),
        low_dates=len(low_dates),
        below_floor_before=any(
            day != latest and day > as_of - 180 and 100 <= min(judged[day]) < floor
            for day in judged
        ),
        since=_since(animal, changes, judged),
        at_risk=(),
        risks=(),
        away=animal.sessions[-1].condition != "clinic"
        and not any(day > as_of - 180 for day in clinic),
        kidneys_unknown=drawn.creatinine_on is None or drawn.creatinine_on < as_of - 180,
    )


def _changes(animal: Animal) -> list[tuple[int, float]]:
    """Return the day of every start, stop and change of dose, with the drug's time constant."""
    out = []
    for one in animal.spells:
        days = [one.start, *one.changes, *([] if one.stop is None else [one.stop])]
        out += [(day, one.time) for day in days]
    return out


def _unanswered(changes: list[tuple[int, float]], days: Any) -> Any:
    if not changes:
        return None
    last = max(day for day, _ in changes)
    return None if any(day >= last + 7 for day in days) else date(last)


def _stopped(animal: Animal, days: Any) -> Any:
    stops = [
        one.stop
        for one in animal.spells
        if one.stop is not None
        and animal.t0 - one.stop <= 120
        and sum(day >= one.stop + 3 * one.time for day in days) < 2
    ]
    return date(max(stops)) if stops else None


def _since(animal: Animal, changes: list[tuple[int, float]], days: Any) -> int:
    last = max(changes, default=None)
    count, before = 0, -math.inf
    for day in sorted(days):
        settled = last is None or (day >= last[0] + 7 and day >= last[0] + 3 * last[1])
        if settled and day - before >= 7:
            count, before = count + 1, day
    return count
