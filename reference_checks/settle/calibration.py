"""The chance that further visits settle a question, laid beside what they did settle.

For each simulated animal whose question is open, the chance is stated; then the visits are made,
the record is fitted anew as any report would, and it is seen whether it gives a verdict.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.settling import (
    GAP_DAYS,
    SLOPE_GAP_DAYS,
    SLOPE_VISITS,
    VISITS,
    Asked,
    Settling,
    settling,
    slope_asked,
    usual_asked,
)
from bpvet.models.trend.trend import Trend
from bpvet.visits.series import Series
from reference_checks.settle.worlds import WORLDS, Animal, World, draw

BATCH = 100
#: What is asked of the usual pressure: the raised bound of the untreated, the target of others.
RAISED, TARGET = 140.0, 160.0
FALL = Asked(-10.0, 0.05, 0.9)

#: Questions asked together, the visits ahead, and the days between them.
_Plan = tuple[tuple[str, ...], tuple[int, ...], int]
_PLANS: tuple[_Plan, ...] = (
    (("usual", "drug"), VISITS, GAP_DAYS),
    (("slope",), SLOPE_VISITS, SLOPE_GAP_DAYS),
)


@dataclass(frozen=True)
class Outcome:
    """One question of one animal, stated and seen."""

    question: str
    visits: int
    chance: float
    sides: tuple[float, float]
    seen: int


def _fits(series: Sequence[Series], priors: Priors) -> list[tuple[Columns, Posterior]]:
    columns = [columns_of(one, priors) for one in series]
    found = posteriors(series, [(priors,)] * len(series), columns)
    return list(zip(columns, found, strict=True))


def _asked(world: World, columns: Columns) -> dict[str, Asked]:
    """Return the questions of an animal."""
    asked = {
        "usual": usual_asked(TARGET if world.treated else RAISED),
        "slope": slope_asked(_trend(columns, None)),
    }
    if world.treated:
        asked["drug"] = Asked(FALL.threshold, FALL.low, FALL.sure, columns.unit("course 0"))
    return asked


def _trend(columns: Columns, posterior: Posterior | None) -> Trend:
    return Trend(columns.series, columns, posterior, None)  # type: ignore[arg-type]


def _says(columns: Columns, posterior: Posterior, one: Asked) -> int:
    """Return 1 where the report says at or below, −1 where it says above, 0 where neither."""
    if one.vector is None:
        today = np.zeros(1)
        found: Mixture = posterior.usual(columns.rows(today), today).first()
    else:
        found = posterior.combination(one.vector)
    p = float(found.below(one.threshold))
    return 1 if p >= one.sure else -1 if p <= one.low else 0


def block(world: World, index: int, animals: int = BATCH) -> list[Outcome]:
    """Draw a block of animals, and return each of their open questions, stated and seen.

    A slope is asked in one block of three: it is open nearly always, and takes years of visits.
    """
    priors = Priors.default("cat", "doppler")
    rng = np.random.default_rng((WORLDS.index(world), index))
    drawn = [draw(world, priors, rng) for _ in range(animals)]
    plans = _PLANS if index % 3 == 0 else _PLANS[:1]
    return list(_outcomes(world, priors, drawn, plans))


def _outcomes(
    world: World, priors: Priors, drawn: Sequence[Animal], plans: Sequence[_Plan]
) -> Iterator[Outcome]:
    now = _fits([one.series() for one in drawn], priors)
    open_ = [
        {name: one for name, one in _asked(world, columns).items()
         if _says(columns, posterior, one) == 0}
        for columns, posterior in now
    ]  # fmt: skip
    for names, visits, gap in plans:
        held = [
            (animal, pair, {name: one for name, one in asked.items() if name in names})
            for animal, pair, asked in zip(drawn, now, open_, strict=True)
        ]
        held = [one for one in held if one[2]]
        stated = [
            dict(zip(asked, settling(_trend(*pair), list(asked.values()), visits, gap),
                     strict=True))
            for _, pair, asked in held
        ]  # fmt: skip
        for at, count in enumerate(visits):
            ahead = gap * np.arange(1, count + 1)
            then = _fits([animal.series(ahead.tolist()) for animal, _, _ in held], priors)
            for (_, _, asked), told, pair in zip(held, stated, then, strict=True):
                for name, one in asked.items():
                    yield _outcome(name, told[name][at], _says(*pair, one))


def _outcome(name: str, told: Settling, seen: int) -> Outcome:
    return Outcome(name, told.visits, told.chance, (told.at_or_below, told.above), seen)
