"""What fits say of simulated animals, held against the truth about them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.visits.series import Series
from reference_checks.coverage.animals import (
    DRUG,
    Animals,
    Array,
)
from reference_checks.coverage.worlds import NEXT_DAYS, NEXT_READINGS, World, simulate

ANSWERS = ("usual pressure", "next session", "slope", "full effect", "effect now")
LEVELS = (0.50, 0.80, 0.95)
SEED = 20251
#: Animals are drawn in blocks, so that a world's first animals do not hang on how many follow.
BLOCK = 500
_BATCH = 100


@dataclass(frozen=True, eq=False)
class Held:
    """Answers held against the truth, one row an animal, one column an answer of `ANSWERS`.

    Parameters
    ----------
    below : (N, 5)
        Posterior probability below the truth: an interval of level c covers where it lies
        between (1 − c)/2 and (1 + c)/2. NaN where the animal has no such answer.
    error : (N, 5)
        Posterior mean less truth.
    width : (N, 5)
        Length of the 95 % interval; NaN where it was not asked for.
    """

    below: Array
    error: Array
    width: Array


def held(world: World, block: int, animals: int, priors: Priors, *, widths: bool) -> Held:
    """Simulate a block of a world, fit every animal, and hold the answers against the truth.

    Parameters
    ----------
    world : World
    block : int
        Number of the block: the same world and number are the same animals, always.
    animals : int
        Animals in it.
    priors : Priors
        Priors of the fit.
    widths : bool
        Whether to find the ends of the intervals too: as much work again as the fit.
    """
    rng = np.random.default_rng([SEED, *world.key.encode(), block])
    drawn = simulate(world, animals, rng)
    truth = np.column_stack(
        [drawn.usual, drawn.to_come, drawn.slope, drawn.effect, drawn.effect_now]
    )
    below, mean, width = (np.full(truth.shape, np.nan) for _ in range(3))
    for animal, columns, posterior in fitted(drawn, priors):
        one = asked(columns, posterior)
        count = one.means.shape[0]
        below[animal, :count] = one.below(truth[animal, :count])
        mean[animal, :count] = one.mean
        if widths:
            low, high = one.interval(0.95)
            width[animal, :count] = high - low
    return Held(below, mean - truth, width)


def fitted(drawn: Animals, priors: Priors) -> Iterator[tuple[int, Columns, Posterior]]:
    """Fit the animals in batches of nearly one length, as whole clinics are fitted.

    Yields
    ------
    animal : int
        Row of the animal.
    columns, posterior
        Its coefficients and what its readings say.
    """
    series = [drawn.series(i, priors.tau_of(DRUG)) for i in range(len(drawn))]
    for rows in batches(series):
        own = [series[i] for i in rows]
        columns = [columns_of(one, priors) for one in own]
        yield from zip(rows, columns, posteriors(own, [(priors,)] * len(own), columns), strict=True)


def batches(series: list[Series]) -> Iterator[list[int]]:
    """Yield positions of series with equally many courses and nearly equally many sessions."""
    for courses in (0, 1):
        rows = [i for i, one in enumerate(series) if len(one.courses) == courses]
        rows.sort(key=lambda i: (series[i].y.size, i))
        for first in range(0, len(rows), _BATCH):
            yield rows[first : first + _BATCH]


def asked(columns: Columns, posterior: Posterior) -> Mixture:
    """Return the answers of one animal side by side, in the order of `ANSWERS`.

    The two of a course are left off where there is none.
    """
    usual = posterior.usual(columns.rows(np.zeros(1)), np.zeros(1))
    ahead, visit = np.array([float(NEXT_DAYS)]), columns.series.y.size
    to_come = posterior.session(
        columns.rows(ahead, visit=visit), ahead, np.array([float(NEXT_READINGS)])
    )
    vectors = [columns.unit("slope")]
    if columns.series.courses:
        effect = columns.unit(columns.course_term(0))
        vectors += [effect, effect * columns.rows(np.zeros(1))[0]]
    terms = posterior.combination(np.array(vectors))
    parts = (usual, to_come, terms)
    return Mixture(
        posterior.weight,
        np.concatenate([part.means for part in parts]),
        np.concatenate([part.sds for part in parts]),
    )
