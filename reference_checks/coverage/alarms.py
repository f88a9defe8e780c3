"""From simulated visits to figures: urgent lines, delays, visits a year and waits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from bpvet.visits.urgency import RULES
from reference_checks.coverage.clinic import STEP_DOWN, Visit, recognised
from reference_checks.coverage.patients import TRUE_RANGE, Patients

#: A pressure that rises is urgent from here on, one that falls on a drug below `STEP_DOWN`.
URGENT_HIGH = 180.0
Block = tuple[Patients, list[Visit]]
Figures = dict[str, Any]


def budget(blocks: Sequence[Block]) -> list[Figures]:
    """Return urgent lines at visits of animals truly at 120 to 150: all, treated, untreated."""
    return [
        _budget(words, [(of, [v for v in found if _counted(v, on)]) for of, found in blocks])
        for words, on in (("all", None), ("treated", True), ("untreated", False))
    ]


def _counted(visit: Visit, treated: bool | None) -> bool:
    low, high = TRUE_RANGE
    return low <= visit.usual <= high and treated in (None, visit.treated)


def _budget(words: str, blocks: Sequence[Block]) -> Figures:
    lines, visits = [], []
    rules: Counter[str] = Counter()
    with_line = early = 0
    for of, found in blocks:
        own, seen = np.zeros(len(of)), np.zeros(len(of))
        for visit in found:
            own[visit.animal] += len(visit.rules)
            seen[visit.animal] += 1
            rules.update(visit.rules)
            with_line += bool(visit.rules)
            early += len(visit.rules) * (visit.number < 2)
        lines.append(own[seen > 0])
        visits.append(seen[seen > 0])
    told, seen_by = np.concatenate(lines), np.concatenate(visits)
    total = float(seen_by.sum())
    rate = float(told.sum()) / total
    # Visits of one animal are alike: its error is that of a ratio of animals' sums.
    se = float(np.sqrt(np.sum((told - rate * seen_by) ** 2))) / total
    return {
        "who": words,
        "animals": int(told.size),
        "visits": int(total),
        "lines": int(told.sum()),
        "per_100": 100 * rate,
        "se": 100 * se,
        "visits_with_a_line_per_100": 100 * with_line / total,
        "lines_at_first_two_visits": int(early),
        "rules": {rule: rules[rule] for rule in RULES if rules[rule]},
    }


def delays(blocks: Sequence[Block]) -> list[Figures]:
    """Return how many visits and days pass until an animal that is urgent is told of so."""
    return [_delay(event, blocks) for event in ("rise", "fall", "sign")]


def _delay(event: str, blocks: Sequence[Block]) -> Figures:
    visits, waited, missed = [], [], 0
    for of, found in blocks:
        by_animal: dict[int, list[Visit]] = {}
        for visit in found:
            by_animal.setdefault(visit.animal, []).append(visit)
        for animal in np.flatnonzero(of.event == event):
            own = by_animal[int(animal)]
            since = urgent_from(of, int(animal))
            last = own[-1]
            # The last visit that was followed is the one that told, or the last of two years.
            if not recognised(of, int(animal), last):
                missed += 1
                continue
            visits.append(sum(since <= one.day for one in own))
            waited.append(max(last.day - since, 0))
    return {
        "event": event,
        "animals": len(visits) + missed,
        "told_percent": 100 * len(visits) / (len(visits) + missed),
        "first_visit_percent": 100 * float(np.mean(np.array(visits) <= 1)),
        "visits": _quantiles(visits),
        "mean_visits": float(np.mean(visits)),
        "se": float(np.std(visits) / np.sqrt(len(visits))),
        "days": _quantiles(waited),
    }


def urgent_from(of: Patients, animal: int) -> int:
    """Return the first day on which an animal is truly urgent."""
    start = int(of.event_day[animal])
    if of.event[animal] == "sign":
        return start
    fall = float(of.response[animal]) if of.treated[animal] else 0.0
    usual = of.path[animal, start:] - fall
    high = of.event[animal] == "rise"
    return start + int(np.argmax(usual >= URGENT_HIGH if high else usual < STEP_DOWN))


def cost(blocks: Sequence[Block], days: int) -> Figures:
    """Return visits a year, and how long animals truly above target wait."""
    a_year, treated, at_visit, unseen = [], [], [], Counter[int]()
    states: Counter[str] = Counter()
    for of, found in blocks:
        number, on = np.zeros(len(of)), np.zeros(len(of), dtype=bool)
        for visit in found:
            number[visit.animal] += visit.number > 0
            on[visit.animal] |= visit.treated
            states[visit.state] += 1
            unseen.update(visit.unseen)
            if visit.unseen and visit.unseen[0] >= visit.wait - 1:
                at_visit.append(visit.wait)
        a_year += (number / (days / 365.25)).tolist()
        treated += on.tolist()
    rate, on_drug = np.array(a_year), np.array(treated)
    waits = np.repeat(list(unseen), list(unseen.values()))
    return {
        "animals": rate.size,
        "visits_a_year": _quantiles(rate),
        "mean": float(rate.mean()),
        "se": float(rate.std() / np.sqrt(rate.size)),
        "treated": _quantiles(rate[on_drug]),
        "untreated": _quantiles(rate[~on_drug]),
        "treated_percent": 100 * float(on_drug.mean()),
        "wait_after_a_visit": _quantiles(at_visit),
        "wait_on_any_day": _quantiles(waits),
        "days_above_percent": 100 * waits.size / (rate.size * days),
        "states": dict(states.most_common()),
    }


def _quantiles(values: Sequence[float] | np.ndarray) -> list[float | None]:
    """Return median and 90th percentile; None where there is nothing."""
    if len(values) == 0:
        return [None, None]
    return [float(one) for one in np.quantile(values, [0.5, 0.9])]
