"""What the named guideline says of the usual pressure: category, target, share at target."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.settle import SettleAnswer, usual_settle
from bpvet.answers.trend.verdicts import Settled, Verdict, settled
from bpvet.equality import Content
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Number
from bpvet.models.safety.safety import Safety
from bpvet.models.safety.standing import below_judged
from bpvet.models.trend.outlook import (
    category_withheld,
    share_at_target,
    target_for,
    written_species,
)
from bpvet.models.trend.trend import Trend
from bpvet.reasons import reason
from bpvet.visits.latest_date import added_to

_ON_TARGET = {
    Settled.YES: Verdict.AT_OR_BELOW,
    Settled.NO: Verdict.ABOVE,
    Settled.OPEN: Verdict.NOT_SETTLED,
}


@dataclass(frozen=True, eq=False)
class CategoryAnswer(Content):
    """Probability of each category of the named guideline, or why it is withheld.

    `remembered` says whether any of its bounds is from memory, not yet checked.
    """

    guideline: str
    name: str
    probability: dict[str, float] | None
    withheld: str | None
    remembered: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class TargetAnswer(Content):
    """Is it at target?

    `kind` is ``own``, ``guideline`` or ``raised`` (no blood-pressure drug on record: the bound of
    the raised range). `p_target` is the probability of lying at or below the target (the animal's
    own first) even then. Home and calmed series are judged on `judged_offset` more than was
    measured, in every probability here. `verdict` is None where an urgent rule withholds it, and
    `withheld` is then that rule. `settle` is how likely further visits settle it, for some numbers
    of visits; empty where it is settled or no verdict may be given.
    """

    guideline: str
    kind: str | None = None
    value: Number = None
    p_at_or_below: Number = None
    p_target: Number = None
    floor: Number = None
    p_below_floor: Number = None
    judged_offset: float = 0.0
    verdict: Verdict | None = None
    withheld: str | None = None
    settle: tuple[SettleAnswer, ...] = ()
    remembered: bool = False
    reason: str | None = None


@dataclass(frozen=True, eq=False)
class ShareAnswer(Content):
    """Share of the period at or below the value that control is judged by.

    `left_out` sessions have a reading beyond the gauge: no straight line is drawn through them.
    """

    value: Number
    expected: Number
    interpolated: Number
    days: int
    reason: str | None
    left_out: int = 0


def category_answer(trend: Trend, chosen: Guideline) -> CategoryAnswer:
    """Return how probable each category is, or why none is named."""
    source_of = guideline(chosen.categories_from)
    remembered = any(fact(category.fact_id).remembered for category in source_of.categories)
    systolic = trend.series.quantity == "systolic"
    withheld = category_withheld(trend) if systolic else reason("systolic_only")
    # Home and calmed series are judged on what is added to them, as everywhere else.
    below = below_judged(trend)
    if withheld is None and below(chosen.floor.value) >= 0.5:
        withheld = reason("category.low")
    if withheld is not None:
        return CategoryAnswer(source_of.key, source_of.name, None, withheld, remembered)
    ends = [below(category.high) for category in source_of.categories[:-1]]
    shares = np.diff([0.0, *ends, 1.0])
    names = (category.name for category in source_of.categories)
    found = dict(zip(names, (float(share) for share in shares), strict=True))
    return CategoryAnswer(source_of.key, source_of.name, found, None, remembered)


def target_answer(trend: Trend, chosen: Guideline, found: Safety) -> TargetAnswer:
    """Return where the usual pressure lies about the target, and how surely."""
    written = written_species(trend.records, trend.series.animal)
    if written:
        return no_target(chosen, reason("target.species", species=written))
    value, kind = target_for(trend, chosen)
    below = below_judged(trend)
    p = below(value)
    verdict = _ON_TARGET[settled(p)]
    stated = chosen.target if kind == "guideline" else chosen.raised
    withheld = found.withheld("target")
    open_ = verdict is Verdict.NOT_SETTLED and not withheld
    added = added_to(trend.series.condition)
    return TargetAnswer(
        guideline=chosen.key,
        kind=kind,
        value=value,
        p_at_or_below=p,
        p_target=found.standing.p_target,
        floor=chosen.floor.value,
        p_below_floor=below(chosen.floor.value),
        judged_offset=added,
        verdict=None if withheld else verdict,
        withheld=withheld,
        settle=usual_settle(trend, value - added) if open_ else (),
        remembered=kind != "own" and stated.fact.remembered,
    )


def no_target(chosen: Guideline, why: str) -> TargetAnswer:
    """Return the target of a series that has none, and why."""
    return TargetAnswer(guideline=chosen.key, reason=why)


def share_answer(trend: Trend, control: TargetAnswer) -> ShareAnswer:
    """Return the share of days at target over the record."""
    if control.value is None:
        return ShareAnswer(None, None, None, 0, control.reason)
    share = share_at_target(trend, control.value - control.judged_offset)
    why = None
    if share.interpolated is None:
        bounded = share.days and share.left_out
        why = reason("share.bounded" if bounded else "share.one_date")
    details = share.expected, share.interpolated, share.days, why, share.left_out
    return ShareAnswer(control.value, *details)
