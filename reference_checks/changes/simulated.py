"""Half the sessions at another site: what the column of a recorded change does to the answer.

Untreated animals of the own world of `reference_checks.coverage` with six sessions or more; half
of them, drawn among all but the latest, are at another site. Where the sites truly differ, by
N(0, 20²) an animal, an answer that ignores the site covers too rarely; where they do not, allowing
for it costs precision.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.visits.context import RECORDED
from bpvet.visits.series import Series
from reference_checks.coverage.measure import batches
from reference_checks.coverage.worlds import WORLDS, cat_priors, simulate

SEED = 20261
BLOCK = 250
SITES = ("foreleg", "tail")
DIFFERENCE_SD = 20.0
#: Fewest sessions of an animal.
LEAST = 6


@dataclass(frozen=True)
class Arm:
    """Cover of the usual pressure's 95 % interval and its error, with and without the column.

    Parameters
    ----------
    words : str
        What the sites truly do.
    animals : int
    cover, rmse : (float, float)
        Ignoring the site, and allowing for it; cover as a share, the error in mmHg.
    """

    words: str
    animals: int
    cover: tuple[float, float]
    rmse: tuple[float, float]


def measured(animals: int) -> list[Arm]:
    """Return both arms, `animals` untreated animals or a few more in each."""
    return [
        _arm("the sites differ by N(0, 20²)", DIFFERENCE_SD, animals),
        _arm("the sites read alike", 0.0, animals),
    ]


def _arm(words: str, sd: float, animals: int) -> Arm:
    found: list[np.ndarray] = []
    block = 0
    while sum(map(len, found)) < animals:
        found.append(_block(block, sd))
        block += 1
    rows = np.concatenate(found)
    inside = np.abs(rows[:, :2] - 0.5) <= 0.475
    cover = inside.mean(axis=0)
    rmse = np.sqrt((rows[:, 2:] ** 2).mean(axis=0))
    return Arm(words, len(rows), (cover[0], cover[1]), (rmse[0], rmse[1]))


def _block(block: int, sd: float) -> np.ndarray:
    """Return for each untreated animal P(below the truth) twice and the error twice."""
    priors = cat_priors()
    drawn = simulate(WORLDS[0], BLOCK, np.random.default_rng([SEED, block]))
    # One stream for both arms: they hold the same animals at the same sites.
    rng = np.random.default_rng([SEED, block, 1])
    moved, truth = [], []
    for i in np.flatnonzero((drawn.start < 0) & (drawn.live.sum(axis=1) >= LEAST)):
        series = drawn.series(int(i), priors.tau_of("none"))
        count = series.y.size
        other = np.zeros(count, dtype=bool)
        other[rng.permutation(count - 1)[: count // 2]] = True
        difference = sd * rng.standard_normal()
        moved.append(_at_sites(series, other, difference))
        truth.append(drawn.usual[i])
    found = np.zeros((len(moved), 4))
    ignoring = [replace(one, recorded=None) for one in moved]
    for place, held in enumerate((ignoring, moved)):
        for i, columns, posterior in _fitted(held, priors):
            usual = posterior.usual(columns.rows(np.zeros(1)), np.zeros(1)).first()
            found[i, place] = usual.below(truth[i])
            found[i, 2 + place] = usual.mean - truth[i]
    return found


def _at_sites(series: Series, other: np.ndarray, difference: float) -> Series:
    """Return the series with some sessions at the other site, which reads lower by so much."""
    recorded = np.full((series.y.size, len(RECORDED)), "", dtype="<U8")
    recorded[:, 0] = np.where(other, SITES[1], SITES[0])
    return replace(series, y=series.y - difference * other, recorded=recorded)


def _fitted(series: list[Series], priors: Priors) -> Iterator[tuple[int, Columns, Posterior]]:
    for rows in batches(series):
        own = [series[i] for i in rows]
        columns = [columns_of(one, priors) for one in own]
        yield from zip(rows, columns, posteriors(own, [(priors,)] * len(own), columns), strict=True)
