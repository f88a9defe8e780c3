"""Which examinations of eyes, blood and urine are due, apart from the pressure: our own rules.

The intervals are facts ``project.due.*``, judgements of this project. An examination that is not
on record counts as not done.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np

from bpvet.facts.sources import Fact, fact
from bpvet.frozen import dataclass
from bpvet.models.safety.safety import Safety
from bpvet.models.safety.standing import dates_of
from bpvet.visits.labs.history import days_between
from bpvet.visits.session_columns import SessionTable
from bpvet.visits.treatments.courses import Treatments, is_on

#: What a check looks at.
EYES, BLOODS, URINE = "eyes", "bloods", "urine"
#: Values that answer a check of the blood or the urine: one of each group.
_GROUPS = {
    "kidney": (BLOODS, ("creatinine", "sdma")),
    "potassium": (BLOODS, ("potassium",)),
    "protein": (URINE, ("upc",)),
}
#: Readings of a sign that show that somebody looked.
_LOOKED = ("present", "denied", "past")
_STARTS = ("start", "dose", "product")


@dataclass(frozen=True)
class Check:
    """An examination that is due, or will be.

    Parameters
    ----------
    what : str
        ``eyes``, ``bloods`` or ``urine``.
    rule : str
        ``eyes.severe``, ``eyes.first``, ``eyes.open``, ``eyes.yearly``, ``renin`` or ``stage``.
    since : datetime64[D]
        The day of what asks for it: a session, a change of drug, the last value.
    earliest, latest : datetime64[D]
        Its window.
    values : tuple of str
        What is missing of the laboratory: ``kidney``, ``potassium``, ``protein``; none of the eyes.
    detail : str
        The drug, or the stage, that asks for it; blank for the eyes.
    fact_id : str
        The fact behind the interval; blank where it is asked for at once.
    """

    what: str
    rule: str
    since: np.datetime64
    earliest: np.datetime64
    latest: np.datetime64
    values: tuple[str, ...] = ()
    detail: str = ""
    fact_id: str = ""

    def overdue_days(self, as_of: np.datetime64) -> int:
        """Return by how many days it is overdue; 0 where it is not."""
        return max(0, days_between(self.latest, as_of))


def checks_due(safety: Safety, sessions: SessionTable, treatments: Treatments) -> tuple[Check, ...]:
    """Return the next examination of each kind, of those that have a date.

    Parameters
    ----------
    safety : Safety
        What comes before any trend of the animal.
    sessions : DataFrame or SessionColumns
        Its sessions.
    treatments : Treatments
        Its courses and other drugs.

    Returns
    -------
    tuple of Check
        At most one of the eyes, of the blood and of the urine, the soonest of each.
    """
    if safety.found.seen.written or safety.standing.left:
        return ()
    found = [*_eyes(safety, sessions), *_after_change(safety, treatments), *_by_stage(safety)]
    soonest: list[Check] = []
    for what in (EYES, BLOODS, URINE):
        of_kind = [check for check in found if check.what == what]
        if of_kind:
            soonest.append(min(of_kind, key=lambda check: (check.latest, check.rule)))
    return tuple(soonest)


def _eyes(safety: Safety, sessions: SessionTable) -> Iterator[Check]:
    seen, standing = safety.found.seen, safety.standing
    looked = [
        row.seen_on
        for row in safety.found.rows
        if row.group in ("eye", "look") and row.reading in _LOOKED and not row.is_note
    ]
    last = max(looked, default=None)

    def since(day: np.datetime64) -> bool:
        return last is not None and bool(last >= day)

    latest = seen.latest
    severe, raised = _number("urgent.severe"), _number("urgent.raised")
    high = None if latest is None else latest.highest
    if latest is not None and high is not None and high >= severe and not since(latest.date):
        yield Check(EYES, "eyes.severe", latest.date, latest.date, latest.date)
    # The first date with a session of a trend at or above the raised range.
    dates = dates_of(sessions)
    index = next((i for i, top in enumerate(dates.high.tolist()) if top >= raised), None)
    first = None if index is None else np.datetime64(dates.date[index], "D")
    if first is not None and not since(first):
        yield Check(EYES, "eyes.first", first, first, first)
    if any(
        sign.group in ("eye", "look") and sign.reading == "present" and not sign.longstanding
        for sign in seen.signs
        if not sign.asked_only
    ):
        missed = latest is not None and not since(latest.date)
        day = latest.date if missed and latest is not None else _next_visit(safety)
        if day is not None:
            yield Check(EYES, "eyes.open", day if last is None else last, day, day)
    if first is None and not standing.treated:
        return
    if last is None:
        starts = [change.date for change in safety.found.changes if change.modelled]
        if first is None and starts:
            # Treated, never measured as raised, and no examination on record.
            yield Check(EYES, "eyes.yearly", starts[0], starts[0], starts[0])
        return
    due = last + np.timedelta64(int(_fact("eyes_yearly").value or 0), "D")
    yield Check(EYES, "eyes.yearly", last, due, due, fact_id=_fact("eyes_yearly").id)


def _next_visit(safety: Safety) -> np.datetime64 | None:
    return None if safety.recheck is None else safety.recheck.latest


def _after_change(safety: Safety, treatments: Treatments) -> Iterator[Check]:
    as_of = safety.standing.as_of
    on = {
        span.drug: span.started_on
        for span in treatments.spans
        if span.renin
        and (span.started_on == as_of or is_on(span.started_on, span.stopped_on, as_of))
    }
    changed = {
        change.drug: change.date
        for change in safety.found.changes
        if change.renin and change.kind in _STARTS and change.drug in on
    }
    # A drug whose purpose is another than pressure has no changes there: its rows have dates.
    newest = max(((changed.get(drug, day), drug) for drug, day in on.items()), default=None)
    if newest is None:
        return
    day, drug = newest
    interval = _fact("bloods_change")
    low, high = int(interval.low or 0), int(interval.high or 0)
    window = day + np.timedelta64(low, "D"), day + np.timedelta64(high, "D")
    missing = [
        name for name in _GROUPS if (last := _last(safety, name)) is None or last < window[0]
    ]
    yield from _missing(missing, "renin", day, window, drug, interval.id)


def _by_stage(safety: Safety) -> Iterator[Check]:
    stage = safety.found.kidneys.stage.stage
    if stage is None or stage < 2:
        return
    interval = _fact("bloods_stage_4" if stage >= 4 else "bloods_stage_3")
    low = int(interval.low or interval.value or 0)
    high = int(interval.high or interval.value or 0)
    newest = {name: _last(safety, name) for name in _GROUPS}
    together: dict[np.datetime64, list[str]] = {}
    for name, day in newest.items():
        if (since := day or newest["kidney"]) is not None:
            together.setdefault(since, []).append(name)
    for day, names in together.items():
        window = day + np.timedelta64(low, "D"), day + np.timedelta64(high, "D")
        for name in names:
            yield from _missing([name], "stage", day, window, str(stage), interval.id)


def _missing(
    names: Sequence[str],
    rule: str,
    since: np.datetime64,
    window: tuple[np.datetime64, np.datetime64],
    detail: str,
    fact_id: str,
) -> Iterator[Check]:
    for what in (BLOODS, URINE):
        values = tuple(name for name in names if _GROUPS[name][0] == what)
        if values:
            yield Check(what, rule, since, *window, values, detail, fact_id)


def _last(safety: Safety, group: str) -> np.datetime64 | None:
    """Return the day of the newest value of a group, or None."""
    history, as_of = safety.found.kidneys.history, safety.standing.as_of
    newest = (history.newest(analyte, as_of) for analyte in _GROUPS[group][1])
    return max((day for day in newest if day is not None), default=None)


@cache
def _fact(key: str) -> Fact:
    return fact(f"project.due.{key}")


@cache
def _number(key: str) -> float:
    return float(fact(f"project.{key}").value or 0)
