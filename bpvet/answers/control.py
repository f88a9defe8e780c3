"""What the named guideline's bounds say of a trend: urgent, category, target, and when again."""

from __future__ import annotations

import numpy as np

from bpvet.answers.parts import (
    CategoryAnswer,
    OtherWindow,
    RecheckAnswer,
    ShareAnswer,
    SignAnswer,
    TargetAnswer,
    UrgentAnswer,
)
from bpvet.answers.settle import usual_settle
from bpvet.answers.verdicts import Settled, Verdict, settled
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.recheck import Window
from bpvet.facts.sources import PROJECT, fact, source
from bpvet.models.safety.recheck import Recheck
from bpvet.models.safety.safety import Safety
from bpvet.models.safety.standing import below_judged
from bpvet.models.trend.outlook import (
    category_withheld,
    share_at_target,
    target_for,
    written_species,
)
from bpvet.models.trend.trend import Trend
from bpvet.visits.latest_date import judged_offset
from bpvet.visits.signs.states import SignState

SYSTOLIC_ONLY = "judged on systolic pressure only"
_ON_TARGET = {
    Settled.YES: Verdict.AT_OR_BELOW,
    Settled.NO: Verdict.ABOVE,
    Settled.OPEN: Verdict.NOT_SETTLED,
}
_DAY = np.timedelta64(1, "D")


def urgent_answers(found: Safety, chosen: Guideline) -> tuple[UrgentAnswer, ...]:
    """Return what is urgent, in words; the most pressing first."""
    from bpvet.wording.en.safety.urgent import urgent_sentence

    seen = found.found.seen
    latest = None if seen.latest is None else seen.latest.date
    return tuple(
        UrgentAnswer(
            rule=one.rule,
            text=urgent_sentence(one, chosen, seen.species, latest),
            on=one.on,
            age_days=one.age_days,
            why=one.why,
            withholds=one.withholds,
            fact=one.fact,
            value=one.value,
            signs=tuple(sign.text for sign in one.signs),
        )
        for one in found.lines
    )


def sign_answers(signs: tuple[SignState, ...]) -> tuple[SignAnswer, ...]:
    """Return the signs as they stand."""
    return tuple(
        SignAnswer(
            text=one.text,
            term=one.term,
            group=one.group,
            reading=one.reading,
            longstanding=one.longstanding,
            first_seen=one.first_seen,
            seen_on=one.seen_on,
            asked_only=one.asked_only,
            table=one.table,
        )
        for one in signs
    )


def category_answer(trend: Trend, chosen: Guideline) -> CategoryAnswer:
    """Return how probable each category is, or why none is named."""
    source_of = guideline(chosen.categories_from)
    remembered = any(fact(one.fact_id).remembered for one in source_of.categories)
    withheld = SYSTOLIC_ONLY if trend.series.quantity != "systolic" else category_withheld(trend)
    # Home and calmed series are judged on what is added to them, as everywhere else.
    below = below_judged(trend)
    if withheld is None and below(chosen.floor.value) >= 0.5:
        withheld = "it lies lower than the categories speak of"
    if withheld is not None:
        return CategoryAnswer(source_of.key, source_of.name, None, withheld, remembered)
    ends = [below(one.high) for one in source_of.categories[:-1]]
    shares = np.diff([0.0, *ends, 1.0])
    names = (one.name for one in source_of.categories)
    found = dict(zip(names, (float(share) for share in shares), strict=True))
    return CategoryAnswer(source_of.key, source_of.name, found, None, remembered)


def target_answer(trend: Trend, chosen: Guideline, found: Safety) -> TargetAnswer:
    """Return where the usual pressure lies about the target, and how surely."""
    written = written_species(trend.records, trend.series.animal)
    if written:
        return no_target(chosen, f"no target is on file for this species ({written})")
    value, kind = target_for(trend, chosen)
    below = below_judged(trend)
    p = below(value)
    verdict = _ON_TARGET[settled(p)]
    stated = chosen.target if kind == "guideline" else chosen.raised
    withheld = found.withheld("target")
    open_ = verdict is Verdict.NOT_SETTLED and not withheld
    added = float(judged_offset([trend.series.condition])[0])
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
        reason=None,
    )


def no_target(chosen: Guideline, reason: str = SYSTOLIC_ONLY) -> TargetAnswer:
    """Return the target of a series that has none, and why."""
    return TargetAnswer(
        guideline=chosen.key,
        kind=None,
        value=None,
        p_at_or_below=None,
        p_target=None,
        floor=None,
        p_below_floor=None,
        judged_offset=0.0,
        verdict=None,
        withheld=None,
        settle=(),
        remembered=False,
        reason=reason,
    )


def share_answer(trend: Trend, control: TargetAnswer) -> ShareAnswer:
    """Return the share of days at target over the record."""
    if control.value is None:
        return ShareAnswer(None, None, None, 0, control.reason)
    share = share_at_target(trend, control.value - control.judged_offset)
    reason = None
    if share.interpolated is None:
        reason = "all sessions are of one date"
        if share.days and share.left_out:
            reason = "sessions with a reading beyond the gauge have no mean to draw a line through"
    told = share.expected, share.interpolated, share.days, reason, share.left_out
    return ShareAnswer(control.value, *told)


def recheck_answer(found: Safety, left_reason: str) -> RecheckAnswer:
    """Return when to measure again, or why no window is given."""
    again, held = found.recheck, found.standing
    if held.left:
        why = f" ({left_reason})" if left_reason else ""
        return no_recheck(f"the animal left the practice{why}")
    if again is None:
        return no_recheck(f"no intervals are on file for this species ({held.written})")
    latest = again.latest
    never = bool(np.isnat(again.earliest))
    return RecheckAnswer(
        state=again.row.state,
        row=again.row.key,
        earliest=None if never else again.earliest,
        latest=latest,
        counted_from=again.counted_from,
        guideline=again.window.guideline,
        guideline_name=_name(again.window),
        grade=again.window.grade,
        remembered=again.window.fact is not None and again.window.fact.remembered,
        reason=_reason(found, again),
        overdue_days=again.overdue_days,
        others=tuple(
            OtherWindow(
                guideline=one.guideline,
                name=_name(one),
                earliest=again.counted_from + (one.earliest or 0) * _DAY,
                latest=again.counted_from + one.latest * _DAY,
                grade=one.grade,
                remembered=one.fact is not None and one.fact.remembered,
            )
            for one in again.others
        ),
        by=latest,
        guideline_by=latest,
        model=None,
        model_reason="the trend does not shorten a window",
    )


def _name(window: Window) -> str:
    return source(PROJECT if window.fact is None else window.fact.source).name


def _reason(found: Safety, again: Recheck) -> str:
    from bpvet.wording.en.safety.recheck import recheck_reason

    return recheck_reason(found, again)


def no_recheck(reason: str) -> RecheckAnswer:
    """Return that no window is given, and why."""
    return RecheckAnswer(
        state=None,
        row=None,
        earliest=None,
        latest=None,
        counted_from=None,
        guideline=None,
        guideline_name=None,
        grade=None,
        remembered=False,
        reason=reason,
        overdue_days=0,
        others=(),
    )
