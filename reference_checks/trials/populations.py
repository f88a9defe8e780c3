"""Components that a prior may be made of, and the arms' own populations as such components."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from reference_checks.trials.arms import practice
from reference_checks.trials.components import DEFAULT, Component, of_group

#: Excitement that is larger than the default's 5 ± 8 mmHg.
_HEAVY = (8.0, 16.0)
_LEVELS_USUAL = ((130.0, 16.0), (140.0, 20.0), (147.0, 18.0), (145.0, 30.0), (160.0, 20.0))
_EFFECTS = (20.0, 10.0, 2.0)
_LITTLE = tuple(
    of_group(level, sd, None)
    for level, sd in (
        ((195.0, 50.0), 3.0),
        ((180.0, 20.0), 10.0),
        ((180.0, 20.0), 2.0),
        ((165.0, 35.0), 2.0),
    )
)
_UNDER = tuple(
    of_group(level, None, under)
    for level, under in (
        ((195.0, 50.0), (150.0, 20.0)),
        ((195.0, 50.0), (155.0, 25.0)),
        ((205.0, 30.0), (150.0, 30.0)),
        ((205.0, 20.0), (153.0, 20.0)),
        ((185.0, 20.0), (153.0, 17.0)),
        ((210.0, 40.0), (150.0, 25.0)),
    )
)
_USUAL = tuple(of_group(level, sd, None) for level in _LEVELS_USUAL for sd in _EFFECTS)
_PLAIN = tuple(dict.fromkeys((*DEFAULT, *_USUAL, *_LITTLE, *_UNDER)))
#: What the search may take: groups as `PriorGroup` states them, and some with heavier first visits.
DICTIONARY: tuple[Component, ...] = (
    *_PLAIN,
    *(replace(one, first=_HEAVY) for one in (*DEFAULT, *_USUAL[6:9], _UNDER[0])),
)
#: Parts of equal weight that log-normal levels are cut into, from a draw of fixed seed.
_PARTS, _DRAWN = 5, 200_000
#: Log-SD of the factor on the visit SD of those clinics, as `arms.practice` draws it.
_VISIT_LSD = 0.25


def _practice(answer: float) -> tuple[tuple[Component, float], ...]:
    """Return levels of log-normal clinics in parts; the effect follows the level where it does."""
    level = np.sort(practice(0.0)(_DRAWN, np.random.default_rng(1))[0])
    parts = []
    for one in np.split(level, _PARTS):
        held = (float(one.mean()), float(one.std()))
        effect, by_level = (0.0, 0.5), 0.0
        if answer:
            above = max(held[0] - 140.0, 0.0)
            by_level = -answer if above else 0.0
            effect = (140.0 * answer if above else 0.0, float(np.hypot(8.0, 0.25 * above)))
        parts.append((Component(held, effect, by_level, visit_lsd=_VISIT_LSD), 1 / _PARTS))
    return tuple(parts)


#: The populations that the arms are drawn from, as a prior that knows them would state them; an
#: effect of none is 0 ± 0.5 mmHg.
POPULATIONS: Mapping[str, tuple[tuple[Component, float], ...]] = MappingProxyType(
    {
        "severe": ((Component((202.0, 17.0), (-49.0, 15.0)), 1.0),),
        "mild": ((Component((180.0, 12.0), (-27.0, 12.0)), 1.0),),
        "net": ((Component((170.0, 12.0), (-16.0, 12.0), first=(10.0, 8.0)), 1.0),),
        "old": ((Component((147.0, 18.0), (0.0, 0.5)), 1.0),),
        "healthy": ((Component((130.0, 15.0), (0.0, 0.5)), 1.0),),
        "practice, no effect": _practice(0.0),
        "practice, answering": _practice(0.7),
    }
)
