"""The usual two-sample formula, for a t test of the plain changes of the animals of two arms."""

from __future__ import annotations

import numpy as np
from scipy.special import nctdtr, ndtri, stdtrit

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.models.plan.plan import Plan
from bpvet.models.plan.schedule import planned

#: Larger arms are not planned.
MOST_ANIMALS = 5000


@dataclass(frozen=True)
class Formula:
    """The usual two-sample formula, for plain changes of each animal.

    Parameters
    ----------
    animals : int
        Animals an arm (where they were asked for, those given).
    power : float
        Power with so many, by the noncentral t distribution.
    difference : float
        Expected difference between the arms' mean changes: below the stated effect where a
        visit after the start comes before the full effect is reached.
    sd : float
        SD of one animal's change, mean of the visits after less mean of those before: visit and
        reading noise, wander, slope, getting used to visits, and the spread of responses.
    """

    animals: int
    power: float
    difference: float
    sd: float


def formula(
    plan: Plan,
    effect: float,
    response_sd: float,
    power: float,
    significance: float,
    animals: int | None = None,
) -> Formula:
    """Return what the usual formula says of a study: `bpvet.models.plan.study.study`."""
    share, noise = plain_change(plan)
    sd = float(np.hypot(noise, share * response_sd))
    count = animals or formula_animals(effect * share, sd, power, significance)
    reached = formula_power(effect * share, sd, count, significance)
    return Formula(count, reached, effect * share, sd)


def plain_change(plan: Plan) -> tuple[float, float]:
    """Return what a plain change shows of a full effect, and its SD apart from the response.

    The change is the mean of the visits after the start less the mean of those before. Its
    variance is the mean over the priors of the noise SDs.

    Returns
    -------
    share : float
        Mean share of the full effect that is reached at the visits after.
    sd : float
        In the unit.
    """
    priors, schedule = plan.priors, plan.schedule
    medians = (np.log([[priors.sv[0]]]), np.log([[priors.sr[0]]]), np.log([[priors.sw[0]]]))
    columns, _ = planned(priors, schedule, medians, np.ones(1))
    contrast = np.full(plan.visits, 1 / (plan.visits - plan.before))
    contrast[: plan.before] = -1 / plan.before
    loads = contrast @ columns.sessions()
    course = columns.unit("course 0") > 0
    sv2, sr2, sw2 = (
        median**2 * np.exp(2 * log_sd**2) for median, log_sd in (priors.sv, priors.sr, priors.sw)
    )
    gap = np.abs(columns.day[:, None] - columns.day)
    wander = contrast @ np.exp(-gap / priors.wander_days) @ contrast
    known = np.sum((loads * columns.forms[0].sd)[~course] ** 2)
    visits = (sv2 + sr2 / plan.readings) * np.sum(contrast**2)
    return float(loads[course][0]), float(np.sqrt(known + sw2 * wander + visits))


def formula_power(difference: float, sd: float, animals: int, significance: float = 0.05) -> float:
    """Return the power of a two-sided t test of two arms of `animals` each.

    Examples
    --------
    >>> round(formula_power(0.5, 1.0, 64), 3)
    0.801
    """
    df = 2 * animals - 2
    shift = abs(difference) / sd * np.sqrt(animals / 2)
    bound = stdtrit(df, 1 - significance / 2)
    return float(1 - nctdtr(df, shift, bound) + nctdtr(df, shift, -bound))


def formula_animals(
    difference: float, sd: float, power: float = 0.9, significance: float = 0.05
) -> int:
    """Return the fewest animals an arm for a two-sided t test to reach `power`.

    Examples
    --------
    >>> formula_animals(0.5, 1.0, power=0.8)
    64
    """
    z = ndtri(1 - significance / 2) + ndtri(power)
    # The normal formula is never more than a few animals short of the t test's answer.
    count = max(2, int(2 * (z * sd / abs(difference)) ** 2))
    if count > MOST_ANIMALS:
        raise too_many()
    while formula_power(difference, sd, count, significance) < power:
        count += 1
    return count


def too_many() -> CallError:
    """Return the error of a study that would be too large."""
    return CallError(
        f"more than {MOST_ANIMALS} animals per arm would be needed. Ask for a larger effect, "
        "more visits or less power."
    )
