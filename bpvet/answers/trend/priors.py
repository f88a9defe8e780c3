"""The priors and the noise of a trend, as plain numbers."""

from __future__ import annotations

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.models.trend.trend import Trend


@dataclass(frozen=True, eq=False)
class PriorGroupAnswer(Content):
    """One group of the prior of a treated animal, and what the readings make of it.

    Parameters
    ----------
    weight : float
        Its weight before the readings.
    level : (float, float)
        Centre and SD of the untreated level.
    effect_sd : float or None
        SD of the full effect of a first spell about zero, where it has one.
    under_drug : (float, float) or None
        Else centre and SD of the pressure under the drug.
    share : float
        Its weight after the readings.
    """

    weight: float
    level: tuple[float, float]
    effect_sd: float | None
    under_drug: tuple[float, float] | None
    share: float


@dataclass(frozen=True, eq=False)
class PriorsAnswer(Content):
    """The priors used, as plain numbers.

    `groups` stand in for `level` and `effect_sd` where it is not empty.
    """

    source: str
    level: tuple[float, float]
    slope_sd: float
    effect_sd: float
    increment_sd: float
    sv: tuple[float, float]
    sr: tuple[float, float]
    sw: tuple[float, float]
    wander_days: float
    first_visit: tuple[float, float] | None
    change_sd: dict[str, float]
    tau_days: dict[str, float]
    groups: tuple[PriorGroupAnswer, ...] = ()


@dataclass(frozen=True, eq=False)
class NoiseAnswer(Content):
    """Posterior means of the visit, reading and wander SD."""

    sv: float
    sr: float
    sw: float


def noise_answer(trend: Trend) -> NoiseAnswer:
    """Return the posterior means of the SDs of visit, reading and wander."""
    weight, noise = trend.posterior.weight, trend.posterior.noise
    means = [
        np.sqrt(form_variance) @ weight
        for form_variance in (noise.visit[0, 0], noise.reading[0, 0])
    ]
    return NoiseAnswer(float(means[0]), float(means[1]), float(np.sqrt(noise.wander[0]) @ weight))


def priors_answer(trend: Trend) -> PriorsAnswer:
    """Return the priors that the trend used."""
    priors = trend.priors
    taus = {course.drug: course.tau_days for course in trend.series.courses}
    return PriorsAnswer(
        source=priors.source,
        level=priors.level,
        slope_sd=priors.slope_sd,
        effect_sd=priors.effect_sd,
        increment_sd=priors.increment_sd,
        sv=priors.sv,
        sr=priors.sr,
        sw=priors.sw,
        wander_days=priors.wander_days,
        first_visit=priors.first_visit,
        change_sd=dict(priors.change_sd),
        tau_days=taus,
        groups=_groups(trend),
    )


def _groups(trend: Trend) -> tuple[PriorGroupAnswer, ...]:
    """Return the groups of an animal's prior; empty where it has one normal.

    Those of a treated animal, or the levels that stand in for one where an untreated animal has a
    reading beyond the gauge.
    """
    groups, forms = trend.priors.groups, trend.columns.forms
    if groups is None or len(forms) == 1:
        return ()
    if trend.columns.bounded:
        return tuple(
            PriorGroupAnswer(
                form.weight, (float(form.mean[0]), float(form.sd[0])), None, None, float(share)
            )
            for form, share in zip(forms, trend.posterior.shares, strict=True)
        )
    return tuple(
        PriorGroupAnswer(group.weight, group.level, group.effect_sd, group.under_drug, float(share))
        for group, share in zip(groups.parts, trend.posterior.shares, strict=True)
    )
