"""Fits of the arms under many single components of a prior, of which any mixture is then made.

Under a mixture of normal priors the posterior is the mixture of the components' posteriors, each
weighted by its prior weight times its evidence. So every animal is fitted once a component, and a
prior with other weights costs a sum.
"""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.special import ndtr

from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.forms import PriorForm
from reference_checks.coverage.animals import DRUG, Array
from reference_checks.coverage.measure import batches
from reference_checks.trials.arms import GROUPS, Arm
from reference_checks.trials.drawing import animals_of
from reference_checks.trials.fitting import under_form
from reference_checks.trials.measure import ANSWERS, FALL, SEED, default_priors

_Pair = tuple[float, float]
#: Columns of what `under_form` answers, in the order of `ANSWERS`.
_ORDER = (3, 0, 1)


@dataclass(frozen=True)
class Component:
    """One normal prior of level and effect, with the excitement of first visits.

    Parameters
    ----------
    level : (float, float)
        Centre and SD of the untreated level, mmHg.
    effect : (float, float)
        Centre and SD of the full effect at a level of 0, mmHg.
    by_level : float
        What a mmHg of level adds to the effect: −1 where the pressure under the drug does not
        depend on the level, and `effect` is then that pressure.
    first : (float, float) or None
        Centre and SD of the excitement; None: the default's.
    visit_lsd : float
        Log-SD of a factor on the visit SD that clinics differ by.
    """

    level: _Pair
    effect: _Pair
    by_level: float = 0.0
    first: _Pair | None = None
    visit_lsd: float = 0.0

    @property
    def nothing(self) -> bool:
        """Whether its drug does nothing."""
        return self.effect[0] == self.by_level == 0 and self.effect[1] < 1

    @property
    def words(self) -> str:
        """What the table prints."""
        level = f"level {self.level[0]:.0f} ± {self.level[1]:.0f}"
        told = f"{self.effect[0]:.0f} ± {self.effect[1]:g}".replace("-", "−")
        if self.by_level == -1.0:
            return f"{level}, {told} under the drug"
        return f"{level}, effect {told}"


def of_group(level: _Pair, effect_sd: float | None, under: _Pair | None) -> Component:
    """Return a group as `PriorGroup` states it."""
    if under is not None:
        return Component(level, under, by_level=-1.0)
    return Component(level, (0.0, float(effect_sd or 0.0)))


DEFAULT = tuple(of_group(level, effect, under) for _, level, effect, under in GROUPS)
DEFAULT_WEIGHTS = np.array([weight for weight, *_ in GROUPS])


@dataclass(frozen=True, eq=False)
class Fits:
    """N animals of an arm under K components.

    Parameters
    ----------
    log_evidence : (N, K)
        Log evidence of each component, up to a constant of the animal.
    mean : (N, K)
        Posterior mean of the full effect, mmHg.
    fall : (N, K)
        Posterior probability that the full effect is at or below −10.
    below : (N, K, 3)
        Posterior probability below the truth, of `ANSWERS`.
    effect : (N,)
        The true full effect, mmHg.
    """

    log_evidence: Array
    mean: Array
    fall: Array
    below: Array
    effect: Array

    def shares(self, weights: Array) -> Array:
        """Return each component's posterior probability, (N, K)."""
        with np.errstate(divide="ignore"):
            mass = self.log_evidence + np.log(weights)
        mass = np.exp(mass - mass.max(axis=1, keepdims=True))
        return np.asarray(mass / mass.sum(axis=1, keepdims=True))

    def only(self, chosen: Sequence[int]) -> Fits:
        """Return the same of some components."""
        k = list(chosen)
        return Fits(
            self.log_evidence[:, k], self.mean[:, k], self.fall[:, k], self.below[:, k], self.effect
        )


def joined(parts: Sequence[Fits]) -> Fits:
    """Return blocks of one arm together."""
    names = ("log_evidence", "mean", "fall", "below", "effect")
    return Fits(*(np.concatenate([getattr(one, name) for one in parts]) for name in names))


def fits(
    arm: Arm, block: int, animals: int, components: Sequence[Component], keep: Path | None = None
) -> Fits:
    """Draw a block of an arm as `measure.held` does, and fit it under every component.

    Parameters
    ----------
    arm : Arm
    block, animals : int
        Number of the block, and animals in it.
    components : sequence of Component
    keep : Path or None
        A folder from which a block that is there is taken.
    """
    place = keep / f"{arm.key}_{block}_{animals}_{len(components)}.pickle" if keep else None
    if place is not None and place.exists():
        kept, found = pickle.loads(place.read_bytes())
        if kept == tuple(components):
            return found
    made = _fits(arm, block, animals, components)
    if place is not None:
        place.write_bytes(pickle.dumps((tuple(components), made)))
    return made


def _fits(arm: Arm, block: int, animals: int, components: Sequence[Component]) -> Fits:
    rng = np.random.default_rng([SEED, *arm.key.encode(), block])
    drawn = animals_of(arm, animals, rng)
    priors = default_priors()
    series = [drawn.series(i, priors.tau_of(DRUG)) for i in range(len(drawn))]
    truth = np.column_stack([drawn.effect, drawn.usual, drawn.to_come])
    shape = (len(drawn), len(components))
    mass, mean, fall = np.empty(shape), np.empty(shape), np.empty(shape)
    below = np.empty((*shape, len(ANSWERS)))
    for rows in batches(series):
        own = [series[i] for i in rows]
        columns = [columns_of(one, priors) for one in own]
        for k, component in enumerate(components):
            noise = (priors.sv[0], float(np.hypot(priors.sv[1], component.visit_lsd)))
            changed = [_under(one, component) for one in columns]
            told, log_mass, weight = under_form(own, replace(priors, sv=noise), changed, 0)
            mass[rows, k] = log_mass
            for answer, place in enumerate(_ORDER):
                means, sds = told[place]
                at = (truth[rows, answer][:, None] - means) / sds
                below[rows, k, answer] = np.sum(weight * ndtr(at), axis=1)
            means, sds = told[_ORDER[0]]
            mean[rows, k] = np.sum(weight * means, axis=1)
            fall[rows, k] = np.sum(weight * ndtr((FALL - means) / sds), axis=1)
    return Fits(mass - mass.max(axis=1, keepdims=True), mean, fall, below, drawn.effect.copy())


def _under(columns: Columns, component: Component) -> Columns:
    """Return columns whose prior is one component."""
    form = columns.forms[0]
    course = columns.terms.index(columns.course_term(0))
    mean, sd, transform = form.mean.copy(), form.sd.copy(), np.eye(form.mean.size)
    mean[0], sd[0] = component.level
    mean[course], sd[course] = component.effect
    transform[course, 0] = component.by_level
    if component.first is not None and "first_visit" in columns.terms:
        place = columns.terms.index("first_visit")
        mean[place], sd[place] = component.first
    return replace(columns, forms=(PriorForm(1.0, transform, mean, sd),))
