"""The posterior of one animal's trend: weighted noise nodes, and what is asked of them.

Under one normal prior of the coefficients it is a `Part`; a `Posterior` is a mixture of parts.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.gaps import usual_by_gaps
from bpvet.maths.gaussian import Array, Batch, Noise, Path, coefficients, forward_solve, whiten
from bpvet.maths.mixture import Mixture
from bpvet.maths.quadrature import Nodes
from bpvet.maths.surface import NoisePrior, noise_at

#: Nodes that weigh less than this together with all lighter ones are left out of answers.
NEGLIGIBLE = 1e-11
#: Dates that are asked for at once.
_DATES = 64
#: From so many dates a session on, those are many.
_MANY = 2


@dataclass(frozen=True, eq=False)
class Part:
    """What the readings of one animal say of its trend under one normal prior.

    Parameters
    ----------
    batch : Batch
        The animal's series, B = 1 and without padding, in the prior's own coefficients.
    prior_mean : (p,)
        Prior means of the own coefficients.
    transform : (p, p)
        The natural coefficients, in which everything is asked, from the own ones.
    weight : (K,)
        Posterior weights of the noise nodes, summing to 1.
    noise : Noise
        Noise variances at the nodes, B = 1.
    log_marginal : float
        Log marginal likelihood of all readings under this prior.
    prior_weight : float
        Weight of this prior among those of the animal.
    """

    batch: Batch
    prior_mean: Array
    transform: Array
    weight: Array
    noise: Noise
    log_marginal: float
    prior_weight: float = 1.0

    @cached_property
    def _fit(self) -> tuple[Array, Array, Path]:
        before = whiten(self.batch, self.noise, keep=True)
        fit = coefficients(self.batch, self.noise.reading, before)
        path = Path(self.batch, self.noise, before.mean[:, :, 0], before.share[:, 0])
        return fit.mean[:, 0], fit.root[:, :, 0], path

    @property
    def plain(self) -> Part:
        """The part as normal sessions alone tell it: itself."""
        return self

    def log_likelihood(self, noise: Noise) -> float:
        """Return the log-likelihood of all readings at one node of the noise SDs, B = K = 1."""
        fit = coefficients(self.batch, noise.reading, whiten(self.batch, noise))
        return float(fit.log_likelihood[0, 0])

    def combination(self, vector: Array) -> Mixture:
        """Return the posterior of a linear combination of coefficients.

        Parameters
        ----------
        vector : (p,) or (T, p)
            Its weights.
        """
        vector = np.asarray(vector, dtype=float)
        rows = np.atleast_2d(vector) @ self.transform
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
        design = design @ self.transform
        if len(day) > _DATES and bool(np.all(day[1:] >= day[:-1])):
            mean, root, path = self._fit
            centre, variance = usual_by_gaps(path, mean, root, design, day)
            centre += (design @ self.prior_mean)[:, None]
            return centre, variance
        # A few dates at a time: each takes an array of coefficients by nodes, more than once.
        cuts = range(_DATES, len(day), _DATES)
        of = self._usual_of_many if len(day) > _MANY * self.batch.sessions else self._usual_of
        found = [
            of(*some) for some in zip(np.split(design, cuts), np.split(day, cuts), strict=True)
        ]
        centre, variance = (np.concatenate(blocks) for blocks in zip(*found, strict=True))
        return centre, variance

    def _usual_of(self, design: Array, day: Array) -> tuple[Array, Array]:
        """Return means and variances (T, K) for dates; `design` is of the own coefficients."""
        mean, root, path = self._fit
        wander, variance = path.at(day)
        p = self.batch.terms
        left = design.T[:, :, None] - wander[:, :p].transpose(1, 0, 2)
        centre = (design @ self.prior_mean)[:, None] + wander[:, p]
        centre += np.einsum("ptk,pk->tk", left, mean)
        half = forward_solve(root[:, :, None, :], left)
        half *= half
        variance += np.sum(half, axis=0)
        return centre, variance

    def _usual_of_many(self, design: Array, day: Array) -> tuple[Array, Array]:
        """Return the same where dates are many beside sessions: of those it is solved once."""
        mean, _, path = self._fit
        inverse, solved = self._by_session
        sides, variance = path.sides(day)
        centre = (design @ self.prior_mean)[:, None] + design @ mean
        half = design @ inverse
        for (session, weight), (columns, rest) in zip(sides, solved, strict=False):
            centre += weight * rest[session]
            for row, column in zip(half, columns, strict=True):
                row -= weight * column[session]
        half *= half
        variance += np.sum(half, axis=0)
        return centre, variance

    @cached_property
    def _by_session(self) -> tuple[Array, tuple[tuple[Array, Array], ...]]:
        """What dates take of the sessions before and after them, once for all dates.

        Returns
        -------
        inverse : (p, p, K)
            Of the root of the coefficients' precision.
        solved : two of (p, N, K) and (N, K)
            Of the session before and of that after: the wander's columns of X solved by the root,
            and that of y less what the coefficients' means make of those.
        """
        mean, root, path = self._fit
        p, solved = self.batch.terms, []
        unit = np.eye(p)[:, :, None] * np.ones_like(self.weight)
        for wander in (path.before_mean, path.after[0]):
            columns = wander[:, :p].transpose(1, 0, 2)
            rest = wander[:, p] - np.einsum("pnk,pk->nk", columns, mean)
            solved.append((forward_solve(root[:, :, None, :], columns), rest))
        return forward_solve(root[:, :, None, :], unit), tuple(solved)


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings of one animal say of its trend: a mixture over the forms of its prior.

    Parameters
    ----------
    parts : tuple of Part
        One for each form of the prior.
    """

    parts: tuple[Part, ...]

    @cached_property
    def plain(self) -> Posterior:
        """The same with readings beyond the gauge as normal pseudo-sessions.

        Near enough for what is planned; without such readings it is the posterior itself.
        """
        plain = tuple(form.plain for form in self.parts)
        return self if plain == self.parts else Posterior(plain)

    @cached_property
    def shares(self) -> Array:
        """(G,) posterior weights of the parts, summing to 1."""
        if len(self.parts) == 1:
            return np.ones(1)
        return np.exp(self._log_masses - self.log_marginal)

    @property
    def _log_masses(self) -> Array:
        return np.array(
            [
                np.log(conditional.prior_weight) + conditional.log_marginal
                for conditional in self.parts
            ]
        )

    @cached_property
    def log_marginal(self) -> float:
        """Log marginal likelihood of all readings."""
        if len(self.parts) == 1:
            return self.parts[0].log_marginal
        # Of three numbers: the library's own takes longer than all the rest of this.
        masses = self._log_masses
        highest = masses.max()
        return float(highest + np.log(np.exp(masses - highest).sum()))

    @cached_property
    def weight(self) -> Array:
        """(K,) posterior weights of the noise nodes of all parts, summing to 1."""
        return np.concatenate(
            [
                share * conditional.weight
                for share, conditional in zip(self.shares, self.parts, strict=True)
            ]
        )

    @cached_property
    def noise(self) -> Noise:
        """Noise variances at the nodes of all parts, B = 1."""
        noises = [conditional.noise for conditional in self.parts]
        return Noise(
            np.concatenate([conditional.visit for conditional in noises], axis=-1),
            np.concatenate([conditional.reading for conditional in noises], axis=-1),
            np.concatenate([conditional.wander for conditional in noises], axis=-1),
        )

    def combination(self, vector: Array) -> Mixture:
        """Return the posterior of a linear combination of natural coefficients.

        Parameters
        ----------
        vector : (p,) or (T, p)
            Its weights.
        """
        return self._joined([conditional.combination(vector) for conditional in self.parts])

    def usual(self, design: Array, day: Array) -> Mixture:
        """Return the usual pressure at dates, without visit noise; arguments as in `Part.usual`."""
        return self._joined([conditional.usual(design, day) for conditional in self.parts])

    def session(self, design: Array, day: Array, readings: Array, group: int = 0) -> Mixture:
        """Return the mean of a session not seen yet; arguments as in `Part.session`."""
        return self._joined(
            [conditional.session(design, day, readings, group) for conditional in self.parts]
        )

    def _joined(self, found: list[Mixture]) -> Mixture:
        if len(found) == 1:
            return found[0]
        return Mixture(
            np.concatenate(
                [share * mixture.weights for share, mixture in zip(self.shares, found, strict=True)]
            ),
            np.concatenate([mixture.means for mixture in found], axis=-1),
            np.concatenate([mixture.sds for mixture in found], axis=-1),
        )


