"""A slow twin of the trend of one animal: plain dense Gaussian conditioning, nothing of bpvet.

Written from the model's definition alone, with numpy and scipy. No filter, no rule of quadrature:
the covariance of all session means is written down for every group of the prior and every point
of a dense grid of the three noise deviates, and conditioned. Systolic pressure only.

An `Animal` holds what was recorded, in days; `posterior` gives a `Dense`, which answers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

#: Priors of systolic pressure: median and log-SD of visit, reading and wander SD.
NOISE = {
    ("cat", "doppler"): ((11, 0.5), (7, 0.40), (6, 0.5)),
    ("cat", "oscillometric"): ((11, 0.5), (10, 0.45), (6, 0.5)),
    ("dog", "doppler"): ((12, 0.5), (9, 0.40), (6, 0.5)),
    ("dog", "oscillometric"): ((12, 0.5), (12, 0.45), (6, 0.5)),
}
LEVEL, EFFECT_SD, INCREMENT_SD, SLOPE_SD = (140.0, 35.0), 40.0, 15.0, 2.0
FIRST_VISIT = {"cat": (5.0, 8.0)}
#: Weight, untreated level, SD of a first spell's effect, or the pressure under its drug.
GROUPS = (
    (0.60, (130.0, 16.0), 20.0, None),
    (0.06, (195.0, 50.0), 10.0, None),
    (0.34, (195.0, 50.0), None, (150.0, 30.0)),
)
RESTART_SD, ADDED_SD = 15.0, 25.0
WANDER_DAYS, SLOPE_DAYS, VISITS = 60.0, 30.0, 1.5
HOME, CALMED = (-15.0, 15.0), (-12.0, 15.0)
PAIRED, UNPAIRED = (0.0, 12.0), (0.0, 25.0)
TAU = {"amlodipine": 3.0, "telmisartan": 5.0, "benazepril": 7.0}
#: Points of the grid in visit, reading and wander deviate, and its half width in prior SDs.
GRID, WIDTH = (33, 45, 27), 6.0
#: A coarser one: right to about 1e-6 SDs on records without anything odd.
COARSE, NARROW = (25, 37, 19), 5.5
#: The box: first half width, looks, points of a look, depth of what weighs, points in the end.
_FAR, _LOOKS, _LOOK, _DEEP, FINE = 22.0, 5, 15, 25.0, (37, 33, 37)
_LIGHT = 1e-10
_CHUNK = 2_000


@dataclass(frozen=True)
class Session:
    """Readings of one date by one method under one condition, in the order taken."""

    day: int
    readings: tuple[float, ...]
    method: str = "doppler"
    condition: str = "clinic"

    def used(self, rule: str) -> np.ndarray:
        """Return the readings that count: of four or more the guideline's rule drops the first."""
        first = 1 if rule == "guideline" and len(self.readings) >= 4 else 0
        return np.array(self.readings[first:], dtype=float)


@dataclass(frozen=True)
class Spell:
    """Days on one drug: first and last (None: ongoing), and the days on which the dose changed."""

    drug: str
    start: int
    stop: int | None = None
    changes: tuple[int, ...] = ()
    tau: float | None = None

    @property
    def time(self) -> float:
        """Time constant, days."""
        return TAU[self.drug] if self.tau is None else self.tau

    def on(self, day: float, begun: int | None = None) -> float:
        """Return how far it has risen at a day, counted from its start or from a change."""
        start = self.start if begun is None else begun
        if day <= start:
            return 0.0
        if self.stop is None or day <= self.stop:
            return -math.expm1(-(day - start) / self.time)
        reached = -math.expm1(-(self.stop - start) / self.time)
        return reached * math.exp(-(day - self.stop) / self.time)


