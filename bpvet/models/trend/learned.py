"""How much of a drug's effect the readings have told, and how much is assumption."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field, field_names, replace
from bpvet.maths.gaussian import Array
from bpvet.models.trend.columns import Columns, noise_groups
from bpvet.models.trend.effects import Treatment
from bpvet.models.trend.fit import subset
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.trend import Trend


@dataclass(frozen=True, eq=False)
class EarlyColumns(Columns):
    """The coefficients of a whole trend, with its t0 and prior, at some of its sessions.

    Parameters
    ----------
    whole : Columns
        Those of the whole trend.
    kept : (n,) bool
        The sessions.
    """

    whole: Columns = field(kw_only=True)
    kept: NDArray[np.bool_] = field(kw_only=True)

    @property
    def day(self) -> Array:
        """Days of the kept sessions from the t0 of the whole trend."""
        return self.whole.day[self.kept]

    def sessions(self) -> Array:
        """Return the design of the kept sessions."""
        return self.whole.sessions()[self.kept]


def told_by_readings(trend: Trend) -> tuple[float, ...]:
    """Return for each treatment the share of its effect's variance that the readings removed.

    1 − Var(full effect given all sessions) / Var(full effect given the sessions up to and
    including the day of its start), under the prior and the t0 of the whole record; without
    such a session the latter is the prior's.

    Parameters
    ----------
    trend : Trend

    Returns
    -------
    tuple of float
        In the order of `Trend.treatments`.
    """
    if not trend.treatments:
        return ()
    vectors = [_full_effect(trend, spell) for spell in trend.treatments]
    kept = [trend.series.date <= spell.started_on for spell in trend.treatments]
    before = _variances(trend, kept, vectors)
    now = [float(trend.posterior.combination(vector).spread) ** 2 for vector in vectors]
    return tuple(1 - after / early for after, early in zip(now, before, strict=True))


def _full_effect(trend: Trend, spell: Treatment) -> Array:
    columns = trend.columns
    units = [columns.unit(columns.course_term(i)) for i in spell.courses]
    return np.asarray(np.sum(units, axis=0))


def _variances(
    trend: Trend, kept: Sequence[NDArray[np.bool_]], vectors: Sequence[Array]
) -> list[float]:
    """Return the variance of each effect given its kept sessions; the prior's without any."""
    found = [_prior_variance(trend.columns, vector) for vector in vectors]
    some = [i for i, keep in enumerate(kept) if keep.any()]
    if not some:
        return found
    series = [replace(subset(trend.series, kept[i]), method=trend.series.method) for i in some]
    # The latest session's method stays the first noise group, whether or not it was met by then.
    priors = [trend.context.priors[: len(noise_groups(animal_series))] for animal_series in series]
    columns = [_early(trend.columns, kept[i]) for i in some]
    fits = posteriors(series, priors, columns, trend.context.fixed)
    for i, fit in zip(some, fits, strict=True):
        found[i] = float(fit.combination(vectors[i]).spread) ** 2
    return found


def _early(columns: Columns, kept: NDArray[np.bool_]) -> EarlyColumns:
    values = {name: getattr(columns, name) for name in field_names(Columns)}
    return EarlyColumns(**values, whole=columns, kept=kept)


def _prior_variance(columns: Columns, vector: Array) -> float:
    weights = np.array([form.weight for form in columns.forms])
    means = np.array([vector @ form.centre for form in columns.forms])
    within = np.array([vector @ form.covariance @ vector for form in columns.forms])
    return float(weights @ (within + (means - weights @ means) ** 2))
