"""The posterior of one animal's trend: weighted noise nodes, and what is asked of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.maths.gaussian import Array, Batch, Noise, Path, coefficients, forward_solve, whiten
from bpvet.maths.mixture import Mixture
from bpvet.maths.quadrature import Nodes, NoisePrior, noise_at

#: Nodes that weigh less than this together with all lighter ones are left out of answers.
NEGLIGIBLE = 1e-11


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings of one animal say of its trend.

    Parameters
    ----------
    batch : Batch
        The animal's series, B = 1 and without padding.
    prior_mean : (p,)
        Prior means of the coefficients.
    weight : (K,)
        Posterior weights of the noise nodes, summing to 1.
    noise : Noise
        Noise variances at the nodes, B = 1.
    log_marginal : float
        Log marginal likelihood of all readings.
    """

    batch: Batch
    prior_mean: Array
    weight: Array
    noise: Noise
    log_marginal: float

    @cached_property
    def _fit(self) -> tuple[Array, Array, Path]:
        before = whiten(self.batch, self.noise, keep=True)
        after = whiten(self.batch, self.noise, keep=True, backwards=True)
        fit = coefficients(self.batch, self.noise.reading, before)
        path = Path(
            self.batch.day[:, 0],
            float(self.batch.wander_days[0]),
            self.noise.wander[0],
            before.mean[:, :, 0],
            after.mean[:, :, 0],
            before.share[:, 0],
            after.share[:, 0],
        )
        return fit.mean[:, 0], fit.root[:, :, 0], path

    def combination(self, vector: Array) -> Mixture:
        """Return the posterior of a linear combination of coefficients.

        Parameters
        ----------
        vector : (p,) or (T, p)
            Its weights.
        """
        vector = np.asarray(vector, dtype=float)
        rows = np.atleast_2d(vector)
        mean, root, _ = self._fit
        centre = rows @ mean + (rows @ self.prior_mean)[:, None]
        half = forward_solve(root, rows.T[:, :, None] * np.ones_like(self.weight))
        sd = np.sqrt(np.sum(half * half, axis=0))
        if vector.ndim == 1:
            centre, sd = centre[0], sd[0]
        return Mixture(self.weight, centre, sd)

    def usual(self, design: Array, day: Array) -> Mixture:
        """Return the usual pressure at dates, without visit noise.

        Parameters
        ----------
        design : (T, p)
            Rows of the design at the dates; first-visit and offset columns as asked.
        day : (T,)
            Days, on the series' scale.
        """
        mean, variance = self._usual(design, day)
        return Mixture(self.weight, mean, np.sqrt(variance))

    def session(self, design: Array, day: Array, readings: Array, group: int = 0) -> Mixture:
        """Return the mean of a session not seen yet: usual pressure, visit and reading noise.

        Parameters
        ----------
        design, day
            As in `usual`, the first-visit column filled for that visit.
        readings : (T,)
            Readings that the session's mean will rest on.
        group : int
            Its noise group.
        """
        mean, variance = self._usual(design, day)
        extra = self.noise.visit[group, 0] + self.noise.reading[group, 0] / readings[:, None]
        return Mixture(self.weight, mean, np.sqrt(variance + extra))

    def _usual(self, design: Array, day: Array) -> tuple[Array, Array]:
        mean, root, path = self._fit
        wander, variance = path.at(day)
        p = self.batch.terms
        left = design.T[:, :, None] - wander[:, :p].transpose(1, 0, 2)
        centre = (design @ self.prior_mean)[:, None] + wander[:, p]
        centre = centre + np.einsum("ptk,pk->tk", left, mean)
        half = forward_solve(root[:, :, None, :], left)
        return centre, variance + np.sum(half * half, axis=0)


def posterior_of(
    batch: Batch, prior: NoisePrior, prior_mean: Array, nodes: Nodes, animal: int
) -> Posterior:
    """Return one animal's posterior from a batch's nodes, padding and idle nodes removed.

    Parameters
    ----------
    batch, prior, nodes
        The batch and its integral.
    prior_mean : (p, B)
        Prior means of the coefficients.
    animal : int
        Position in the batch.
    """
    live = batch.live[:, animal]
    one = np.array([animal])
    taken = batch.take(one)
    used = terms_used(batch, animal)
    own = Batch(
        y=taken.y[live],
        x=taken.x[used][:, live],
        day=taken.day[live],
        k=taken.k[live],
        group=taken.group[live],
        live=taken.live[live],
        prior_sd=taken.prior_sd[used],
        wander_days=taken.wander_days,
        scatter_df=taken.scatter_df,
        scatter_ss=taken.scatter_ss,
        constant=taken.constant,
    )
    weight = nodes.weight[animal]
    keep = _heavy(weight)
    noise = noise_at(
        prior.take(one),
        nodes.log_sv[one][:, keep],
        nodes.log_sr[one][:, keep],
        nodes.log_sw[one][:, keep],
    )
    return Posterior(
        own,
        prior_mean[used, animal],
        weight[keep] / weight[keep].sum(),
        noise,
        float(nodes.log_marginal[animal]),
    )


def terms_used(batch: Batch, animal: int) -> NDArray[np.bool_]:
    """Return which coefficients are the animal's own, (p,): padded ones have nil columns and SD 1.

    A real column may be nil too (a course that starts after the latest session), so padding
    is told by its place: padded columns come last and have a prior SD of exactly one.
    """
    own = np.ones(batch.terms, dtype=bool)
    for i in reversed(range(batch.terms)):
        if batch.prior_sd[i, animal] == 1.0 and not np.any(batch.x[i, :, animal]):
            own[i] = False
        else:
            break
    return own


def _heavy(weight: Array) -> NDArray[np.bool_]:
    order = np.argsort(weight, kind="stable")
    light = np.cumsum(weight[order]) < NEGLIGIBLE
    keep = np.ones(weight.size, dtype=bool)
    keep[order[light]] = False
    return keep