@dataclass(frozen=True)
class Animal:
    """What is recorded of one animal, in days; sessions in the order of a series."""

    sessions: tuple[Session, ...]
    spells: tuple[Spell, ...] = ()
    species: str = "cat"
    rule: str = "guideline"
    single: bool = False
    visit: tuple[int, ...] = field(default=())
    base: Session | None = None

    @property
    def shown(self) -> Session:
        """A session by the method and under the condition whose scale the level is on."""
        return self.sessions[-1] if self.base is None else self.base

    @property
    def t0(self) -> int:
        """Day of the latest session."""
        return self.sessions[-1].day

    @cached_property
    def visits(self) -> tuple[int, ...]:
        """Index of each session's date among the dates away from home; −1 at home."""
        if self.visit:
            return self.visit
        away = sorted({one.day for one in self.sessions if one.condition != "home"})
        return tuple(
            -1 if one.condition == "home" else away.index(one.day) for one in self.sessions
        )

    def earlier(self) -> Animal:
        """Return the animal without its newest session: dates keep their indices, and the scale."""
        return replace(
            self, sessions=self.sessions[:-1], visit=self.visits[:-1], base=self.sessions[-1]
        )

    @cached_property
    def columns(self) -> list[tuple[Spell, int | None]]:
        """Each effect: the spell, and the day of the change (None: the spell's base)."""
        return [(one, begun) for one in self.spells for begun in (None, *one.changes)]

    @cached_property
    def joins(self) -> list[str]:
        """What is joined in a bridged series."""
        held = []
        if len({one.method for one in self.sessions}) > 1:
            held.append("method")
        for condition in ("home", "calmed"):
            if len({one.condition == condition for one in self.sessions}) > 1:
                held.append(condition)
        return held

    @cached_property
    def priors(self) -> list[tuple[float, np.ndarray, np.ndarray]]:
        """Weight, mean and covariance of the coefficients in each group of the prior."""
        treated = any(
            spell.on(one.day, begun) > 0 for one in self.sessions for spell, begun in self.columns
        )
        if treated and not self.single:
            return [(group[0], *self._prior(group)) for group in GROUPS]
        # One normal level, and one normal effect of every spell.
        return [(1.0, *self._prior(None))]

    def _prior(self, group: tuple[Any, ...] | None) -> tuple[np.ndarray, np.ndarray]:
        _, level, effect_sd, under = group or (1.0, LEVEL, EFFECT_SD, None)
        # Each coefficient is a sum of independent draws: its weights of them, row by row.
        draws: list[tuple[float, float]] = [level, (0.0, SLOPE_SD)]
        rows: list[dict[int, float]] = [{0: 1.0}, {1: 1.0}]
        base_of: dict[str, dict[int, float]] = {}
        for spell, begun in self.columns:
            new = len(draws)
            row: dict[int, float] = {new: 1.0}
            before = [one for one in self.spells if one.start < spell.start]
            running = any(one.stop is None or one.stop > spell.start for one in before)
            if begun is not None:
                draws.append((0.0, INCREMENT_SD))
            elif group is None:
                draws.append((0.0, EFFECT_SD))
            elif spell.drug in base_of:
                row |= base_of[spell.drug]
                draws.append((0.0, RESTART_SD))
            elif running:
                draws.append((0.0, ADDED_SD))
            elif under is not None:
                row[0] = -1.0
                draws.append(under)
            else:
                draws.append((0.0, effect_sd))
            if begun is None:
                base_of.setdefault(spell.drug, row)
            rows.append(row)
        others = [FIRST_VISIT[self.species]]
        others += [self.join_prior(name) for name in self.joins]
        for one in others:
            rows.append({len(draws): 1.0})
            draws.append(one)
        weights = np.zeros((len(rows), len(draws)))
        for i, row in enumerate(rows):
            for j, value in row.items():
                weights[i, j] = value
        mean, sd = np.array(draws, dtype=float).T
        return weights @ mean, (weights * sd**2) @ weights.T

    def join_prior(self, name: str) -> tuple[float, float]:
        """Return mean and SD of a join: oscillometric minus Doppler, home minus clinic, …"""
        if name != "method":
            return HOME if name == "home" else CALMED
        doppler, other = (
            {one.day for one in self.sessions if one.method == name}
            for name in ("doppler", "oscillometric")
        )
        return PAIRED if doppler & other else UNPAIRED

    def row(self, day: float, visit: int = -1, like: Session | None = None) -> list[float]:
        """Return the weights of the coefficients at a day, on the scale of the latest session."""
        scale = self.shown if like is None else like
        out = [1.0, (day - self.t0) / SLOPE_DAYS]
        out += [spell.on(day, begun) for spell, begun in self.columns]
        out.append(math.exp(-visit / VISITS) if visit >= 0 else 0.0)
        out += [beyond(name, scale) - beyond(name, self.shown) for name in self.joins]
        return out

    @cached_property
    def arrays(self) -> tuple[np.ndarray, ...]:
        """Days, means, sums of squares, counts and design of the sessions."""
        used = [one.used(self.rule) for one in self.sessions]
        return (
            np.array([one.day for one in self.sessions], dtype=float),
            np.array([values.mean() for values in used]),
            np.array([((values - values.mean()) ** 2).sum() for values in used]),
            np.array([values.size for values in used], dtype=float),
            np.array(
                [
                    self.row(one.day, j, one)
                    for one, j in zip(self.sessions, self.visits, strict=True)
                ]
            ),
        )

    def noise(self, z: np.ndarray, method: str) -> tuple[np.ndarray, np.ndarray]:
        """Return visit and reading SD of a method at deviates z (N, 3)."""
        (sv, sv_log), (sr, sr_log), _ = NOISE[self.species, method]
        return sv * np.exp(sv_log * z[:, 0]), sr * np.exp(sr_log * z[:, 1])

    def wander(self, z: np.ndarray) -> np.ndarray:
        """Return the SD of the wander at deviates z (N, 3)."""
        _, _, (sw, sw_log) = NOISE[self.species, self.shown.method]
        return sw * np.exp(sw_log * z[:, 2])


