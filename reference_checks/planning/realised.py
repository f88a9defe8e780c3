"""Simulated animals through the whole engine: what plans come to where the noise is not known.

A plan averages the posterior variance *given* the noise SDs over their priors. Here animals are
drawn from the same priors, readings and all, and fitted as any record is, the noise SDs to be
found from the readings:

    python reference_checks/planning/realised.py [animals]

prints, for schedules of a new animal, further visits of one already measured, and the arms of a
study, what was planned beside what was realised, each with its Monte-Carlo standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.plan.further_visits import further
from bpvet.models.plan.plan import plan
from bpvet.models.plan.sample_size import formula_animals
from bpvet.models.plan.schedule import Schedule
from bpvet.models.plan.study import Arms
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.trend import Trend
from bpvet.visits.series import Series

ANIMALS = 3000
_BATCH = 64


@dataclass(frozen=True)
class Drawn:
    """Simulated animals: their sessions, and what is true of them at the last visit."""

    series: list[Series]
    usual: np.ndarray
    effect: np.ndarray


def drawn(
    priors: Priors, schedule: Schedule, count: int, seed: int, effect: tuple[float, float] = (0, 0)
) -> Drawn:
    """Draw animals from the priors, every reading of them; effects have this mean and SD."""
    draws = np.random.default_rng(seed)
    empty = schedule.series()
    columns = columns_of(empty, priors, grouped=False)
    design, day = columns.sessions(), columns.day
    ou = np.exp(-np.abs(day[:, None] - day) / priors.wander_days)
    root = np.linalg.cholesky(ou)
    series, usual, effects = [], [], []
    for _ in range(count):
        sv, sr, sw = (
            median * np.exp(log_sd * draws.normal())
            for median, log_sd in (priors.sv, priors.sr, priors.sw)
        )
        beta = columns.forms[0].mean + columns.forms[0].sd * draws.normal(size=design.shape[1])
        for i, name in enumerate(columns.terms):
            if name.startswith("course"):
                beta[i] = effect[0] + effect[1] * draws.normal()
                effects.append(beta[i])
        wander = sw * (root @ draws.normal(size=day.size))
        centre = design @ beta + wander + sv * draws.normal(size=day.size)
        readings = centre[:, None] + sr * draws.normal(size=(day.size, schedule.readings))
        mean = readings.mean(axis=1)
        ss = np.sum((readings - mean[:, None]) ** 2, axis=1)
        series.append(replace(empty, y=mean, ss=ss))
        usual.append(beta[0] + wander[-1])
    return Drawn(series, np.array(usual), np.array(effects))


def fitted(priors: Priors, series: Sequence[Series]) -> tuple[list[Columns], list[Posterior]]:
    """Fit animals through the whole engine."""
    columns = [columns_of(one, priors, grouped=False) for one in series]
    found: list[Posterior] = []
    for at in range(0, len(series), _BATCH):
        part = slice(at, at + _BATCH)
        found += posteriors(series[part], [(priors,)] * len(series[part]), columns[part])
    return columns, found


def usual(columns: Columns, posterior: Posterior) -> Mixture:
    """Return the usual value on the day of the last session."""
    today = np.zeros(1)
    found = posterior.usual(columns.rows(today), today)
    return Mixture(found.weights, found.means[0], found.sds[0])


@dataclass(frozen=True)
class Realised:
    """Root mean squares of SDs and of errors, mean half-width, coverage, and standard errors."""

    sd: float
    sd_error: float
    rmse: float
    half_width: float
    half_width_error: float
    coverage: float


def realised(mixtures: Sequence[Mixture], truth: np.ndarray) -> Realised:
    """Sum up what fits came to."""
    count = truth.size
    variance = np.array([float(one.sd) ** 2 for one in mixtures])
    ends = np.array([one.interval(0.95) for one in mixtures], dtype=float)
    off = np.array([float(one.mean) for one in mixtures]) - truth
    half = (ends[:, 1] - ends[:, 0]) / 2
    sd = float(np.sqrt(variance.mean()))
    return Realised(
        sd,
        float(variance.std() / np.sqrt(count) / (2 * sd)),
        float(np.sqrt(np.mean(off**2))),
        float(half.mean()),
        float(half.std() / np.sqrt(count)),
        float(np.mean((ends[:, 0] <= truth) & (truth <= ends[:, 1]))),
    )


def new_animals(priors: Priors, schedule: Schedule, count: int, seed: int = 1) -> Realised:
    """Return what a new animal's usual value came to."""
    animals = drawn(priors, schedule, count, seed)
    columns, found = fitted(priors, animals.series)
    return realised([usual(*pair) for pair in zip(columns, found, strict=True)], animals.usual)


