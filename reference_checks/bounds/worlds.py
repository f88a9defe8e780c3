"""Animals whose pressure lies at the end of the gauge: how often an interval holds the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.visits.beyond import Beyond
from bpvet.visits.series import Series

#: Days of the visits, and used readings of each.
DAYS, READINGS = (0, 14, 28), 4
_Z = 1.959964


@dataclass(frozen=True)
class World:
    """Untreated cats by Doppler: usual pressure now ~ N(level, spread²), a gauge that ends."""

    name: str
    level: float
    spread: float
    gauge: float


WORLDS = (
    World("310 ± 12, gauge to 300", 310.0, 12.0, 300.0),
    World("178 ± 8, gauge to 180", 178.0, 8.0, 180.0),
)


@dataclass(frozen=True)
class Outcome:
    """What became of one animal: the truth, the interval told, and the next session's."""

    beyond: int
    truth: float
    low: float
    high: float
    following: float
    following_low: float
    following_high: float
    as_numbers: tuple[float, float]


def animal(world: World, priors: Priors, seed: int) -> Outcome:
    """Draw one animal, and ask what its trend says."""
    rng = np.random.default_rng([20261129, seed])
    sv, sr, sw = (
        median * np.exp(log_sd * rng.standard_normal())
        for median, log_sd in (priors.sv, priors.sr, priors.sw)
    )
    day = np.array([*DAYS, DAYS[-1] + 28], dtype=float)
    gap = np.abs(day[:, None] - day)
    wander = np.linalg.cholesky(np.exp(-gap / priors.wander_days) + 1e-10 * np.eye(day.size))
    usual = world.level + world.spread * rng.standard_normal()
    usual = usual + sw * (wander @ rng.standard_normal(day.size))
    usual = usual + priors.slope_sd * rng.standard_normal() * (day - DAYS[-1]) / 30
    first = priors.first_visit[0] + priors.first_visit[1] * rng.standard_normal()
    visit = usual + first * np.exp(-np.arange(day.size) / 1.5)
    visit = visit + sv * rng.standard_normal(day.size)
    readings = visit[:, None] + sr * rng.standard_normal((day.size, READINGS))
    following = float(readings[-1].mean())
    held = np.round(readings[:-1])
    found, number = series(held, world.gauge), series(held, np.inf, np.minimum(held, world.gauge))
    told, told_number = told_of(found, priors), told_of(number, priors)
    return Outcome(
        int((held > world.gauge).sum()),
        float(usual[len(DAYS) - 1]),
        *told[0],
        following,
        *told[1],
        told_number[0],
    )


def told_of(one: Series, priors: Priors) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the 95 % intervals of the usual pressure now and of the next session."""
    columns = columns_of(one, priors)
    posterior = posteriors([one], [(priors,)], [columns])[0]
    now = posterior.usual(columns.rows(np.zeros(1)), np.zeros(1)).first()
    day = np.array([28.0])
    ahead = posterior.session(
        columns.rows(day, visit=len(DAYS)), day, np.array([float(READINGS)])
    ).first()
    return now.interval(0.95), ahead.interval(0.95)


def series(readings: np.ndarray, gauge: float, clipped: np.ndarray | None = None) -> Series:
    """Return sessions of readings (n, k) by a gauge that ends; `clipped`: its end as a number."""
    values = np.minimum(readings, gauge) if clipped is None else clipped
    count, n = values.shape[0], values.shape[1]
    past = readings > gauge
    beyond = np.full(count, None, dtype=object)
    for j in np.flatnonzero(past.any(axis=1)):
        own = readings[j][~past[j]]
        centre = float(own.mean()) if own.size else 0.0
        ss = float(((own - centre) ** 2).sum()) if own.size else None
        limits = ((gauge, 1.0),) * int(past[j].sum())
        beyond[j] = Beyond(float(own.size), centre, ss, limits)
    known = ~past.any(axis=1)
    mean = values.mean(axis=1)
    ss = ((values - mean[:, None]) ** 2).sum(axis=1)
    return Series(
        animal="A",
        species="cat",
        method="doppler",
        condition="clinic",
        quantity="systolic",
        unit="mmHg",
        date=np.datetime64("2026-01-01") + np.array(DAYS),
        y=mean,
        ss=np.where(known, ss, 0.0),
        k=np.full(count, float(n)),
        scatter_known=known,
        bound=np.where(known, "", "at least"),
        visit=np.arange(count),
        session=np.arange(1, count + 1),
        methods=np.full(count, "doppler"),
        conditions=np.full(count, "clinic"),
        median=np.where(known, np.median(values, axis=1), np.nan),
        tense=np.zeros(count, dtype=bool),
        courses=(),
        beyond=None if known.all() else beyond,
    )


@dataclass(frozen=True)
class Cover:
    """Shares of animals whose interval holds the truth, in per cent, and what they rest on."""

    animals: int
    beyond: float
    usual: float
    above_low: float
    following: float
    as_numbers: float

    @property
    def error(self) -> float:
        """Standard error of a cover of 95 %, in points."""
        return 100 * np.sqrt(0.95 * 0.05 / self.animals)


def cover(outcomes: list[Outcome]) -> Cover:
    """Return how often the intervals of animals with a reading beyond the gauge held the truth."""

    def share(holds: Callable[[Outcome], bool]) -> float:
        return 100 * float(np.mean([holds(one) for one in outcomes]))

    return Cover(
        len(outcomes),
        100 * float(np.mean([one.beyond / (len(DAYS) * READINGS) for one in outcomes])),
        share(lambda one: one.low <= one.truth <= one.high),
        share(lambda one: one.low <= one.truth),
        share(lambda one: one.following_low <= one.following <= one.following_high),
        share(lambda one: one.as_numbers[0] <= one.truth <= one.as_numbers[1]),
    )
