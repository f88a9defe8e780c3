"""Animals that start a drug without effect on the first session that reads high."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.maths.gaussian import coefficients, whiten
from bpvet.maths.quadrature import integrate
from bpvet.maths.surface import noise_at
from bpvet.models.trend.columns import SLOPE_DAYS, columns_of
from bpvet.models.trend.posteriors import batch_of, noise_prior_of
from reference_checks.coverage.animals import (
    DRUG,
    LATEST,
    METHOD,
    MOST_SESSIONS,
    Animals,
    Array,
    Flags,
    Rows,
)
from reference_checks.coverage.worlds import HIGH, World, lognormal, session_readings

#: Days between sessions before the start, and days of the sessions after it.
GAP_BEFORE = 21
DAYS_AFTER = (14, 42, 90)
_DRAWN_AT_ONCE = 2_000
_BATCH = 125


@dataclass(frozen=True)
class Case:
    """Animals of one kind.

    Parameters
    ----------
    before : int
        Sessions up to and including the one that reads high and starts the course: all
        earlier ones read below 160.
    species : str
        ``cat`` or ``dog``: whose priors, first-visit excitement included.
    used_to_it : bool
        Whether the animals were measured before: no excitement, and none in the fit.
    fitted_without : bool
        Whether the fit leaves out an excitement that is there: the wrong priors.
    """

    before: int
    species: str
    used_to_it: bool = False
    fitted_without: bool = False

    @property
    def words(self) -> str:
        """What the table calls it."""
        excitement = "used to it" if self.used_to_it else "new to measuring"
        wrong = ", unknown to the fit" if self.fitted_without else ""
        return f"{self.species}, {excitement}{wrong}"

    @property
    def true_excitement(self) -> tuple[float, float]:
        """Mean and SD of the first-visit excitement that the animals have."""
        given = Priors.default(self.species, METHOD).first_visit
        return (0.0, 0.0) if self.used_to_it or given is None else given

    @property
    def priors(self) -> Priors:
        """Priors of the fit."""
        # What the animals are drawn from: one normal level and effect, no groups.
        own = replace(Priors.default(self.species, METHOD), groups=None)
        without = self.used_to_it or self.fitted_without
        return replace(own, first_visit=None) if without else own


@dataclass(frozen=True, eq=False)
class Found:
    """Three answers to "what did the drug do?", where the truth is nothing; (N,) each, mmHg.

    Parameters
    ----------
    naive : array
        Mean of the sessions after less mean of all sessions before.
    naive_high : array
        Mean of the sessions after less the session that started the course.
    model : array
        Posterior mean of the full effect.
    """

    naive: Array
    naive_high: Array
    model: Array


def found(case: Case, animals: int, seed: int) -> Found:
    """Simulate treated animals of a case and give the three answers."""
    rng = np.random.default_rng([seed, case.before, *case.words.encode()])
    parts: list[Animals] = []
    while sum(len(part) for part in parts) < animals:
        parts.append(_treated(case, rng))
    naive, high, model = [], [], []
    left = animals
    for part in parts:
        kept = min(left, len(part))
        left -= kept
        y = part.y[:kept, :MOST_SESSIONS]
        after = y[:, -len(DAYS_AFTER) :].mean(axis=1)
        before = y[:, LATEST - len(DAYS_AFTER) - case.before + 1 : -len(DAYS_AFTER)]
        naive.append(after - before.mean(axis=1))
        high.append(after - before[:, -1])
        model.append(_effects(case, part, kept))
    return Found(*(np.concatenate(one) for one in (naive, high, model)))


def _treated(case: Case, rng: np.random.Generator) -> Animals:
    """Return those of some animals whose first session of 160 or more is their last before."""
    priors = Priors.default(case.species, METHOD)
    animals, after = _DRAWN_AT_ONCE, len(DAYS_AFTER)
    sessions = case.before + after
    live = np.arange(MOST_SESSIONS) >= MOST_SESSIONS - sessions
    start = LATEST - after
    day = np.zeros(MOST_SESSIONS + 1, dtype=np.int64)
    day[start - case.before + 1 : start + 1] = GAP_BEFORE * np.arange(1 - case.before, 1)
    day[start + 1 : MOST_SESSIONS] = DAYS_AFTER
    day = np.where(np.append(live, False), day - DAYS_AFTER[-1], 0)
    level = priors.level[0] + priors.level[1] * rng.standard_normal(animals)
    slope = priors.slope_sd * rng.standard_normal(animals)
    sv, sr, sw = (lognormal(pair, animals, rng) for pair in (priors.sv, priors.sr, priors.sw))
    usual = level[:, None] + slope[:, None] * day / SLOPE_DAYS
    usual += sw[:, None] * _wander(day, priors.wander_days, animals, rng)
    mean, sd = case.true_excitement
    visit = np.cumsum(np.append(live, False)) - 1
    excitement = mean + sd * rng.standard_normal(animals)
    y = usual + excitement[:, None] * np.exp(-np.maximum(visit, 0) / Priors.first_visit_fading)
    y += sv[:, None] * rng.standard_normal(y.shape)
    everywhere = np.broadcast_to(live, (animals, MOST_SESSIONS))
    scatter, used = session_readings(World("null", ""), sr, everywhere, rng)
    k = used.sum(axis=2).astype(float)
    centre = np.where(used, scatter, 0.0).sum(axis=2) / k
    ss = np.where(used, (scatter - centre[:, :, None]) ** 2, 0.0).sum(axis=2)
    y += centre
    chosen = _starts_there(y, start, case.before)
    count = int(chosen.sum())
    return Animals(
        day=np.tile(day, (count, 1)),
        live=everywhere[chosen],
        y=y[chosen],
        ss=ss[chosen],
        k=k[chosen],
        start=np.full(count, start),
        usual=usual[chosen, LATEST],
        slope=slope[chosen],
        effect=np.zeros(count),
        effect_now=np.zeros(count),
    )


def _starts_there(y: Array, start: int, before: int) -> Flags:
    earlier = y[:, start - before + 1 : start]
    return (y[:, start] >= HIGH) & (earlier < HIGH).all(axis=1)


def _wander(day: Rows, wander_days: float, animals: int, rng: np.random.Generator) -> Array:
    """Return a slow wander of SD 1 at the days, (N, 15): any common dates, by its correlation."""
    correlation = np.exp(-np.abs(day[:, None] - day) / wander_days)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return rng.standard_normal((animals, day.size)) @ root.T


def _effects(case: Case, drawn: Animals, count: int) -> Array:
    """Return the posterior mean of the full effect of the first `count` animals, (count,)."""
    priors = case.priors
    series = [drawn.series(i, priors.tau_of(DRUG), case.species) for i in range(count)]
    effects = []
    for first in range(0, count, _BATCH):
        own = series[first : first + _BATCH]
        columns = [columns_of(one, priors) for one in own]
        batch = batch_of(own, columns)
        prior = noise_prior_of([(priors,)] * len(own))
        nodes = integrate(batch, prior)
        # The means alone, all animals at once: no interval is wanted here.
        noise = noise_at(prior, nodes.log_sv, nodes.log_sr, nodes.log_sw)
        fit = coefficients(batch, noise.reading, whiten(batch, noise))
        term = columns[0].terms.index(columns[0].course_term(0))
        effects.append(np.sum(nodes.weight * fit.mean[term], axis=1))
    return np.concatenate(effects)