@dataclass(frozen=True, eq=False)
class PartPrior:
    """One normal prior of an animal's coefficients.

    Parameters
    ----------
    mean : (p,)
        Prior means of the own coefficients.
    transform : (p, p)
        The natural coefficients from the own ones.
    weight : float
        Its weight among those of the animal.
    """

    mean: Array
    transform: Array
    weight: float = 1.0


def parts_of(
    batch: Batch,
    prior: NoisePrior,
    nodes: Nodes,
    priors: Sequence[PartPrior],
    like: Sequence[Part] = (),
) -> list[Part]:
    """Return every animal's part from a batch's nodes, padding and idle nodes removed.

    Parameters
    ----------
    batch, prior, nodes
        The batch and its integral.
    priors : sequence of PartPrior
        The prior of each animal.
    like : sequence of Part, or none
        The part of each animal under another prior: what both hold of its sessions is shared.
    """
    noise = noise_at(prior, nodes.log_sv, nodes.log_sr, nodes.log_sw)
    heavy = _heavy(nodes.weight)
    groups = noise.visit.shape[0]
    # The heavy nodes of all animals one after another, visit, reading, wander and weight as rows.
    every = np.concatenate([noise.visit, noise.reading, noise.wander[None], nodes.weight[None]])
    flat, count = (
        every.reshape(len(every), -1).take(np.flatnonzero(heavy), axis=1),
        heavy.sum(axis=1),
    )
    stop = np.cumsum(count)
    flat[-1] /= np.repeat(np.add.reduceat(flat[-1], stop - count), count)
    packed, log_marginal = _Packed.of(batch), nodes.log_marginal.tolist()
    found = []
    for animal, (prior_of, first, last) in enumerate(
        zip(priors, (stop - count).tolist(), stop.tolist(), strict=True)
    ):
        # A copy, so that a part does not keep its whole batch.
        rows = flat[:, first:last].copy()
        found.append(
            Part(
                packed.under_another(animal, like[animal].batch) if like else packed.alone(animal),
                prior_of.mean,
                prior_of.transform,
                rows[-1],
                Noise(rows[:groups, None], rows[groups : 2 * groups, None], rows[-2:-1]),
                log_marginal[animal],
                prior_of.weight,
            )
        )
    return found


