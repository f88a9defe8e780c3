"""What an agreement reads off its variance components, and the sentences about them."""

from __future__ import annotations

import numpy as np

from bpvet.frozen import dataclass
from bpvet.maths.agreement import comparison
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.agreement.components import DIFFERENCE_TERMS, Components
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason


@dataclass(frozen=True)
class Share:
    """A share of differences no larger than `reach`.

    Parameters
    ----------
    reach : float
        In the unit of the quantity.
    observed : Estimate
        Share of the points, 0 to 1.
    count, n : int
        Points within, and all.
    single : Estimate
        Share expected of single readings, from bias and SD, if differences are normal.
    """

    reach: float
    observed: Estimate
    count: int
    n: int
    single: Estimate


def difference_shares(readings: int) -> dict[str, float]:
    """Return the weight of each term in a difference of two means of `readings` readings."""
    return {term: 1 / readings if term.startswith("reading") else 1.0 for term in DIFFERENCE_TERMS}


def component_concordance(fit: Components, level: float) -> Estimate:
    """Return the concordance correlation of single readings (Carrasco & Jover 2003)."""
    bias, se, _ = fit.bias
    shared = {"animal": 1.0, "visit": 1.0, "pair": 1.0}
    common, _ = fit.sum_of(shared)
    apart, _ = fit.sum_of(difference_shares(1))
    whole = 2 * common + apart + bias**2
    value = 2 * common / whole
    if not 0 < value < 1:
        return estimated(value, reason=reason("agreement.concordance_at_end"))
    slope = (2 - 2 * value) / whole * fit.weights(shared)
    slope = slope - value / whole * fit.weights(difference_shares(1))
    spread = float(slope @ fit.covariance @ slope) + (2 * bias * value / whole * se) ** 2
    return comparison.fisher(value, float(np.sqrt(spread)) / (1 - value**2), level)


def choices(fit: Components | None, linked: bool) -> tuple[str, ...]:
    """Return what was chosen about replicates, in sentences."""
    if fit is None:
        return (reason("agreement.plain"),)
    how = reason("agreement.unlinked")
    if linked:
        how = reason("agreement.linked")
    return (how, reason("agreement.reml"))


def at_zero(fit: Components | None, labels: tuple[str, str]) -> tuple[str, ...]:
    """Return which components are estimated at zero, and what that means."""
    if fit is None or not fit.at_zero:
        return ()
    named = ", ".join(_term(term, labels) for term in fit.at_zero)
    return (reason("agreement.at_zero", terms=named),)


def _term(term: str, labels: tuple[str, str]) -> str:
    """Return a component of variance in words: what varies, and by which method."""
    first, second = labels
    varies, joint, of = term.partition(" × ")
    if not joint:
        varies, joint, of = term.partition(" by ")
    method = of.replace("first", first).replace("second", second)
    what = reason(f"agreement.term.{varies}")
    return (
        reason("agreement.reading_by", what=what, method=method)
        if joint == " by "
        else (f"{what}{joint}{method}")
    )
