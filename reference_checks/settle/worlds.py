"""Simulated animals with visits ahead of them: what a report would say now, and after those visits.

An animal is drawn with sessions so far and twelve more four weeks apart, two more in between, so
that one, two and four visits at 14 days and three, six and twelve at 28 days are all part of one
life. First-visit excitement depends on how many visits came before, so it is added to each plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.schedule import Schedule
from bpvet.visits.series import Series

DRUG, READINGS = "amlodipine", 5
#: Days of visits ahead, of the two plans.
SOON, LATER = np.arange(1, 5) * 14, np.arange(1, 13) * 28
_DATE_0 = np.datetime64("2024-01-01")
#: Visits over which first-visit excitement falls to 1/e.
FADING_VISITS = 1.5
#: An empty series, whose parts are replaced.
_EMPTY = Schedule(1, READINGS, 7, before=1).series()


@dataclass(frozen=True)
class Animal:
    """One simulated animal.

    Parameters
    ----------
    start : int or None
        Day of the first dose; None for none.
    tau : float
        Time constant of the drug.
    day : (n,)
        Days of the sessions so far.
    mean : dict of int to (float, float)
        Mean and sum of squares of the session on each day, past and to come, without first-visit
        excitement.
    excitement : float
        First-visit excitement of the first session.
    """

    start: int | None
    tau: float
    day: np.ndarray
    mean: dict[int, tuple[float, float]]
    excitement: float

    def series(self, ahead: Sequence[int] = ()) -> Series:
        """Return the sessions so far, and those on the days `ahead` after the latest."""
        day = np.concatenate([self.day, self.day[-1] + np.asarray(ahead, dtype=int)]).astype(int)
        count = day.size
        held = np.array([self.mean[int(one)] for one in day])
        y = held[:, 0] + self.excitement * np.exp(-np.arange(count) / FADING_VISITS)
        courses = ()
        if self.start is not None:
            first = replace(
                _EMPTY.courses[0],
                drug=DRUG,
                started_on=_DATE_0 + np.timedelta64(self.start, "D"),
                tau_days=self.tau,
            )
            courses = (first,)
        text = np.full(count, "")
        return replace(
            _EMPTY,
            quantity="systolic",
            species="cat",
            date=_DATE_0 + day.astype("timedelta64[D]"),
            y=y,
            ss=held[:, 1],
            k=np.full(count, float(READINGS)),
            scatter_known=np.ones(count, dtype=bool),
            bound=text,
            visit=np.arange(count),
            session=np.arange(count),
            methods=text,
            conditions=np.full(count, "clinic"),
            median=y,
            tense=np.zeros(count, dtype=bool),
            courses=courses,
        )


@dataclass(frozen=True)
class World:
    """How animals are drawn.

    Parameters
    ----------
    key, words : str
        Name, and what it is in words.
    treated : bool
        Whether a drug is begun.
    severe : bool
        As in the trials: untreated 202 ± 17, fall 49 ± 15, no excitement, no slope, one visit
        before the drug and one to three after, in place of draws from the priors.
    visits_df : float or None
        Degrees of freedom of t-distributed visit noise with the same SD.
    """

    key: str
    words: str
    treated: bool
    severe: bool = False
    visits_df: float | None = None


WORLDS = (
    World("own, untreated", "drawn from the priors, no drug", False),
    World("own, treated", "drawn from the priors and the three groups, a drug begun", True),
    World(
        "severe",
        "as in the trials, not as in the priors: untreated 202 ± 17, fall 49 ± 15, one visit "
        "before the drug, one to three after, visit noise t with 3 degrees of freedom",
        True,
        severe=True,
        visits_df=3.0,
    ),
)


def draw(world: World, priors: Priors, rng: np.random.Generator) -> Animal:
    """Draw one animal."""
    count = int(rng.integers(2, 5)) if world.severe else int(rng.integers(1, 9))
    if world.treated:
        count = max(count, 2)
    day = np.concatenate([[0], np.cumsum(rng.integers(7, 57, count - 1))]).astype(int)
    before = 1 if world.severe else int(rng.integers(1, count)) if world.treated else 0
    start = int(day[before - 1]) if world.treated else None
    tau = priors.tau_of(DRUG)
    ahead = np.union1d(SOON, LATER) + day[-1]
    every = np.concatenate([day, ahead])
    level, slope, effect, excitement = _coefficients(world, priors, rng)
    sv, sr, sw = (
        median * np.exp(log_sd * rng.normal())
        for median, log_sd in (priors.sv, priors.sr, priors.sw)
    )
    ou = np.exp(-np.abs(every[:, None] - every) / priors.wander_days)
    mu = (
        level
        + slope * (every - day[-1]) / 30
        + sw * np.linalg.cholesky(ou) @ rng.normal(size=every.size)
    )
    if start is not None:
        mu = mu + effect * -np.expm1(-np.maximum(every - start, 0) / tau)
    visit = rng.normal(size=every.size)
    if world.visits_df is not None:
        df = world.visits_df
        visit = rng.standard_t(df, every.size) / np.sqrt(df / (df - 2))
    readings = (mu + sv * visit)[:, None] + sr * rng.normal(size=(every.size, READINGS))
    mean = readings.mean(axis=1)
    squares = np.sum((readings - mean[:, None]) ** 2, axis=1)
    held = {int(d): (float(m), float(s)) for d, m, s in zip(every, mean, squares, strict=True)}
    return Animal(start, tau, day, held, excitement)


def _coefficients(
    world: World, priors: Priors, rng: np.random.Generator
) -> tuple[float, float, float, float]:
    """Draw level at the latest session, slope, full effect and first-visit excitement."""
    slope = priors.slope_sd * rng.normal()
    centre, spread = priors.first_visit or (0.0, 0.0)
    excitement = centre + spread * rng.normal()
    if world.severe:
        return 202 + 17 * rng.normal(), 0.0, -49 + 15 * rng.normal(), 0.0
    if not world.treated or priors.groups is None:
        return priors.level[0] + priors.level[1] * rng.normal(), slope, 0.0, excitement
    groups = priors.groups.parts
    own = groups[int(rng.choice(len(groups), p=[one.weight for one in groups]))]
    level = own.level[0] + own.level[1] * rng.normal()
    if own.under_drug is None:
        return level, slope, float(own.effect_sd or 0.0) * rng.normal(), excitement
    under = own.under_drug[0] + own.under_drug[1] * rng.normal()
    return level, slope, under - level, excitement
