"""The posterior of a series with readings beyond the gauge: one animal at a time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.frozen import replace
from bpvet.maths.bounds import Bounds
from bpvet.maths.censored import CensoredPart, evidence, integrate_bounded
from bpvet.maths.gaussian import Batch, Noise
from bpvet.maths.posterior import Part
from bpvet.maths.surface import NoisePrior, noise_at
from bpvet.models.trend.columns import Columns
from bpvet.visits.series import Series

#: Nodes that together weigh less than this are left out of answers.
_LIGHT = 1e-5
#: A form of the prior whose log evidence lies further below the best is only known roughly, and
#: weighs a few millionths at most.
_FAR = 12.0


def bounds_of(series: Series) -> Bounds:
    """Return the sessions of a series that hold a reading beyond the gauge."""
    bounded = [
        (i, readings) for i, readings in enumerate(series.beyond_by_session) if readings is not None
    ]
    distinct = [
        (index, limit, side, float(readings.limits.count((limit, side))))
        for index, (_, readings) in enumerate(bounded)
        for limit, side in sorted(set(readings.limits))
    ]
    of, limit, side, count = (
        np.array(column, dtype=float) for column in zip(*distinct, strict=True)
    )
    at = np.array([i for i, _ in bounded])
    return Bounds(
        at=at,
        guess=series.y[at],
        numbers=np.array([readings.numbers for _, readings in bounded], dtype=float),
        mean=np.array([readings.mean for _, readings in bounded]),
        of=of.astype(np.int64),
        limit=limit,
        side=side,
        count=count,
    )


def bounded_parts(
    series: Series,
    columns: Columns,
    batches: Sequence[Batch],
    prior: NoisePrior,
    fixed: Noise | None,
) -> list[Part]:
    """Return the part of one series under each form of its prior.

    Parameters
    ----------
    series, columns
        The series and its coefficients.
    batches : sequence of Batch
        The series alone, under each form of the prior.
    prior : NoisePrior
        Its noise priors.
    fixed : Noise or None
        Noise SDs held fixed.
    """
    bounds = bounds_of(series)
    if fixed is not None:
        whole = np.ones(1)
        return [
            _censored_part(
                columns, form, batch, bounds, whole, fixed, evidence(batch, bounds, fixed)[0, 0]
            )
            for form, batch in enumerate(batches)
        ]
    rough = [integrate_bounded(batch, prior, bounds, rough=True) for batch in batches]
    masses = [
        float(np.log(form.weight) + found.nodes.log_marginal[0])
        for form, found in zip(columns.forms, rough, strict=True)
    ]
    parts: list[Part] = []
    for form, (batch, found, mass) in enumerate(zip(batches, rough, masses, strict=True)):
        if bounds.bare.size > 1 and mass > max(masses) - _FAR:
            found = integrate_bounded(batch, prior, bounds)
        nodes = found.nodes
        keep = _heavy_nodes(nodes.weight[0])
        weight = nodes.weight[0, keep]
        noise = noise_at(prior, nodes.log_sv[:, keep], nodes.log_sr[:, keep], nodes.log_sw[:, keep])
        log_marginal = float(nodes.log_marginal[0])
        conditional = _censored_part(
            columns, form, batch, bounds, weight / weight.sum(), noise, log_marginal
        )
        parts.append(replace(conditional, layer=found.layer(keep)))
    return parts


def _heavy_nodes(weight: np.ndarray) -> np.ndarray:
    """Return the places of the nodes that weigh something, in their order."""
    order = np.argsort(weight, kind="stable")
    return np.sort(order[np.cumsum(weight[order]) >= _LIGHT])


def _censored_part(
    columns: Columns,
    form: int,
    batch: Batch,
    bounds: Bounds,
    weight: np.ndarray,
    noise: Noise,
    log_marginal: float,
) -> CensoredPart:
    form_prior = columns.forms[form]
    return CensoredPart(
        batch,
        form_prior.mean,
        form_prior.transform,
        weight,
        noise,
        float(log_marginal),
        form_prior.weight,
        bounds=bounds,
    )
