"""The usual pressure of many animals at once, at the newest session or later.

There only the past has anything to say, so one pass of the filter is enough, or one matrix product
where sessions have equally many readings; animals with equally many sessions and coefficients go
through it side by side.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import field_names
from bpvet.maths.gaussian import Array, Batch, Noise, carried, cross_products, session_noise
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Part, Posterior
from bpvet.maths.spectrum import correlations, even_counts, fits


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
    batch = Batch(
        **{
            field: np.concatenate(
                [getattr(conditional.batch, field) for conditional in parts], axis=-1
            )
            for field in field_names(Batch)
        }
    )
    noise = _noise(parts)
    columns = _columns(batch, noise, parts)
    rows, p = np.array(design), batch.terms
    reach = np.exp(-(np.array(day) - batch.day[-1]) / batch.wander_days)[:, None]
    for column, precision, row in zip(columns, 1 / batch.prior_sd**2, rows.T, strict=False):
        column[0] += precision[:, None]
        column[-1] *= -reach
        column[-1] += row[:, None]
    prior = np.array([conditional.prior_mean for conditional in parts])
    centre = np.sum(rows * prior, axis=1)[:, None] + columns[p][-1] * reach
    variance = noise.wander * (columns[p + 1][-1] * reach**2 + (1 - reach**2))
    # The coefficients are eliminated one after another: what each leaves is added to both.
    for j in range(p):
        column = columns[j]
        factor = column[1:] / column[0]
        for below in range(1, p - j):
            columns[j + below] -= factor[below - 1] * column[below:]
        centre += factor[-1] * column[-2]
        variance += factor[-1] * column[-1]
    return centre, variance, noise


def _noise(parts: Sequence[Part]) -> Noise:
    """Return the noise of all, (G, B, K) and (B, K); where one has fewer nodes it is 1."""
    groups, nodes = len(parts[0].noise.visit), max(each.weight.size for each in parts)
    every = np.ones((2 * groups + 1, len(parts), nodes))
    for row, conditional in enumerate(parts):
        noise, use = conditional.noise, (row, slice(conditional.weight.size))
        every[:groups, *use], every[groups:-1, *use] = noise.visit[:, 0], noise.reading[:, 0]
        every[-1, *use] = noise.wander[0]
    return Noise(every[:groups], every[groups:-1], every[-1])


def _columns(batch: Batch, noise: Noise, parts: Sequence[Part]) -> list[Array]:
    """Return what `_past` gives, by whichever way suits each part: no other has a say in it."""
    # The forms of one animal share its days, and stand beside each other.
    days = [conditional.batch.day for conditional in parts]
    new_days = np.array([i == 0 or days[i] is not days[i - 1] for i in range(len(days))])
    nodes = np.array([conditional.weight.size for conditional in parts])
    even = even_counts(batch) & fits(parts[0].batch)
    if even.all():
        return _even(batch, noise, new_days, nodes)
    if not even.any():
        return _past(batch, noise)
    first, rest = (
        (batch.take(at), Noise(noise.visit[:, at], noise.reading[:, at], noise.wander[at]), at)
        for at in (np.flatnonzero(even), np.flatnonzero(~even))
    )
    found = []
    pairs = zip(_even(*first[:2], new_days[even], nodes[even]), _past(*rest[:2]), strict=True)
    for of_even, of_rest in pairs:
        column = np.empty((len(of_even), *noise.wander.shape))
        column[:, even], column[:, ~even] = of_even, of_rest
        found.append(column)
    return found


def _past(batch: Batch, noise: Noise) -> list[Array]:
    """Return what the filter leaves at the newest session of a batch without padding.

    The same as `bpvet.maths.gaussian.whiten` there, without the path that led to it and without
    the determinants, which only a likelihood asks for.

    Returns
    -------
    list of (m, B, K)
        For each column of [X, y], from the diagonal down: cross-products of the whitened columns;
        and last the filtered mean of the wander. Then what remains of sw², (1, B, K).
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
    gram = cross_products(scaled)
    return [np.append(gram[j:, j], mean[j : j + 1], axis=0) for j in range(len(mean))] + [
        share[None]
    ]


def _even(
    batch: Batch, noise: Noise, new_days: NDArray[np.bool_], nodes: NDArray[np.int64]
) -> list[Array]:
    """Return the same as `_past` where the sessions of each series have equally many readings.

    The eigenvectors of the wander's correlations then diagonalise the covariance of the sessions
    at every node, so that a small matrix product does for a filter.

    Parameters
    ----------
    batch, noise
    new_days : (B,) bool
        Whether a series has other days than the one before it.
    nodes : (B,) int
        Noise nodes of each; whatever lies behind them is padding.
    """
    of = np.cumsum(new_days) - 1
    value, vector = np.linalg.eigh(correlations(batch.take(np.flatnonzero(new_days))))
    value, vector = np.maximum(value, 0.0)[of], vector[of]
    variance = session_noise(batch, noise)[0]
    inverse = value[:, :, None] * noise.wander[:, None]
    inverse += variance[:, None]
    np.divide(1.0, inverse, out=inverse)
    # In one piece, as of a single series: how numbers lie decides how they are summed.
    columns = np.ascontiguousarray(np.concatenate([batch.x, batch.y[None]]).transpose(2, 0, 1))
    # The newest session's column beside the others: its products are the wander there.
    last = vector[:, -1:]
    turned = np.concatenate([columns @ vector, last * value[:, None]], axis=1)
    across, rows = np.triu_indices(turned.shape[1])
    product = turned.take(rows, axis=1) * turned.take(across, axis=1)
    product[:, -1:] = last * last * value[:, None]
    found = np.zeros((rows.size, *noise.wander.shape))
    # A product each, as wide as its nodes: the last digit of one that is wider may be another's.
    for i, count in enumerate(nodes.tolist()):
        np.matmul(product[i], inverse[i, :, :count], out=found[:, i, :count])
    found[rows == rows[-1]] *= noise.wander
    found[-1] *= variance / noise.wander
    return np.split(found, np.flatnonzero(rows == across)[1:])


def _mixtures(
    posteriors: Sequence[Posterior], plain: Sequence[int], centre: Array, variance: Array
) -> dict[int, Mixture]:
    """Return the mixture of each posterior over its parts, by its place."""
    sizes = [[part.weight.size for part in posteriors[i].parts] for i in plain]
    used = np.arange(centre.shape[1]) < np.concatenate(sizes)[:, None]
    centres, sds = centre[used], np.sqrt(variance[used])
    found, at = {}, 0
    for i, of_parts in zip(plain, sizes, strict=True):
        rows = slice(at, at := at + sum(of_parts))
        # Copies, so that a mixture does not keep those of the others.
        found[i] = Mixture(posteriors[i].weight, centres[rows].copy(), sds[rows].copy())
    return found
