"""What the named guideline's bounds say of a trend: urgent, category, target, and when again."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.answers.parts import (
    CategoryAnswer,
    RecheckAnswer,
    ShareAnswer,
    TargetAnswer,
    UrgentAnswer,
)
from bpvet.answers.urgent_words import urgent_sentence
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.models.outlook import category_withheld, share_at_target, target_for
from bpvet.models.planning import sd_after
from bpvet.models.recheck import recheck
from bpvet.models.trend import Trend
from bpvet.visits.urgency import LatestDate, urgent

SYSTOLIC_ONLY = "judged on systolic pressure only"
#: Further weekly visits that are tried when asking whether more visits could settle an answer.
_MOST_VISITS = 8


def urgent_answers(day: LatestDate | None, chosen: Guideline) -> tuple[UrgentAnswer, ...]:
    """Return what is urgent on the latest date, in words."""
    found = urgent(day, chosen) if day is not None else ()
    return tuple(
        UrgentAnswer(
            urgent_sentence(one, chosen), one.rule, one.kind, one.date, one.value, one.signs
        )
        for one in found
    )


def category_answer(trend: Trend, chosen: Guideline) -> CategoryAnswer:
    """Return how probable each category is, or why none is named."""
    source = guideline(chosen.categories_from)
    remembered = any(fact(one.fact_id).remembered for one in source.categories)
    withheld = SYSTOLIC_ONLY if trend.series.quantity != "systolic" else category_withheld(trend)
    if withheld is not None:
        return CategoryAnswer(source.key, source.name, None, withheld, remembered)
    ends = [float(trend.latest.below(one.high)) for one in source.categories[:-1]]
    shares = np.diff([0.0, *ends, 1.0])
    names = (one.name for one in source.categories)
    found = dict(zip(names, (float(share) for share in shares), strict=True))
    return CategoryAnswer(source.key, source.name, found, None, remembered)


def target_answer(trend: Trend, chosen: Guideline) -> TargetAnswer:
    """Return where the usual pressure lies about the target, and how surely."""
    value, kind = target_for(trend, chosen)
    p = float(trend.latest.below(value))
    verdict = settled(p, "at or below", "above")
    stated = chosen.target if kind == "guideline" else chosen.raised
    return TargetAnswer(
        guideline=chosen.key,
        kind=kind,
        value=value,
        p_at_or_below=p,
        floor=chosen.floor.value,
        p_below_floor=float(trend.latest.below(chosen.floor.value)),
        verdict=verdict,
        visits_to_settle=0 if verdict != "not settled" else _visits_to_settle(trend, value),
        remembered=kind != "own" and stated.fact.remembered,
        reason=None,
    )


def no_target(chosen: Guideline) -> TargetAnswer:
    """Return the target of a series that has none."""
    return TargetAnswer(chosen.key, None, None, None, None, None, None, None, False, SYSTOLIC_ONLY)


def settled(p: float, yes: str, no: str) -> str:
    """Return `yes` or `no` where the probability settles it, else "not settled"."""
    if p >= float(fact("project.verdict.sure").value or 1):
        return yes
    return no if p <= float(fact("project.verdict.unlikely").value or 0) else "not settled"


def _visits_to_settle(trend: Trend, value: float) -> int | None:
    """Return the fewest weekly visits after which the answer would be settled as it stands."""
    from scipy.special import ndtr

    distance = abs(float(trend.latest.mean) - value)
    sure = float(fact("project.verdict.sure").value or 1)
    for visits in range(1, _MOST_VISITS + 1):
        if ndtr(distance / sd_after(trend, visits, ENOUGH_READINGS)) >= sure:
            return visits
    return None


def share_answer(trend: Trend, control: TargetAnswer) -> ShareAnswer:
    """Return the share of days at target over the record."""
    if control.value is None:
        return ShareAnswer(None, None, None, 0, SYSTOLIC_ONLY)
    share = share_at_target(trend, control.value)
    reason = None if share.interpolated is not None else "all sessions are of one date"
    return ShareAnswer(control.value, share.expected, share.interpolated, share.days, reason)


def recheck_answer(trend: Trend, day: LatestDate | None, chosen: Guideline) -> RecheckAnswer:
    """Return when to measure again, or why no date is proposed."""
    left = trend.records.animals.set_index("animal").loc[trend.series.animal]
    if pd.notna(left["left_on"]) and np.datetime64(left["left_on"], "D") <= trend.as_of:
        why = f" ({left['left_reason']})" if left["left_reason"] else ""
        return no_recheck(chosen, f"the animal left the practice{why}")
    if day is None:
        return no_recheck(chosen, "no session was taken awake")
    found = recheck(trend, day, chosen)
    return RecheckAnswer(
        guideline=chosen.key,
        state=found.state,
        counted_from=found.counted_from,
        guideline_by=found.guideline_by,
        model=None if np.isnat(found.model_by) else found.model_by,
        model_reason=found.model_reason or None,
        by=found.by,
        overdue_days=found.overdue_days,
        remembered=chosen.recheck[found.state].fact.remembered,
        reason=None,
    )


def no_recheck(chosen: Guideline, reason: str) -> RecheckAnswer:
    """Return that no date is proposed, and why."""
    return RecheckAnswer(chosen.key, None, None, None, None, None, None, 0, False, reason)
