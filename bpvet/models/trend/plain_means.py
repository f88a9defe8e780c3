"""A drug's effect by plain means before and after, laid beside the model's, and why they part."""

from __future__ import annotations

import numpy as np

from bpvet.facts.words import Word
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.models.trend.effects import Treatment, sides
from bpvet.models.trend.trend import Trend


class Cause(Word):
    """What plain means count as the drug's: of a recorded change, that of a site and so on."""

    FIRST_VISITS = "first visits"
    SLOPE = "slope"
    RECORDED_CHANGE = "recorded change"
    OTHER_DRUG = "other drug"
    NOT_AT_FULL_EFFECT = "not at full effect"
    CHANCE = "chance"


CAUSES = tuple(Cause)
#: The cause that a coefficient stands for, by the first word of its term.
_OF_TERM = {
    "first_visit": Cause.FIRST_VISITS,
    "slope": Cause.SLOPE,
    "change": Cause.RECORDED_CHANGE,
    "offset": Cause.RECORDED_CHANGE,
    "course": Cause.OTHER_DRUG,
}


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
        What the largest part of the gap is put down to.
    before_sessions, before_high : int, bool
        Sessions before the start, and whether they read high for the usual pressure of then.
    """

    plain: float
    model: float
    sd: float
    cause: Cause
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
    own_terms = {columns.course_term(i) for i in spell.courses}
    parts = dict.fromkeys(CAUSES, 0.0)
    parts[Cause.NOT_AT_FULL_EFFECT] = -model
    for term, share in zip(columns.terms, step * means, strict=True):
        parts[_cause(term, own_terms)] += float(share)
    parts[Cause.CHANCE] += plain - float(step @ means)
    gap = plain - model
    cause = max(CAUSES, key=lambda name: parts[name] * np.sign(gap))
    return PlainDifference(
        plain=plain,
        model=model,
        sd=float(effect.sd),
        cause=cause,
        before_sessions=int(before.sum()),
        before_high=parts[Cause.CHANCE] < 0,
    )


def _summed(trend: Trend, spell: Treatment) -> Array:
    columns = trend.columns
    units = [columns.unit(columns.course_term(i)) for i in spell.courses]
    return np.asarray(np.sum(units, axis=0))


def _cause(term: str, of_drug: set[str]) -> Cause:
    if term in of_drug:
        return Cause.NOT_AT_FULL_EFFECT
    return _OF_TERM.get(term.split()[0], Cause.CHANCE)
