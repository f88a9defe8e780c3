"""A drug's effect by plain means before and after, laid beside the model's, and why they part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.maths.gaussian import Array
from bpvet.models.trend.effects import Treatment, sides
from bpvet.models.trend.trend import Trend

#: What plain means count as the drug's: getting used to visits, the slope, a change of site and
#: so on, other drugs, a drug not at its full effect, and chance in the sessions.
CAUSES = ("first visits", "slope", "recorded change", "other drug", "not at full effect", "chance")


@dataclass(frozen=True)
class PlainDifference:
    """The plain difference of a spell, and the model's estimate of it.

    Parameters
    ----------
    plain : float
        Mean of the session means on the drug less the mean of those before it.
    model, sd : float
        Posterior mean and SD of the full effect.
    cause : str
        One of `CAUSES`: what the largest part of the gap is put down to.
    before_sessions, before_high : int, bool
        Sessions before the start, and whether they read high for the usual pressure of then.
    """

    plain: float
    model: float
    sd: float
    cause: str
    before_sessions: int
    before_high: bool

    @property
    def apart(self) -> bool:
        """Whether the two part by more than one posterior SD."""
        return abs(self.plain - self.model) > self.sd


def plain_difference(trend: Trend, spell: Treatment) -> PlainDifference | None:
    """Return the plain difference of a spell beside the model's estimate; None without both sides.

    The plain difference is, exactly, the sum of what each coefficient adds to it at its posterior
    mean and of what is left: visit noise, reading noise and wander. The gap between it and the
    full effect is put down to the largest part that points the same way.
    """
    series, columns = trend.series, trend.columns
    before, after = sides(series, series.courses[spell.courses[0]])
    if not before.any() or not after.any():
        return None
    plain = float(series.y[after].mean() - series.y[before].mean())
    rows = columns.sessions()
    step = rows[after].mean(axis=0) - rows[before].mean(axis=0)
    means = np.atleast_1d(trend.posterior.combination(np.eye(len(columns.terms))).mean)
    effect = trend.posterior.combination(_summed(trend, spell))
    model = float(effect.mean)
    own = {columns.course_term(i) for i in spell.courses}
    parts = dict.fromkeys(CAUSES, 0.0)
    parts["not at full effect"] = -model
    for term, part in zip(columns.terms, step * means, strict=True):
        parts[_cause(term, own)] += float(part)
    parts["chance"] += plain - float(step @ means)
    gap = plain - model
    cause = max(CAUSES, key=lambda name: parts[name] * np.sign(gap))
    return PlainDifference(
        plain=plain,
        model=model,
        sd=float(effect.sd),
        cause=cause,
        before_sessions=int(before.sum()),
        before_high=parts["chance"] < 0,
    )


def _summed(trend: Trend, spell: Treatment) -> Array:
    columns = trend.columns
    units = [columns.unit(columns.course_term(i)) for i in spell.courses]
    return np.asarray(np.sum(units, axis=0))


def _cause(term: str, own: set[str]) -> str:
    if term in own:
        return "not at full effect"
    kind = term.split()[0]
    return {
        "first_visit": "first visits",
        "slope": "slope",
        "change": "recorded change",
        "offset": "recorded change",
        "course": "other drug",
    }.get(kind, "chance")
