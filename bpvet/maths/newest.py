"""The usual pressure of many animals at once, at the newest session or later.

There only the past has anything to say, so one pass of the filter is enough, and
animals with equally many sessions and coefficients go through it side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from bpvet.maths.gaussian import (
    Array,
    Batch,
    Noise,
    backward_solve,
    carried,
    cholesky,
    cross_products,
    forward_solve,
    session_noise,
)
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Part, Posterior


def usual_at_newest(posteriors: Sequence[Posterior], design: Sequence[Array]) -> list[Mixture]:
    """Return what `Posterior.usual` gives at the newest session, of each animal.

    Parameters
    ----------
    posteriors : sequence of Posterior
        All with one number of sessions, of coefficients and of noise groups.
    design : sequence of (p,)
        For each the row of the design there; first-visit and offset columns as asked.
    """
    days = [float(posterior.parts[0].batch.day[-1, 0]) for posterior in posteriors]
    plain = _plain(posteriors)
    parts, rows, day = _flat(posteriors, plain, design, days)
    found: dict[int, Mixture] = {}
    if parts:
        centre, variance, _ = _ahead(parts, rows, day)
        found = _mixtures(posteriors, plain, centre, variance)
    return [
        found[i] if i in found else posterior.usual(design[i][None], np.array([days[i]])).first()
        for i, posterior in enumerate(posteriors)
    ]


def session_ahead(
    posteriors: Sequence[Posterior],
    design: Sequence[Array],
    day: Sequence[float],
    readings: Sequence[float],
    group: Sequence[int],
) -> list[Mixture]:
    """Return what `Posterior.session` gives on a day not before the newest session, of each animal.

    Parameters
    ----------
    posteriors, design
        As `usual_at_newest` takes them, the first-visit column filled for that visit.
    day : sequence of float
        On the scale of each series.
    readings : sequence of float
        Readings that the session's mean will rest on.
    group : sequence of int
        Its noise group.
    """
    plain = _plain(posteriors)
    parts, rows, days = _flat(posteriors, plain, design, day)
    found: dict[int, Mixture] = {}
    if parts:
        centre, variance, noise = _ahead(parts, rows, days)
        owner = [i for i in plain for _ in posteriors[i].parts]
        at, which = np.arange(len(parts)), np.array([group[i] for i in owner])
        count = np.array([readings[i] for i in owner], dtype=float)[:, None]
        extra = noise.visit[which, at] + noise.reading[which, at] / count
        found = _mixtures(posteriors, plain, centre, variance + extra)
    return [
        found[i]
        if i in found
        else posterior.session(
            design[i][None], np.array([day[i]]), np.array([readings[i]], dtype=float), group[i]
        ).first()
        for i, posterior in enumerate(posteriors)
    ]


def _plain(posteriors: Sequence[Posterior]) -> list[int]:
    """Return the places of those that hold no bound: the others are asked one by one."""
    return [
        i
        for i, posterior in enumerate(posteriors)
        if all(type(conditional) is Part for conditional in posterior.parts)
    ]


def _flat(
    posteriors: Sequence[Posterior],
    plain: Sequence[int],
    design: Sequence[Array],
    day: Sequence[float],
) -> tuple[list[Part], list[Array], list[float]]:
    """Return the parts of all, and of each the row in its own coefficients and the day."""
    pairs = [(conditional, i) for i in plain for conditional in posteriors[i].parts]
    rows = [design[i] @ conditional.transform for conditional, i in pairs]
    return [conditional for conditional, _ in pairs], rows, [day[i] for _, i in pairs]


def _ahead(
    parts: Sequence[Part], design: Sequence[Array], day: Sequence[float]
) -> tuple[Array, Array, Noise]:
    """Return centre and variance of the usual pressure, (B, K) each, and the noise padded to K."""
    nodes = max(conditional.weight.size for conditional in parts)
    batch = Batch(
        **{
            field.name: np.concatenate(
                [getattr(conditional.batch, field.name) for conditional in parts], axis=-1
            )
            for field in fields(Batch)
        }
    )
    noise = Noise(
        *(
            np.concatenate(
                [_padded(getattr(conditional.noise, name), nodes) for conditional in parts], axis=-2
            )
            for name in ("visit", "reading", "wander")
        )
    )
    gram, last, remaining = _past(batch, noise)
    p = batch.terms
    for i, inverse in enumerate(1 / batch.prior_sd**2):
        gram[i, i] += inverse[:, None]
    root = cholesky(gram[:p, :p])
    mean = backward_solve(root, forward_solve(root, gram[p, :p]))
    reach = np.exp(-(np.array(day) - batch.day[-1]) / batch.wander_days)[:, None]
    wander = last * reach
    share = remaining * reach**2 + (1 - reach**2)
    rows = np.array(design)
    left = rows.T[:, :, None] - wander[:p]
    prior = np.einsum("bp,bp->b", rows, np.array([conditional.prior_mean for conditional in parts]))
    centre = prior[:, None] + wander[p] + np.sum(left * mean, axis=0)
    half = forward_solve(root, left)
    return centre, noise.wander * share + np.sum(half * half, axis=0), noise


def _past(batch: Batch, noise: Noise) -> tuple[Array, Array, Array]:
    """Return what the filter leaves at the newest session of a batch without padding.

    The same as `bpvet.maths.gaussian.whiten` there, without the path that led to it and without
    the determinants, which only a likelihood asks for.

    Returns
    -------
    (p + 1, p + 1, B, K), (p + 1, B, K), (B, K)
        Cross-products of the whitened columns, lower triangle; filtered mean of the wander for
        every column, and its remaining share of sw².
    """
    columns = np.concatenate([batch.x, batch.y[None]])
    phi, variance = carried(batch.day, batch.wander_days), session_noise(batch, noise)
    mean = np.zeros((len(columns), *noise.wander.shape))
    share, error = np.ones(noise.wander.shape), np.empty_like(mean)
    scaled = np.empty((batch.sessions, *mean.shape))
    for j in range(batch.sessions):
        f = phi[j][:, None]
        share *= f * f
        share += 1 - f * f
        mean *= f
        before = noise.wander * share
        total = before + variance[j]
        np.subtract(columns[:, j, :, None], mean, out=error)
        np.divide(error, np.sqrt(total), out=scaled[j])
        share *= variance[j] / total
        error *= before / total
        mean += error
    return cross_products(scaled), mean, share


def _mixtures(
    posteriors: Sequence[Posterior], plain: Sequence[int], centre: Array, variance: Array
) -> dict[int, Mixture]:
    """Return the mixture of each posterior over its parts, by its place."""
    sd, at = np.sqrt(variance), 0
    found = {}
    for i in plain:
        sizes = [conditional.weight.size for conditional in posteriors[i].parts]
        rows = range(at, at + len(sizes))
        found[i] = Mixture(
            posteriors[i].weight,
            np.concatenate([centre[j, :size] for j, size in zip(rows, sizes, strict=True)]),
            np.concatenate([sd[j, :size] for j, size in zip(rows, sizes, strict=True)]),
        )
        at += len(sizes)
    return found


def _padded(values: Array, nodes: int) -> Array:
    """Return values (..., K) with their last node repeated up to so many."""
    count = values.shape[-1]
    if count == nodes:
        return values
    index = np.minimum(np.arange(nodes), count - 1)
    return values[..., index]