def beyond(name: str, one: Session) -> float:
    """Return 1 for a session on the further side of a join, else 0."""
    return float(one.method == "oscillometric" if name == "method" else one.condition == name)


@dataclass(frozen=True)
class Ask:
    """A linear question: weights of the coefficients, the day of the wander, and a session's noise.

    `readings` and `method` are of a session not taken yet; None asks for a usual pressure, and
    `day` None for coefficients alone.
    """

    row: tuple[float, ...]
    day: float | None = None
    readings: float | None = None
    method: str = ""


@dataclass(frozen=True)
class Answer:
    """A mixture of normal distributions: weights, means and SDs."""

    weight: np.ndarray
    means: np.ndarray
    sds: np.ndarray

    @property
    def mean(self) -> float:
        """Its mean."""
        return float(self.weight @ self.means)

    @property
    def sd(self) -> float:
        """Its SD."""
        return float(np.sqrt(self.weight @ (self.sds**2 + (self.means - self.mean) ** 2)))

    def below(self, value: float) -> float:
        """Return the probability at or below a value."""
        return float(self.weight @ ndtr((value - self.means) / self.sds))

    def quantile(self, p: float) -> float:
        """Return the point with probability p below it."""
        wide = 40 * self.sd
        return float(
            brentq(lambda x: self.below(x) - p, self.mean - wide, self.mean + wide, xtol=1e-11)
        )


