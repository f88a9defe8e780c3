"""Arms of simulated animals shaped like the published trials, and not like our prior.

Each arm names the published figures that it imitates (ids of the facts, each with its grade) and
what is assumed beside them (J). All are cats measured by Doppler; noise SDs are drawn from their
priors, since no trial tells them apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from reference_checks.coverage.animals import Array

#: Level at the latest session, full effect, and a factor on the visit SD, of n animals each.
Drawn = tuple[Array, Array, Array]
Population = Callable[[int, np.random.Generator], Drawn]

#: The groups of treated animals as the model's definition states them, written down once more:
#: weight, level, SD of the effect or None, pressure under the drug or None.
GROUPS = (
    (0.60, (130.0, 16.0), 20.0, None),
    (0.06, (195.0, 50.0), 10.0, None),
    (0.34, (195.0, 50.0), None, (150.0, 30.0)),
)
#: First-visit excitement: mean, SD, and the visits over which it falls to 1/e.
HABITUATION = MappingProxyType(
    {
        "prior": (5.0, 8.0, 1.5),
        "slow": (10.0, 8.0, 4.0),
        "absent": (0.0, 0.0, 1.5),
    }
)
#: Animals of one clinic.
_A_CLINIC = 25


@dataclass(frozen=True)
class Arm:
    """One kind of animals.

    Parameters
    ----------
    key, words : str
        Its name, and what it is in words, as the table prints it.
    group : str
        ``trial``, ``null``, ``own``, ``clinic`` or ``limit``: what is asked of it.
    population : callable
        Draws level, effect and a factor on the visit SD.
    before, after : tuple of int
        Days of the sessions from the start of the course: those before end on day 0, whose
        session comes before the first dose. Without `after` there is no course.
    facts : tuple of str
        Published figures that it imitates.
    assumed : str
        What is assumed beside them (J).
    begun_at : float or None
        Only animals whose session on day 0 is the first at or above this, mmHg.
    habituation : str
        Key of `HABITUATION`.
    varied : bool
        Whether dates and numbers of sessions differ from animal to animal.
    """

    key: str
    words: str
    group: str
    population: Population
    before: tuple[int, ...]
    after: tuple[int, ...]
    facts: tuple[str, ...] = ()
    assumed: str = ""
    begun_at: float | None = None
    habituation: str = "prior"
    varied: bool = False


def normal(level: tuple[float, float], effect: tuple[float, float]) -> Population:
    """Return animals with normal levels and effects, independent of one another."""

    def draw(n: int, rng: np.random.Generator) -> Drawn:
        held = level[0] + level[1] * rng.standard_normal(n)
        return held, effect[0] + effect[1] * rng.standard_normal(n), np.ones(n)

    return draw


def own_groups(n: int, rng: np.random.Generator) -> Drawn:
    """Draw animals from the three groups."""
    group = rng.choice(len(GROUPS), n, p=[weight for weight, *_ in GROUPS])
    level, effect = np.empty(n), np.empty(n)
    for i, (_, centre, effect_sd, under) in enumerate(GROUPS):
        mine = group == i
        count = int(mine.sum())
        level[mine] = centre[0] + centre[1] * rng.standard_normal(count)
        if under is None:
            effect[mine] = (effect_sd or 0.0) * rng.standard_normal(count)
        else:
            effect[mine] = under[0] + under[1] * rng.standard_normal(count) - level[mine]
    return level, effect, np.ones(n)


def practice(answer: float) -> Population:
    """Return animals of clinics that differ, their levels log-normal within each.

    A clinic's median is 145 mmHg times a log-normal factor of log-SD 0.06, its own log-SD 0.20:
    one session of such animals then lies at 160 or more in about 40 % and at 180 or more in about
    21 %. The visit SD of a clinic differs by a factor of log-SD 0.25.

    Parameters
    ----------
    answer : float
        Mean share of what the level lies above 140 mmHg that the drug takes away (SD 0.25
        between animals, none below 0, and 8 mmHg on top); 0: the drug does nothing.
    """

    def draw(n: int, rng: np.random.Generator) -> Drawn:
        clinics = -(-n // _A_CLINIC)
        which = np.repeat(np.arange(clinics), _A_CLINIC)[:n]
        median = 145.0 * np.exp(0.06 * rng.standard_normal(clinics))
        factor = np.exp(0.25 * rng.standard_normal(clinics))
        level = median[which] * np.exp(0.20 * rng.standard_normal(n))
        share = np.clip(answer + 0.25 * rng.standard_normal(n), 0.0, None)
        effect = -share * np.maximum(level - 140.0, 0.0) + 8.0 * rng.standard_normal(n)
        return level, effect if answer else np.zeros(n), factor[which]

    return draw


_ELLIOTT = ("effect.amlodipine.cat.elliott",)
_HUHTINEN = ("effect.amlodipine.cat.huhtinen",)
_PRACTICE = ("size.cat.practice", "size.cat.lognormal")
_RESPONSE = (*_PRACTICE, "effect.amlodipine.cat.bijsmans", "effect.amlodipine.cat.elliott")
_PLACEBO = ("effect.placebo.cat",)
_SEVERE = normal((202.0, 17.0), (-49.0, 15.0))
_MILD = normal((180.0, 12.0), (-27.0, 12.0))
_NET = normal((170.0, 12.0), (-16.0, 12.0))
_ONE, _TWO, _THREE = (0,), (-14, 0), (-42, -21, 0)
_THEN_TWO, _THEN_THREE, _LATER = (14, 42), (14, 28, 56), (14, 42, 90)
_FALL = "effect independent of the level: pressures under the drug then are 153 ± 23"
_SHARE = "the drug takes away 0.7 ± 0.25 of what lies above 140, ± 8"
_SLOWLY = "excitement of 10 ± 8 that falls to 1/e over 4 visits"


def _null(name: str, population: Population, facts: tuple[str, ...], words: str) -> list[Arm]:
    """Return the set-ups in which a drug that does nothing is begun on a high day."""
    return [
        Arm(
            f"null_{name}_{len(before)}_{high:.0f}",
            f"null drug, {words}, begun on a first session of {high:.0f} or more, "
            f"{len(before)} before / 3 after",
            "null",
            population,
            before,
            _LATER,
            facts,
            "the drug does nothing",
            begun_at=high,
        )
        for before in (_ONE, _THREE)
        for high in (160.0, 180.0)
    ]


_OWN = (
    Arm("own", "own world: the three groups", "own", own_groups, _THREE, _LATER, varied=True),
    Arm(
        "own_high",
        "own world, begun on a first session of 160 or more",
        "own",
        own_groups,
        _THREE,
        _LATER,
        begun_at=160.0,
        varied=True,
    ),
)
_TRIALS = (
    Arm(
        "severe_1_2",
        "severe: untreated 202 ± 17, fall 49 ± 15, 1 before / 2 after",
        "trial",
        _SEVERE,
        _ONE,
        _THEN_TWO,
        _ELLIOTT,
        _FALL,
    ),
    Arm("severe_2_3", "severe, 2 before / 3 after", "trial", _SEVERE, _TWO, _THEN_THREE, _ELLIOTT),
    Arm(
        "severe_slow",
        "severe, 1/2, habituation slow",
        "trial",
        _SEVERE,
        _ONE,
        _THEN_TWO,
        (*_ELLIOTT, *_PLACEBO),
        _SLOWLY,
        habituation="slow",
    ),
    Arm(
        "severe_absent",
        "severe, 1/2, habituation absent",
        "trial",
        _SEVERE,
        _ONE,
        _THEN_TWO,
        _ELLIOTT,
        habituation="absent",
    ),
    Arm(
        "mild_1_2",
        "untreated 180 ± 12, fall 27 ± 12, 1 before / 2 after",
        "trial",
        _MILD,
        _ONE,
        _THEN_TWO,
        _HUHTINEN,
        "the SD of the effect, so that pressures under the drug are ± 17 as published",
    ),
    Arm("mild_2_3", "180 / −27, 2 before / 3 after", "trial", _MILD, _TWO, _THEN_THREE, _HUHTINEN),
    Arm(
        "mild_net",
        "180 / −27 of which 11 is habituation: 170 ± 12, fall 16 ± 12, 2/3, slow",
        "trial",
        _NET,
        _TWO,
        _THEN_THREE,
        (*_HUHTINEN, *_PLACEBO),
        _SLOWLY,
        habituation="slow",
    ),
)
_NULLS = (
    *_null("practice", practice(0.0), _PRACTICE, "log-normal practice"),
    *_null(
        "old",
        normal((147.0, 18.0), (0.0, 0.0)),
        ("size.cat.old.doppler.dh",),
        "old cats 147 ± 18",
    ),
)
_LIMITS = (
    Arm(
        "null_slow",
        "null drug, log-normal practice, begun at 160, 1/3, habituation slow",
        "limit",
        practice(0.0),
        _ONE,
        _LATER,
        (*_PRACTICE, *_PLACEBO),
        _SLOWLY,
        begun_at=160.0,
        habituation="slow",
    ),
    Arm(
        "null_absent",
        "null drug, log-normal practice, begun at 160, 1/3, habituation absent",
        "limit",
        practice(0.0),
        _ONE,
        _LATER,
        _PRACTICE,
        begun_at=160.0,
        habituation="absent",
    ),
    Arm(
        "healthy",
        "null drug, healthy 130 ± 15, begun on one session of 160 or more, 1/2",
        "limit",
        normal((130.0, 15.0), (0.0, 0.0)),
        _ONE,
        _THEN_TWO,
        ("size.cat.healthy.doppler", "size.cat.healthy.doppler2"),
        "the drug does nothing",
        begun_at=160.0,
    ),
)


def _clinic(key: str, words: str, before: tuple[int, ...], habituation: str) -> Arm:
    after = _THEN_TWO if len(before) == 1 else _THEN_THREE
    assumed = f"{_SHARE}; {_SLOWLY}" if habituation == "slow" else _SHARE
    return Arm(
        f"clinics_{key}",
        f"log-normal clinics, begun at 160, {words}",
        "clinic",
        practice(0.7),
        before,
        after,
        (*_RESPONSE, *(_PLACEBO if habituation == "slow" else ())),
        assumed,
        begun_at=160.0,
        habituation=habituation,
    )


_CLINICS = (
    Arm(
        "clinics_untreated",
        "log-normal clinics, untreated, 4 sessions",
        "clinic",
        practice(0.0),
        (-90, -56, -28, 0),
        (),
        _PRACTICE,
    ),
    _clinic("1_2", "1 before / 2 after", _ONE, "prior"),
    _clinic("2_3", "2 before / 3 after", _TWO, "prior"),
    _clinic("slow", "1/2, habituation slow", _ONE, "slow"),
    _clinic("absent", "1/2, habituation absent", _ONE, "absent"),
)

ARMS: tuple[Arm, ...] = (*_OWN, *_TRIALS, *_NULLS, *_LIMITS, *_CLINICS)
