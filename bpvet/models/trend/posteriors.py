"""From series and their columns to posteriors, many animals in one pass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from numbers import Real

import numpy as np

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.frozen import replace
from bpvet.maths.gaussian import Array, Batch, Noise, coefficients, whiten
from bpvet.maths.posterior import Part, PartPrior, Posterior, parts_of
from bpvet.maths.quadrature import integrate
from bpvet.maths.surface import NoisePrior, noise_at
from bpvet.models.trend.columns import Columns, noise_groups
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
    parts = {
        i: Posterior(tuple(_bounded(animal_series, priors[i], columns[i], fixed)))
        for i, animal_series in enumerate(series)
        if animal_series.beyond is not None and animal_series.bounded
    }
    rest = [i for i in range(len(series)) if i not in parts]
    if rest:
        columns_left = [columns[i] for i in rest]
        found = _batched([series[i] for i in rest], [priors[i] for i in rest], columns_left, fixed)
        parts |= dict(zip(rest, found, strict=True))
    return [parts[i] for i in range(len(series))]


def _bounded(
    series: Series,
    priors: Sequence[Priors],
    columns: Columns,
    fixed: Mapping[str, float] | None,
) -> list[Part]:
    """Return the parts of a series with a reading beyond the gauge."""
    # Loaded where a reading lies beyond the gauge: four modules that few animals need.
    from bpvet.models.trend.bounded import bounded_parts

    batches = [batch_of([series], [columns], form) for form in range(len(columns.forms))]
    noise = None if fixed is None else fixed_noise(priors, fixed)
    return bounded_parts(series, columns, batches, noise_prior_of([priors]), noise)


def _batched(
    series: Sequence[Series],
    priors: Sequence[Sequence[Priors]],
    columns: Sequence[Columns],
    fixed: Mapping[str, float] | None,
) -> list[Posterior]:
    """Return the posteriors of series without a reading beyond the gauge, in one pass."""
    if fixed is not None:
        return [
            Posterior(
                tuple(
                    _at_fixed(animal_series, animal_columns, animal_priors, form, fixed)
                    for form in range(len(animal_columns.forms))
                )
            )
            for animal_series, animal_columns, animal_priors in zip(
                series, columns, priors, strict=True
            )
        ]
    prior, batch = noise_prior_of(priors), batch_of(series, columns)
    nodes = integrate(batch, prior)
    first = parts_of(batch, prior, nodes, [_part_prior(terms, 0) for terms in columns])
    # The other forms of all, side by side, begin with what the first forms found.
    rest = [
        (form, i)
        for form in range(1, max(len(terms.forms) for terms in columns))
        for i, terms in enumerate(columns)
        if len(terms.forms) > form
    ]
    if not rest:
        return [Posterior((conditional,)) for conditional in first]
    forms, at = [form for form, _ in rest], np.array([i for _, i in rest])
    again = [columns[i] for i in at]
    batch, prior = batch.take(at), prior.take(at)
    # What knows no prior is shared.
    y, x, prior_sd = _design([series[i] for i in at], again, forms, batch.x.shape[:2])
    batch = replace(batch, y=y, x=x, prior_sd=prior_sd)
    under = [_part_prior(terms, form) for terms, form in zip(again, forms, strict=True)]
    nodes = integrate(batch, prior, nodes.found.take(at))
    parts = [[conditional] for conditional in first]
    for i, conditional in zip(
        at, parts_of(batch, prior, nodes, under, [first[i] for i in at]), strict=True
    ):
        parts[i].append(conditional)
    return [Posterior(tuple(each)) for each in parts]


def _part_prior(columns: Columns, form: int) -> PartPrior:
    prior = columns.forms[form]
    return PartPrior(prior.mean, prior.transform, prior.weight)


def fixed_noise(priors: Sequence[Priors], sds: Mapping[str, float]) -> Noise:
    """Return the noise of one series with its SDs held at these values.

    Raises
    ------
    CallError
        Where one of the three is missing, not finite or not positive.
    """
    usable = set(sds) == {"sv", "sr", "sw"} and all(
        isinstance(value, Real) and 0 < value < np.inf for value in sds.values()
    )
    if not usable:
        raise CallError(
            f"noise SDs held fixed are three positive numbers, sv, sr and sw; not {dict(sds)!r}."
        )
    sv, sr, sw = (np.array([[np.log(sds[name])]]) for name in ("sv", "sr", "sw"))
    return noise_at(noise_prior_of([priors]), sv, sr, sw)


def _at_fixed(
    series: Series,
    columns: Columns,
    priors: Sequence[Priors],
    form: int,
    fixed: Mapping[str, float],
) -> Part:
    batch, prior_form = batch_of([series], [columns], form), columns.forms[form]
    noise = fixed_noise(priors, fixed)
    likelihood = coefficients(batch, noise.reading, whiten(batch, noise)).log_likelihood
    return Part(
        batch,
        prior_form.mean,
        prior_form.transform,
        np.ones(1),
        noise,
        float(likelihood[0, 0]),
        prior_form.weight,
    )


def batch_of(series: Sequence[Series], columns: Sequence[Columns], form: int = 0) -> Batch:
    """Return several series side by side, padded to the longest, under one form of their priors."""
    sizes = [animal_series.y.size for animal_series in series]
    terms, count = max(len(animal_columns.terms) for animal_columns in columns), max(sizes)
    y, x, prior_sd = _design(series, columns, [form] * len(columns), (terms, count))
    methods = [_places_of_methods(animal_series) for animal_series in series]
    k = _padded([animal_series.k for animal_series in series], count, 1.0)
    group = _padded([index for _, index in methods], count, 0.0).astype(np.int64)
    df, ss, constant = _scatter(series, k, group, max(groups for groups, _ in methods))
    return Batch(
        y=y,
        x=x,
        day=_padded([animal_columns.day for animal_columns in columns], count, 0.0),
        k=k,
        group=group,
        live=np.arange(count)[:, None] < np.array(sizes),
        prior_sd=prior_sd,
        wander_days=np.array([animal_columns.wander_days for animal_columns in columns]),
        scatter_df=df,
        scatter_ss=ss,
        constant=constant,
        used=np.array([len(animal_columns.terms) for animal_columns in columns]),
    )


def _places_of_methods(series: Series) -> tuple[int, np.ndarray]:
    """Return how many noise groups a series has, and which each session is of, (n,)."""
    methods = series.methods.tolist()
    if methods.count(series.method) == len(methods):
        return 1, np.zeros(len(methods), dtype=np.int64)
    groups = noise_groups(series)
    return len(groups), np.array([groups.index(method) for method in methods])


def _design(
    series: Sequence[Series],
    columns: Sequence[Columns],
    which: Sequence[int],
    shape: tuple[int, ...],
) -> tuple[Array, Array, Array]:
    """Return y, x and prior SDs of a batch, padded to `shape` (terms, sessions)."""
    terms, count = shape
    forms = [each.forms[form] for each, form in zip(columns, which, strict=True)]
    design = np.zeros((len(series), count, terms))
    transform, mean = np.zeros((len(series), terms, terms)), np.zeros((len(series), terms))
    for i, (each, prior) in enumerate(zip(columns, forms, strict=True)):
        natural, used = each.sessions(), prior.mean.size
        design[i, : natural.shape[0], :used] = natural
        transform[i, :used, :used] = prior.transform
        mean[i, :used] = prior.mean
    x = design @ transform
    y = (
        _padded([animal_series.y for animal_series in series], count, 0.0)
        - (x @ mean[:, :, None])[:, :, 0].T
    )
    sd = _padded([prior.sd for prior in forms], terms, 1.0)
    return y, np.ascontiguousarray(x.transpose(2, 1, 0)), sd


def noise_prior_of(priors: Sequence[Sequence[Priors]]) -> NoisePrior:
    """Return the noise priors of several series; missing groups repeat the first."""
    count = max(len(by_group) for by_group in priors)
    full = [[*by_group, *[by_group[0]] * (count - len(by_group))] for by_group in priors]

    def pairs(name: str) -> Array:
        values = [[getattr(priors, name) for priors in by_group] for by_group in full]
        array = np.array(values, dtype=np.float64)  # (B, G, 2)
        array[..., 0] = np.log(array[..., 0])
        return array.transpose(1, 2, 0)

    return NoisePrior(pairs("sv"), pairs("sr"), pairs("sw")[0])


def _scatter(
    series: Sequence[Series], k: Array, group: np.ndarray, groups: int
) -> tuple[Array, Array, Array]:
    """Return degrees of freedom and sums of squares within sessions by group, and −½ Σ log k."""
    count = k.shape[0]
    known = _padded([animal_series.scatter_known for animal_series in series], count, 0.0)
    freedom, squares = (
        known * (k - 1),
        known * _padded([animal_series.ss for animal_series in series], count, 0.0),
    )
    of_group = [group == i for i in range(groups)]
    df = np.array([np.sum(freedom, axis=0, where=where) for where in of_group])
    ss = np.array([np.sum(squares, axis=0, where=where) for where in of_group])
    constant = -0.5 * np.sum(known * np.log(k), axis=0)
    for i, animal_series in enumerate(series):
        if animal_series.beyond is None:
            continue
        for method, beyond in zip(
            group[:, i].tolist(), animal_series.beyond_by_session, strict=False
        ):
            # Of a session with a bound, the scatter of its numbers.
            if beyond is not None and beyond.ss is not None and beyond.numbers:
                df[method, i] += beyond.numbers - 1
                ss[method, i] += beyond.ss
                constant[i] -= 0.5 * np.log(beyond.numbers)
    return df, ss, constant


def _padded(parts: Sequence[np.ndarray], length: int, fill: float) -> Array:
    """Return columns (length, B), each part padded at its end."""
    out = np.full((length, len(parts)), fill, dtype=np.float64)
    for i, row in enumerate(parts):
        out[: row.size, i] = row
    return out
