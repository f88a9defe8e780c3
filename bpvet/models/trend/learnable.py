"""What can be learned of a clinic's priors: each part's parameters, and the score of one animal.

The score is the posterior mean of the gradient of the log prior (Fisher's identity), so that it
costs nothing more than the fit.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np

from bpvet.facts.priors.groups import PriorGroups
from bpvet.facts.priors.priors import Priors
from bpvet.frozen import replace
from bpvet.maths.gaussian import Array
from bpvet.maths.posterior import Part, Posterior
from bpvet.models.trend.columns import Columns
from bpvet.models.trend.forms import course_roles

LEAST_SLOPE_SD = 1.0
_NOISE = ("sv", "sr", "sw")
#: Bounds of the log-SDs and of log SDs: wide of anything met, so that no fit runs away.
_LOG_SD_BOUNDS = (float(np.log(0.05)), float(np.log(2.0)))
#: SDs of the pull towards the defaults: of a log median, a log log-SD and the log slope SD. Far
#: wider than what a hundred animals leave open where they can tell at all.
_PULL_MEDIAN, _PULL_LOG_SD, _PULL_SLOPE = 0.7, 0.5, 0.5
#: Of the log odds of a group, of a group's centre in SDs of that group, and of the first visit.
_PULL_ODDS, _PULL_CENTRE, _PULL_FIRST = 1.0, 0.5, 1.0

Bounds = list[tuple[float | None, float | None]]


class Learned(Protocol):
    """Some parameters of the priors that are learned together."""

    @property
    def pull(self) -> Array:
        """SDs of the pull of each parameter towards its default; infinite for none."""

    @property
    def bounds(self) -> Bounds:
        """Bounds of each parameter."""

    @property
    def step(self) -> Array:
        """About how well a clinic of some dozens tells each: the unit that the search moves in."""

    def packed(self, priors: Priors) -> Array:
        """Return the parameters of some priors."""

    def unpacked(self, vector: Array, priors: Priors) -> Priors:
        """Return the priors with these parameters."""

    def score(self, fit: Posterior, columns: Columns, priors: Priors) -> Array:
        """Return one animal's gradient."""


def choices(priors: Priors, *, level: bool, groups: bool, first_visit: bool) -> list[Learned]:
    """Return what is learned, as the animals allow.

    Parameters
    ----------
    priors : Priors
        The defaults.
    level : bool
        Whether enough animals are untreated: their level then has no pull.
    groups : bool
        Whether enough are treated: the groups are then learned.
    first_visit : bool
        Whether enough have early sessions: the size of the first visit is then learned.
    """
    found: list[Learned] = [_Level(np.inf if level else 1.0, priors.level[1]), _Noise()]
    if groups and priors.groups is not None:
        found.append(_Groups(priors.groups))
    if first_visit and priors.first_visit is not None:
        found.append(_FirstVisit(priors.first_visit[1]))
    return found


class _Level:
    """Centre and log SD of an untreated animal's level."""

    def __init__(self, free: float, sd: float) -> None:
        self.pull = free * np.array([sd, _PULL_LOG_SD])
        self.bounds: Bounds = [(None, None), (0.0, 5.0)]
        self.step = np.array([sd / 8, 0.1])

    def packed(self, priors: Priors) -> Array:
        return np.array([priors.level[0], np.log(priors.level[1])])

    def unpacked(self, vector: Array, priors: Priors) -> Priors:
        level = (float(vector[0]), float(np.exp(vector[1])))
        # The groups stand beside the level that is learned.
        groups_before = priors.groups
        groups = (
            None
            if groups_before is None
            else replace(groups_before, beside=(level, priors.effect_sd))
        )
        return replace(priors, level=level, groups=groups)

    def score(self, fit: Posterior, columns: Columns, priors: Priors) -> Array:
        if len(columns.forms) > 1:
            return np.zeros(2)  # of the groups
        found = fit.combination(columns.unit("level"))
        centre, spread = priors.level
        off = (float(found.mean) - centre) / spread
        return np.array([off / spread, (float(found.sd) / spread) ** 2 + off**2 - 1])


class _Noise:
    """Log slope SD, and log median and log log-SD of the three noise SDs."""

    def __init__(self) -> None:
        self.pull = np.array([_PULL_SLOPE, *[_PULL_MEDIAN, _PULL_LOG_SD] * len(_NOISE)])
        least = float(np.log(LEAST_SLOPE_SD))
        self.bounds: Bounds = [(least, 3.0), *[(-4.0, 5.0), _LOG_SD_BOUNDS] * len(_NOISE)]
        self.step = np.full(self.pull.size, 0.1)

    def packed(self, priors: Priors) -> Array:
        noise = [value for name in _NOISE for value in np.log(getattr(priors, name))]
        return np.array([np.log(priors.slope_sd), *noise])

    def unpacked(self, vector: Array, priors: Priors) -> Priors:
        noise: dict[str, Any] = {
            name: (float(np.exp(vector[1 + 2 * i])), float(np.exp(vector[2 + 2 * i])))
            for i, name in enumerate(_NOISE)
        }
        return replace(priors, slope_sd=float(np.exp(vector[0])), **noise)

    def score(self, fit: Posterior, columns: Columns, priors: Priors) -> Array:
        slope = fit.combination(columns.unit("slope"))
        steep = (float(slope.sd) ** 2 + float(slope.mean) ** 2) / priors.slope_sd**2
        score = [steep - 1]
        noise = (fit.noise.visit[0, 0], fit.noise.reading[0, 0], fit.noise.wander[0])
        for name, variance in zip(_NOISE, noise, strict=True):
            median, log_sd = getattr(priors, name)
            z = (0.5 * np.log(variance) - np.log(median)) / log_sd
            score += [float(fit.weight @ z) / log_sd, float(fit.weight @ z**2) - 1]
        return np.array(score)