@dataclass(frozen=True)
class Dense:
    """The posterior of an animal: points of the grid that weigh, group by group."""

    animal: Animal
    z: np.ndarray
    group: np.ndarray
    weight: np.ndarray
    log_evidence: float
    log_by_group: tuple[float, ...]

    def ask(self, *questions: Ask) -> list[Answer]:
        """Return the answers to several questions."""
        means = np.empty((self.weight.size, len(questions)))
        variances = np.empty(means.shape)
        for g, (_, centre, spread) in enumerate(self.animal.priors):
            mine = np.flatnonzero(self.group == g)
            for first in range(0, mine.size, _CHUNK):
                at = mine[first : first + _CHUNK]
                means[at], variances[at] = _conditioned(
                    self.animal, self.z[at], centre, spread, questions
                )
        sds = np.sqrt(variances)
        return [Answer(self.weight, means[:, i], sds[:, i]) for i in range(len(questions))]

    def days(self, first: int, last: int) -> list[Answer]:
        """Return the usual pressure on each day from the first to the last."""
        every = range(first, last + 1)
        return self.ask(*(Ask(tuple(self.animal.row(day)), day) for day in every))

    def usual(self, day: float) -> Answer:
        """Return the usual pressure at a day."""
        return self.ask(Ask(tuple(self.animal.row(day)), day))[0]

    def coefficient(self, place: int) -> Answer:
        """Return a coefficient by its place: level, slope, effects, first visit, joins."""
        row = np.zeros(len(self.animal.row(0)))
        row[place] = 1.0
        return self.ask(Ask(tuple(row)))[0]

    def effect(self, spell: int, *, now: bool = False) -> Answer:
        """Return the full effect of a spell, its changes summed; or that at the latest session."""
        own = self.animal.spells[spell]
        row = np.zeros(len(self.animal.row(0)))
        for i, (one, begun) in enumerate(self.animal.columns, start=2):
            if one is own:
                row[i] = one.on(self.animal.t0, begun) if now else 1.0
        return self.ask(Ask(tuple(row)))[0]

    def session(self, day: float, readings: float, visit: int, like: Session) -> Answer:
        """Return the mean of a session that is not among those conditioned on."""
        row = tuple(self.animal.row(day, visit, like))
        return self.ask(Ask(row, day, readings, like.method))[0]


