"""What an agreement hands to a trend that joins two methods."""

from __future__ import annotations

import numpy as np

from bpvet.frozen import dataclass, replace
from bpvet.maths.agreement.comparison import estimated, fisher, root, variance_interval
from bpvet.maths.agreement.components import Components
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

_SIDES = ("first", "second")


@dataclass(frozen=True)
class MethodOffset:
    """The difference of two methods as a prior of a bridged trend.

    Parameters
    ----------
    d0 : float
        Mean difference, second method minus first.
    d0_se : float
        Its standard error.
    s_d : Estimate
        SD of an animal's own difference about `d0`.
    s_d_is : str
        ``estimated``, or ``at most`` where visits were not repeated, so that what is peculiar
        to a visit is in it too.
    shared_visit_share : Estimate
        Correlation of both methods' visit noise: the share that one visit's mood and room have
        in common.
    sd_of_new : float
        SD of the difference in an animal not in these data, √(s_d² + d0_se²).
    reason : str or None
        Why the share's estimate is None.
    """

    d0: float
    d0_se: float
    s_d: Estimate
    s_d_is: str
    shared_visit_share: Estimate
    sd_of_new: float
    reason: str | None

    def prior(self) -> tuple[float, float]:
        """Return (mean, SD) for ``Priors(method_offset=…)``.

        It is of the second method minus the first: right as it stands for Doppler first and
        oscillometric second, as `agreement` takes records.
        """
        return self.d0, self.sd_of_new


def method_offset(
    fit: Components | None, bias: tuple[float, float], sd: Estimate, level: float
) -> MethodOffset:
    """Return the offset.

    Parameters
    ----------
    fit : Components or None
        The variance components, if there are any.
    bias : (estimate, standard error)
        Mean difference.
    sd : Estimate
        SD of a single difference, which stands for `s_d` where nothing better is known.
    level : float
        Probability of the interval of `s_d`.
    """
    d0, se = bias
    weights = {"animal × first": 1.0, "animal × second": 1.0}
    apart = fit is not None and any(term in fit.terms for term in weights)
    visits = fit is not None and "visit" in fit.terms
    spread = sd
    if fit is not None and apart:
        spread = root(variance_interval(*fit.sum_of(weights), level))
    share = estimated(None, reason=reason("agreement.few_paired_visits"))
    if fit is not None and visits:
        share = _visit_share(fit, level)
    size = spread.estimate or 0.0
    return MethodOffset(
        d0=d0,
        d0_se=se,
        s_d=spread,
        s_d_is="estimated" if apart and visits else "at most",
        shared_visit_share=share,
        sd_of_new=float(np.hypot(size, se)),
        reason=share.reason if share.estimate is None else None,
    )


def _visit_share(fit: Components, level: float) -> Estimate:
    """Return the correlation of both methods' visit noise; the interval by Fisher's z."""
    shared = fit.of("visit")
    parts = [shared + fit.of(f"visit × {name}") for name in _SIDES]
    if min(parts) <= 0:
        return estimated(None, reason=reason("agreement.no_visit_noise"))
    share = shared / float(np.sqrt(parts[0] * parts[1]))
    if not 0 < share < 1:
        return estimated(share, reason=reason("agreement.share_at_end"))
    # The delta method on the logarithm of the share.
    halves = {
        f"visit × {name}": -0.5 / variance for name, variance in zip(_SIDES, parts, strict=True)
    }
    slope = fit.weights({"visit": 1 / shared + sum(halves.values())} | halves)
    se = share * float(np.sqrt(slope @ fit.covariance @ slope))
    interval = fisher(share, se / (1 - share**2), level)
    return replace(interval, lower=max(0.0, interval.lower or 0.0))