class _Groups:
    """Log odds of each group against the first, and the centres: usual, high, under the drug."""

    def __init__(self, groups: PriorGroups) -> None:
        self.high = [i for i, group in enumerate(groups.parts) if i > 0]
        under = [group.under_drug for group in groups.parts if group.under_drug is not None]
        sds = [groups.parts[0].level[1], groups.parts[1].level[1], under[0][1]]
        odds = len(groups.parts) - 1
        self.pull = np.array([_PULL_ODDS] * odds + [_PULL_CENTRE * sd for sd in sds])
        self.bounds: Bounds = [(-6.0, 6.0)] * odds + [(None, None)] * 3
        self.odds = odds
        self.step = np.array([0.3] * odds + [sd / 5 for sd in sds])

    def packed(self, priors: Priors) -> Array:
        parts = _groups_of(priors).parts
        weights = np.array([group.weight for group in parts])
        under = next(group.under_drug for group in parts if group.under_drug is not None)
        centres = [parts[0].level[0], parts[1].level[0], under[0]]
        return np.array([*np.log(weights[1:] / weights[0]), *centres])

    def unpacked(self, vector: Array, priors: Priors) -> Priors:
        groups = _groups_of(priors)
        odds = np.exp(np.concatenate([[0.0], vector[: self.odds]]))
        weights = odds / odds.sum()
        usual, high, under = (float(value) for value in vector[self.odds :])
        parts = tuple(
            replace(
                group,
                weight=float(weight),
                level=(usual if i == 0 else high, group.level[1]),
                under_drug=group.under_drug and (under, group.under_drug[1]),
            )
            for i, (group, weight) in enumerate(zip(groups.parts, weights, strict=True))
        )
        return replace(priors, groups=replace(groups, parts=parts))

    def score(self, fit: Posterior, columns: Columns, priors: Priors) -> Array:
        if len(columns.forms) == 1:
            return np.zeros(self.pull.size)
        parts, shares = _groups_of(priors).parts, fit.shares
        odds = shares - np.array([prior_group.weight for prior_group in parts])
        centres = np.zeros(3)
        first = [
            2 + i
            for i, role in enumerate(course_roles(columns.series.courses))
            if role.kind == "first"
        ]
        for i, (group, posterior) in enumerate(zip(parts, fit.parts, strict=True)):
            centre, sd = group.level
            off = _own_mean(posterior, 0) - centre
            centres[0 if i == 0 else 1] += shares[i] * off / sd**2
            if group.under_drug is not None:
                centre, sd = group.under_drug
                off = sum(_own_mean(posterior, term) - centre for term in first)
                centres[2] += shares[i] * off / sd**2
        return np.array([*odds[1:], *centres])


class _FirstVisit:
    """Mean and log SD of the first visit's excitement."""

    def __init__(self, sd: float) -> None:
        self.pull = _PULL_FIRST * np.array([sd, _PULL_LOG_SD])
        self.bounds: Bounds = [(-40.0, 80.0), (0.0, 4.0)]
        self.step = np.array([sd / 5, 0.2])

    def packed(self, priors: Priors) -> Array:
        mean, sd = priors.first_visit or (0.0, 1.0)
        return np.array([mean, np.log(sd)])

    def unpacked(self, vector: Array, priors: Priors) -> Priors:
        return replace(priors, first_visit=(float(vector[0]), float(np.exp(vector[1]))))

    def score(self, fit: Posterior, columns: Columns, priors: Priors) -> Array:
        if "first_visit" not in columns.terms or priors.first_visit is None:
            return np.zeros(2)
        found = fit.combination(columns.unit("first_visit"))
        mean, sd = priors.first_visit
        off = (float(found.mean) - mean) / sd
        return np.array([off / sd, (float(found.sd) / sd) ** 2 + off**2 - 1])


def _groups_of(priors: Priors) -> PriorGroups:
    if priors.groups is None:
        raise ValueError("these priors have no groups")
    return priors.groups


def _own_mean(posterior: Part, term: int) -> float:
    """Return the posterior mean of an own coefficient of a part."""
    natural = np.linalg.solve(posterior.transform.T, np.eye(posterior.prior_mean.size)[term])
    return float(posterior.combination(natural).mean)