def _covariances(
    animal: Animal, z: np.ndarray, spread: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the covariance of the session means (N, n, n), and the wander's variance (N,)."""
    day, _, _, count, design = animal.arrays
    wander = animal.wander(z) ** 2
    apart = np.exp(-np.abs(day[:, None] - day) / WANDER_DAYS)
    cov = (design @ spread @ design.T)[None] + wander[:, None, None] * apart
    for i, one in enumerate(animal.sessions):
        sv, sr = animal.noise(z, one.method)
        cov[:, i, i] += sv**2 + sr**2 / count[i]
    return cov, wander


def _log_likelihood(
    animal: Animal, z: np.ndarray, centre: np.ndarray, spread: np.ndarray
) -> np.ndarray:
    _, mean, ss, count, design = animal.arrays
    cov, _ = _covariances(animal, z, spread)
    off = mean - design @ centre
    solved = np.linalg.solve(cov, np.broadcast_to(off[:, None], (len(z), off.size, 1)))[:, :, 0]
    out = -0.5 * (np.linalg.slogdet(cov)[1] + solved @ off + off.size * np.log(2 * np.pi))
    for i, one in enumerate(animal.sessions):
        _, sr = animal.noise(z, one.method)
        out += -(count[i] - 1) / 2 * np.log(2 * np.pi * sr**2)
        out += -0.5 * np.log(count[i]) - ss[i] / (2 * sr**2)
    return out


def _conditioned(
    animal: Animal,
    z: np.ndarray,
    centre: np.ndarray,
    spread: np.ndarray,
    questions: tuple[Ask, ...],
) -> tuple[np.ndarray, np.ndarray]:
    """Return means and variances (N, u) of the questions given the sessions."""
    day, mean, _, _, design = animal.arrays
    cov, wander = _covariances(animal, z, spread)
    rows = np.array([one.row for one in questions])
    has = np.array([one.day is not None for one in questions])
    at = np.array([0.0 if one.day is None else one.day for one in questions])
    apart = np.exp(-np.abs(at[:, None] - day) / WANDER_DAYS) * has[:, None]
    cross = (rows @ spread @ design.T)[None] + wander[:, None, None] * apart
    off = mean - design @ centre
    solved = np.linalg.solve(cov, np.broadcast_to(off[:, None], (len(z), off.size, 1)))[:, :, 0]
    gain = np.linalg.solve(cov, cross.transpose(0, 2, 1))
    means = rows @ centre + np.einsum("Nun,Nn->Nu", cross, solved)
    variances = np.einsum("ui,ij,uj->u", rows, spread, rows) + wander[:, None] * has
    variances = variances - np.einsum("Nun,Nnu->Nu", cross, gain)
    for i, one in enumerate(questions):
        if one.readings is not None:
            sv, sr = animal.noise(z, one.method)
            variances[:, i] += sv**2 + sr**2 / one.readings
    return means, np.maximum(variances, 1e-300)


def _log_masses(animal: Animal, z: np.ndarray) -> np.ndarray:
    """Return log weight and log likelihood in each group of the prior at deviates z, (G, N)."""
    return np.array(
        [
            math.log(weight)
            + np.concatenate(
                [
                    _log_likelihood(animal, z[first : first + _CHUNK], centre, spread)
                    for first in range(0, len(z), _CHUNK)
                ]
            )
            for weight, centre, spread in animal.priors
        ]
    )


def _box(animal: Animal) -> list[np.ndarray]:
    """Return axes over the box outside of which nothing weighs, found in a few looks."""
    ends = [(-_FAR, _FAR)] * 3
    for _ in range(_LOOKS):
        axes = [np.linspace(low, high, _LOOK) for low, high in ends]
        z = np.stack([one.ravel() for one in np.meshgrid(*axes, indexing="ij")], axis=1)
        log = _log_masses(animal, z).max(axis=0) - 0.5 * (z**2).sum(axis=1)
        held = z[log > log.max() - _DEEP]
        ends = [
            (held[:, i].min() - (axis[1] - axis[0]), held[:, i].max() + (axis[1] - axis[0]))
            for i, axis in enumerate(axes)
        ]
    return [np.linspace(low, high, points) for (low, high), points in zip(ends, FINE, strict=True)]


def posterior(
    animal: Animal,
    fixed: tuple[float, float, float] | None = None,
    *,
    coarse: bool = False,
    boxed: bool = False,
) -> Dense:
    """Return the posterior, with the noise SDs integrated on a dense grid, or held fixed.

    Parameters
    ----------
    animal : Animal
    fixed : (float, float, float) or None
        Visit, reading and wander SD of the latest session's method.
    coarse : bool
        Whether the coarser grid is enough.
    boxed : bool
        Whether to lay the grid over the box that holds what weighs: for records whose posterior
        is narrow, or far from the prior.
    """
    if fixed is None:
        wide, grid = (NARROW, COARSE) if coarse else (WIDTH, GRID)
        axes = [np.linspace(-wide, wide, points) for points in grid]
        if boxed:
            axes = _box(animal)
        z = np.stack([one.ravel() for one in np.meshgrid(*axes, indexing="ij")], axis=1)
        step = math.prod(float(axis[1] - axis[0]) for axis in axes)
        log_prior = -0.5 * (z**2).sum(axis=1) + math.log(step) - 1.5 * math.log(2 * math.pi)
    else:
        held = NOISE[animal.species, animal.shown.method]
        z = np.array(
            [[math.log(sd / pair[0]) / pair[1] for sd, pair in zip(fixed, held, strict=True)]]
        )
        log_prior = np.zeros(1)
    found = _log_masses(animal, z) + log_prior
    top = found.max()
    evidence = float(top + np.log(np.exp(found - top).sum()))
    by_group = tuple(
        float(one.max() + np.log(np.exp(one - one.max()).sum()) - math.log(prior[0]))
        for one, prior in zip(found, animal.priors, strict=True)
    )
    weight = np.exp(found - evidence)
    group, point = np.nonzero(weight > _LIGHT * weight.max())
    kept = weight[group, point]
    return Dense(animal, z[point], group, kept / kept.sum(), evidence, by_group)
