"""From series and their columns to posteriors, many animals in one pass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bpvet.errors import CallError
from bpvet.facts.priors import Priors
from bpvet.maths.gaussian import Array, Batch, Noise, coefficients, whiten
from bpvet.maths.posterior import Posterior, posterior_of
from bpvet.maths.quadrature import NoisePrior, integrate, noise_at
from bpvet.models.columns import Columns, noise_groups
from bpvet.visits.series import Series


def posteriors(
    series: Sequence[Series],
    priors: Sequence[Sequence[Priors]],
    columns: Sequence[Columns],
    fixed: Mapping[str, float] | None = None,
) -> list[Posterior]:
    """Return the posterior of each series.

    Parameters
    ----------
    series, columns : sequences of one length
        Series and their coefficients.
    priors : sequence of the same length
        For each series, the priors of each of its noise groups (`noise_groups`).
    fixed : mapping or None
        Noise SDs held fixed: ``sv``, ``sr`` and ``sw``, all three.
    """
    batch = batch_of(series, columns)
    prior = noise_prior_of(priors)
    prior_mean = _padded([one.prior_mean for one in columns], batch.terms, 0.0)
    if fixed is None:
        nodes = integrate(batch, prior)
        return [posterior_of(batch, prior, prior_mean, nodes, i) for i in range(len(series))]
    return [
        _at_fixed(one, own, held, fixed)
        for one, own, held in zip(series, columns, priors, strict=True)
    ]


def fixed_noise(priors: Sequence[Priors], sds: Mapping[str, float]) -> Noise:
    """Return the noise of one series with its SDs held at these values.

    Raises
    ------
    CallError
        Where one of the three is missing or not positive.
    """
    if set(sds) != {"sv", "sr", "sw"} or not all(value > 0 for value in sds.values()):
        raise CallError(
            f"noise SDs held fixed are three positive numbers, sv, sr and sw; not {dict(sds)!r}."
        )
    sv, sr, sw = (np.array([[np.log(sds[name])]]) for name in ("sv", "sr", "sw"))
    return noise_at(noise_prior_of([priors]), sv, sr, sw)


def _at_fixed(
    series: Series, columns: Columns, priors: Sequence[Priors], fixed: Mapping[str, float]
) -> Posterior:
    batch = batch_of([series], [columns])
    noise = fixed_noise(priors, fixed)
    likelihood = coefficients(batch, noise.reading, whiten(batch, noise)).log_likelihood
    return Posterior(batch, columns.prior_mean, np.ones(1), noise, float(likelihood[0, 0]))


def batch_of(series: Sequence[Series], columns: Sequence[Columns]) -> Batch:
    """Return several series side by side, padded to the longest."""
    count = max(one.y.size for one in series)
    terms = max(len(one.terms) for one in columns)
    designs = [one.sessions() for one in columns]
    left = [
        one.y - design @ own.prior_mean
        for one, design, own in zip(series, designs, columns, strict=True)
    ]
    x = np.zeros((terms, count, len(series)))
    for i, design in enumerate(designs):
        x[: design.shape[1], : design.shape[0], i] = design.T
    groups = [noise_groups(one) for one in series]
    index = [
        np.array([held.index(method) for method in one.methods.tolist()])
        for one, held in zip(series, groups, strict=True)
    ]
    df, ss, constant = _scatter(series, index, max(len(held) for held in groups))
    live = np.arange(count)[:, None] < np.array([one.y.size for one in series])
    return Batch(
        y=_padded(left, count, 0.0),
        x=x,
        day=_padded([own.day for own in columns], count, 0.0),
        k=_padded([one.k for one in series], count, 1.0),
        group=_padded(index, count, 0).astype(np.int64),
        live=live,
        prior_sd=_padded([own.prior_sd for own in columns], terms, 1.0),
        wander_days=np.array([own.wander_days for own in columns]),
        scatter_df=df,
        scatter_ss=ss,
        constant=constant,
    )


def noise_prior_of(priors: Sequence[Sequence[Priors]]) -> NoisePrior:
    """Return the noise priors of several series; missing groups repeat the first."""
    count = max(len(held) for held in priors)
    full = [[*held, *[held[0]] * (count - len(held))] for held in priors]

    def pairs(name: str) -> Array:
        values = [[getattr(one, name) for one in held] for held in full]
        array = np.array(values, dtype=np.float64)  # (B, G, 2)
        array[..., 0] = np.log(array[..., 0])
        return array.transpose(1, 2, 0)

    return NoisePrior(pairs("sv"), pairs("sr"), pairs("sw")[0])


def _scatter(
    series: Sequence[Series], index: Sequence[np.ndarray], groups: int
) -> tuple[Array, Array, Array]:
    """Return degrees of freedom and sums of squares within sessions by group, and −½ Σ log k."""
    df, ss = np.zeros((groups, len(series))), np.zeros((groups, len(series)))
    constant = np.zeros(len(series))
    for i, (one, held) in enumerate(zip(series, index, strict=True)):
        known = one.scatter_known
        df[:, i] = np.bincount(held[known], one.k[known] - 1, groups)
        ss[:, i] = np.bincount(held[known], one.ss[known], groups)
        constant[i] = -0.5 * np.sum(np.log(one.k[known]))
    return df, ss, constant


def _padded(parts: Sequence[np.ndarray], length: int, fill: float) -> Array:
    """Return columns (length, B), each part padded at its end."""
    out = np.full((length, len(parts)), fill, dtype=np.float64)
    for i, part in enumerate(parts):
        out[: part.size, i] = part
    return out
