"""Fits of many animals whose answers are asked of all of them at once.

The trend's own engine with one animal's questions written side by side: the same numbers as
`bpvet.fit_trends` gives (`check.py` compares some), in a third of the time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from bpvet.facts.priors.priors import Priors
from bpvet.maths.gaussian import coefficients, forward_solve, whiten
from bpvet.maths.quadrature import integrate
from bpvet.maths.surface import noise_at
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import batch_of, noise_prior_of
from bpvet.visits.series import Series
from reference_checks.coverage.animals import DRUG, Animals, Array
from reference_checks.coverage.measure import batches
from reference_checks.coverage.worlds import NEXT_DAYS, NEXT_READINGS


@dataclass(frozen=True, eq=False)
class Mixtures:
    """One answer of B animals, each a mixture of normal distributions: (B, K) each."""

    weight: Array
    means: Array
    sds: Array

    @property
    def mean(self) -> Array:
        """(B,) their means."""
        return np.asarray(np.sum(self.weight * self.means, axis=1))

    def below(self, value: Array) -> Array:
        """Return each one's probability at or below a value of its own, (B,)."""
        return np.asarray(
            np.sum(self.weight * ndtr((value[:, None] - self.means) / self.sds), axis=1)
        )


def fitted(drawn: Animals, priors: Priors) -> Iterator[tuple[list[int], list[Mixtures]]]:
    """Fit the animals in batches.

    Yields
    ------
    rows : list of int
        The animals.
    answers : list of Mixtures
        Usual pressure at the latest session, the session to come, slope, and full effect where
        there is a course.
    """
    series = [drawn.series(i, priors.tau_of(DRUG)) for i in range(len(drawn))]
    for rows in batches(series):
        yield rows, asked([series[i] for i in rows], priors)


def asked(series: Sequence[Series], priors: Priors) -> list[Mixtures]:
    """Return the answers of series with equally many courses, one part a form of the prior."""
    columns = [columns_of(one, priors) for one in series]
    forms = range(len(columns[0].forms))
    parts = [under_form(series, priors, columns, form) for form in forms]
    mass = np.stack([one[1] for one in parts])
    mass = np.exp(mass - mass.max(axis=0))
    mass /= mass.sum(axis=0)
    weight = np.concatenate(
        [share[:, None] * one[2] for share, one in zip(mass, parts, strict=True)], axis=1
    )
    return [
        Mixtures(
            weight,
            np.concatenate([one[0][i][0] for one in parts], axis=1),
            np.concatenate([one[0][i][1] for one in parts], axis=1),
        )
        for i in range(len(parts[0][0]))
    ]


def under_form(
    series: Sequence[Series], priors: Priors, columns: Sequence[Columns], form: int
) -> tuple[list[tuple[Array, Array]], Array, Array]:
    """Return means and SDs of each answer, log masses and node weights under one form."""
    batch, prior = batch_of(series, columns, form), noise_prior_of([(priors,)] * len(series))
    nodes = integrate(batch, prior)
    noise = noise_at(prior, nodes.log_sv, nodes.log_sr, nodes.log_sw)
    path = whiten(batch, noise, keep=True)
    fit = coefficients(batch, noise.reading, path)
    own = [one.forms[form] for one in columns]
    centre = np.array([one.mean for one in own]).T  # (p, B)
    p = batch.terms

    def ask(natural: Array, ahead: float | None, extra: Array | float = 0.0) -> tuple[Array, Array]:
        # natural: (B, p) weights of the natural coefficients; ahead: days after the latest session.
        rows = np.stack(
            [row @ one.transform for row, one in zip(natural, own, strict=True)], axis=1
        )
        left = rows[:, :, None] * np.ones_like(nodes.weight)
        mean = np.sum(rows * centre, axis=0)[:, None]
        variance = np.zeros_like(nodes.weight) + extra
        if ahead is not None:
            # The filter ends at the latest session: the wander is carried on from there.
            kept = np.exp(-ahead / batch.wander_days)[:, None]
            left = left - kept * path.mean[-1, :p]
            mean = mean + kept * path.mean[-1, p]
            variance = variance + noise.wander * (1 - kept**2 * (1 - path.share[-1]))
        mean = mean + np.sum(left * fit.mean, axis=0)
        half = forward_solve(fit.root, left)
        return mean, np.sqrt(variance + np.sum(half * half, axis=0))

    now = np.concatenate([one.rows(np.zeros(1)) for one in columns])
    soon = np.array([float(NEXT_DAYS)])
    later = np.concatenate([one.rows(soon, visit=one.series.y.size) for one in columns])
    visit = noise.visit[0] + noise.reading[0] / NEXT_READINGS
    answers = [
        ask(now, 0.0),
        ask(later, float(NEXT_DAYS), visit),
        ask(np.stack([one.unit("slope") for one in columns]), None),
    ]
    if columns[0].series.courses:
        term = columns[0].course_term(0)
        answers.append(ask(np.stack([one.unit(term) for one in columns]), None))
    log_mass = np.log([one.weight for one in own]) + nodes.log_marginal
    return answers, log_mass, nodes.weight