@dataclass(frozen=True, eq=False)
class _Packed:
    """A batch with what is taken out of it for each animal side by side: one copy a kind.

    Parameters
    ----------
    batch : Batch
    by_session : (B, 3 + p, N)
        Days, readings, y and the columns of the design.
    by_animal : (B, 2 + 2 G + p)
        Time constant, constant, degrees of freedom, sums of squares and prior SDs.
    sessions, used : list of int
        Sessions and coefficients of each.
    alike : dict
        By sessions, what animals of one noise group share: their groups, and that all are live.
    """

    batch: Batch
    by_session: Array
    by_animal: Array
    sessions: list[int]
    used: list[int]
    alike: dict[int, tuple[NDArray[np.int64], NDArray[np.bool_]]]

    @classmethod
    def of(cls, batch: Batch) -> _Packed:
        """Return a batch packed."""
        by_session = np.concatenate([[batch.day, batch.k, batch.y], batch.x])
        constants = [batch.wander_days[None], batch.constant[None]]
        by_animal = np.concatenate([*constants, batch.scatter_df, batch.scatter_ss, batch.prior_sd])
        sessions = batch.live.sum(axis=0).tolist()
        packed = np.ascontiguousarray(by_session.transpose(2, 0, 1))
        return cls(batch, packed, by_animal.T.copy(), sessions, batch.used.tolist(), {})

    def alone(self, animal: int) -> Batch:
        """Return one animal without padding (it comes last)."""
        sessions, used, groups = (
            self.sessions[animal],
            self.used[animal],
            len(self.batch.scatter_df),
        )
        known = self.by_session[animal, : 3 + used, :sessions, None].copy()
        numbers = self.by_animal[animal, : 2 + 2 * groups + used].copy()
        group, live = self._grouped(animal, sessions)
        return Batch(
            y=known[2],
            x=known[3:],
            day=known[0],
            k=known[1],
            group=group,
            live=live,
            prior_sd=numbers[2 + 2 * groups :, None],
            wander_days=numbers[:1],
            scatter_df=numbers[2 : 2 + groups, None],
            scatter_ss=numbers[2 + groups : 2 + 2 * groups, None],
            constant=numbers[1:2],
            used=self.batch.used[animal : animal + 1],
        )

    def _grouped(self, animal: int, sessions: int) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        if len(self.batch.scatter_df) > 1:
            group = self.batch.group[:sessions, animal : animal + 1].copy()
            return group, np.ones((sessions, 1), dtype=bool)
        if sessions not in self.alike:
            group, live = (
                np.zeros((sessions, 1), dtype=np.int64),
                np.ones((sessions, 1), dtype=bool),
            )
            self.alike[sessions] = group, live
        return self.alike[sessions]

    def under_another(self, animal: int, like: Batch) -> Batch:
        """Return one animal under another prior: of `like` what knows no prior."""
        sessions, used = self.sessions[animal], self.used[animal]
        known = self.by_session[animal, 2 : 3 + used, :sessions, None].copy()
        first = 2 + 2 * len(self.batch.scatter_df)
        return Batch(
            y=known[0],
            x=known[1:],
            day=like.day,
            k=like.k,
            group=like.group,
            live=like.live,
            prior_sd=self.by_animal[animal, first : first + used, None].copy(),
            wander_days=like.wander_days,
            scatter_df=like.scatter_df,
            scatter_ss=like.scatter_ss,
            constant=like.constant,
            used=like.used,
        )


def _heavy(weight: Array) -> NDArray[np.bool_]:
    """Return which nodes of each animal (B, K) weigh something."""
    # Whatever weighs as much by itself is heavy: only the others are put in order.
    small = weight < NEGLIGIBLE
    count = np.count_nonzero(small, axis=1)
    ordered = np.full((len(weight), count.max() + 1), NEGLIGIBLE)
    ordered[np.arange(ordered.shape[1]) < count[:, None]] = weight[small]
    ordered.sort(axis=1)
    light = np.count_nonzero(np.cumsum(ordered, axis=1) < NEGLIGIBLE, axis=1)
    return np.asarray(weight >= np.take_along_axis(ordered, light[:, None], axis=1))
