"""What is urgent, and when to measure again, as frozen answers."""

from __future__ import annotations

import numpy as np

from bpvet.equality import Content
from bpvet.facts.categories import Guideline
from bpvet.facts.recheck import Window
from bpvet.facts.sources import PROJECT, source
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Number
from bpvet.models.safety.recheck import Recheck
from bpvet.models.safety.safety import Safety
from bpvet.reasons import reason


@dataclass(frozen=True, eq=False)
class UrgentAnswer(Content):
    """An urgent line: the rule and which of its conditions fits, the words, its date and age.

    `withholds` is ``all``, ``verdicts``, ``target`` or blank; `fact` is the id of the fact behind
    the number that it names, blank without one; `value` is the measured number that it rests on,
    in its unit, and `signs` are the signs, as written, each with its canonical name in `terms`
    (blank where it is not understood).
    """

    rule: str
    text: str
    on: np.datetime64
    age_days: int
    why: str
    withholds: str
    fact: str
    value: Number
    signs: tuple[str, ...]
    terms: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class OtherWindow(Content):
    """What another guideline says of the same state, days counted from the same date."""

    guideline: str
    name: str
    earliest: np.datetime64
    latest: np.datetime64
    grade: str
    remembered: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class RecheckAnswer(Content):
    """When again: a window, whose it is, and why; or, with nothing else, why there is none.

    `read_first` is what is to be found out first (`bpvet.models.safety.safety.READ_FIRST`), where
    a far date is withheld for it; blank otherwise.
    `state` and `row` are those of `bpvet.facts.recheck`; `guideline` is the key of the guideline
    whose interval it is, ``project`` for a judgement. `by`, `guideline_by`, `model` and
    `model_reason` are kept for one release: the trend no longer shortens a window.
    """

    state: str | None = None
    row: str | None = None
    earliest: np.datetime64 | None = None
    latest: np.datetime64 | None = None
    counted_from: np.datetime64 | None = None
    guideline: str | None = None
    guideline_name: str | None = None
    grade: str | None = None
    remembered: bool = False
    reason: str
    overdue_days: int = 0
    others: tuple[OtherWindow, ...] = ()
    by: np.datetime64 | None = None
    guideline_by: np.datetime64 | None = None
    model: np.datetime64 | None = None
    model_reason: str | None = None
    read_first: tuple[str, ...] = ()


def urgent_answers(found: Safety, chosen: Guideline) -> tuple[UrgentAnswer, ...]:
    """Return what is urgent, in words; the most pressing first."""
    from bpvet.wording.en.safety.urgent import urgent_sentence

    seen = found.found.seen
    latest = None if seen.latest is None else seen.latest.date
    return tuple(
        UrgentAnswer(
            rule=line.rule,
            text=urgent_sentence(line, chosen, seen.species, latest),
            on=line.on,
            age_days=line.age_days,
            why=line.why,
            withholds=line.withholds,
            fact=line.fact,
            value=line.value,
            signs=tuple(sign.text for sign in line.signs),
            terms=tuple(sign.term for sign in line.signs),
        )
        for line in found.lines
    )


def recheck_answer(found: Safety, left_reason: str, *, others: bool = True) -> RecheckAnswer:
    """Return when to measure again, or why no window is given; with what other guidelines say.

    None where `Safety.withholds_date`: a far date beside a sign that may be there, and that nobody
    has answered, would read as time enough.
    """
    again, standing = found.recheck, found.standing
    if standing.left:
        because = reason("recheck.left_because", why=left_reason)
        return no_recheck(because if left_reason else reason("recheck.left"))
    if again is None:
        return no_recheck(reason("recheck.species", species=standing.written))
    if found.withholds_date:
        return RecheckAnswer(reason=reason("recheck.read_first"), read_first=found.first)
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
                guideline=window.guideline,
                name=_name(window),
                earliest=again.counted_from + np.timedelta64(window.earliest or 0, "D"),
                latest=again.counted_from + np.timedelta64(window.latest, "D"),
                grade=window.grade,
                remembered=window.fact is not None and window.fact.remembered,
            )
            for window in (again.others if others else ())
        ),
        by=latest,
        guideline_by=latest,
        model_reason=reason("recheck.not_shortened"),
    )


def _name(window: Window) -> str:
    return source(PROJECT if window.fact is None else window.fact.source).name


def _reason(found: Safety, again: Recheck) -> str:
    from bpvet.wording.en.safety.recheck import recheck_reason

    return recheck_reason(found, again)


def no_recheck(why: str) -> RecheckAnswer:
    """Return that no window is given, and why."""
    return RecheckAnswer(reason=why)