def new_effects(priors: Priors, schedule: Schedule, count: int, seed: int = 2) -> Realised:
    """Return what a new animal's full effect came to, effects drawn from their prior."""
    animals = drawn(priors, schedule, count, seed, (0.0, priors.effect_sd))
    columns, found = fitted(priors, animals.series)
    mixtures = [
        one.combination(own.unit("course 0")) for own, one in zip(columns, found, strict=True)
    ]
    return realised(mixtures, animals.effect)


def after_more(
    priors: Priors, schedule: Schedule, more: int, count: int, seed: int = 3
) -> tuple[float, float, Realised]:
    """Return planned SD and half-width after `more` further visits, and what was realised."""
    longer = replace(schedule, visits=schedule.visits + more)
    animals = drawn(priors, longer, count, seed)
    seen = slice(schedule.visits)
    names = ("date", "y", "ss", "k", "scatter_known", "bound", "visit", "session", "methods",
             "conditions", "median", "tense")  # fmt: skip
    early = [
        replace(one, **{name: getattr(one, name)[seen] for name in names}) for one in animals.series
    ]
    columns, found = fitted(priors, early)
    planned = [
        further(
            Trend(one, own, fit, None),  # type: ignore[arg-type]
            more, schedule.readings, schedule.every_days,
        ).usual
        for one, own, fit in zip(early, columns, found, strict=True)
    ]  # fmt: skip
    sd = float(np.sqrt(np.mean([one.sd**2 for one in planned])))
    half_width = float(np.mean([one.half_width for one in planned]))
    columns, found = fitted(priors, animals.series)
    mixtures = [usual(*pair) for pair in zip(columns, found, strict=True)]
    return sd, half_width, realised(mixtures, animals.usual)


def arms(
    priors: Priors, visits: int, effect: float, count: int, seed: int = 4
) -> tuple[tuple[float, float, int], tuple[float, float, int]]:
    """Return difference, SD and animals an arm: planned, and by the engine's own estimates.

    Both arms hold the same draws, so that what differs is the effect alone.
    """
    own = plan(priors, visits)
    response = priors.increment_sd
    expected = Arms.of(own, effect, response, 1)
    found = []
    for mean in (0.0, -effect):
        animals = drawn(priors, own.schedule, count, seed, (mean, response))
        columns, fits = fitted(priors, animals.series)
        found.append(
            np.array([
                float(fit.combination(one.unit("course 0")).mean)
                for one, fit in zip(columns, fits, strict=True)
            ])
        )  # fmt: skip
    difference = float(found[0].mean() - found[1].mean())
    sd = float(np.sqrt((found[0].var(ddof=1) + found[1].var(ddof=1)) / 2))
    return (
        (expected.difference, expected.sd, formula_animals(expected.difference, expected.sd)),
        (difference, sd, formula_animals(difference, sd)),
    )


def main(count: int) -> None:
    """Print plans beside what was realised."""
    kinds = {"cat, Doppler": Priors.default("cat", "doppler"),
             "dog, oscillometric": Priors.default("dog", "oscillometric")}  # fmt: skip
    print(f"{count} animals a line; planned → realised (standard error)")
    for name, priors in kinds.items():
        for visits in (1, 2, 4, 7, 12):
            own = plan(priors, visits)
            line(f"{name}: usual, {visits} visits", own.usual.sd, own.usual.half_width,
                 new_animals(priors, Schedule(visits, 5, 7), count))  # fmt: skip
        for visits in (4, 8):
            own = plan(priors, visits)
            assert own.effect is not None
            line(f"{name}: effect, {visits} visits", own.effect.sd, own.effect.half_width,
                 new_effects(priors, own.schedule, count))  # fmt: skip
        for visits, more in ((1, 3), (4, 3)):
            sd, half_width, found = after_more(priors, Schedule(visits, 5, 7), more, count)
            line(f"{name}: usual, {visits} and {more} more", sd, half_width, found)
        planned, found_arms = arms(priors, 4, 15.0, count)
        print(
            f"{name}: study of 15, 4 visits: difference {planned[0]:.2f} → {found_arms[0]:.2f} "
            f"({np.sqrt(2 / count) * found_arms[1]:.2f}), SD {planned[1]:.2f} → "
            f"{found_arms[1]:.2f} ({found_arms[1] / np.sqrt(4 * count):.2f}), animals an arm "
            f"{planned[2]} → {found_arms[2]}"
        )


def line(name: str, sd: float, half_width: float, found: Realised) -> None:
    """Print one line."""
    print(
        f"{name}: SD {sd:.2f} → {found.sd:.2f} ({found.sd_error:.2f}), ± {half_width:.2f} → "
        f"{found.half_width:.2f} ({found.half_width_error:.2f}), RMSE {found.rmse:.2f}, "
        f"coverage {100 * found.coverage:.1f} %",
        flush=True,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ANIMALS)
