"""From records and a trend to all that decides when an animal is to be measured again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache, cached_property
from typing import Any

import numpy as np

from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS, Bound
from bpvet.frozen import dataclass
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.recheck import Standing
from bpvet.models.trend.effects import FINISHED_TAUS
from bpvet.models.trend.outlook import Surprise, category_withheld, surprise
from bpvet.models.trend.trend import Trend
from bpvet.records.animal_rows import animal_rows
from bpvet.visits.latest_date import added_to, judged_offset, latest_date, systolic_of
from bpvet.visits.seen import AnimalRecord
from bpvet.visits.session_columns import SessionColumns, SessionTable, column
from bpvet.visits.treatments.changes import Change
from bpvet.visits.treatments.courses import Treatments
from bpvet.visits.urgency import Urgent

_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, eq=False)
class Dates:
    """An animal's dates with an awake or calmed session that has a number.

    Parameters
    ----------
    date : (d,) datetime64[D]
        Distinct dates, ascending.
    high, low : (d,) float
        Highest and lowest session mean of each, as judged by a clinic's bounds, mmHg.
    low_measured : (d,) float
        Lowest session mean as measured.
    clinic : (d,) bool
        Whether one of its sessions was in the clinic, awake.
    """

    date: np.ndarray
    high: np.ndarray
    low: np.ndarray
    low_measured: np.ndarray
    clinic: np.ndarray

    @property
    def first(self) -> np.datetime64:
        """The first of them; NaT where there is none."""
        return np.datetime64(self.date[0] if self.date.size else "NaT", "D")

    def between(self, begin: int, end: int) -> Dates:
        """Return those from one place up to another."""
        rows = slice(begin, end)
        columns = (self.date, self.high, self.low, self.low_measured, self.clinic)
        return Dates(*(values[rows] for values in columns))

    @cached_property
    def day(self) -> list[int]:
        """Days since 1970-01-01 of each: of few dates plain numbers are compared faster."""
        return self.date.astype(np.int64).tolist()


@dataclass(frozen=True)
class Bounds:
    """The pressures that an animal is judged by, mmHg: its own target first."""

    target: float
    guideline: Guideline

    @property
    def raised(self) -> float:
        """Where the raised range begins."""
        return self.guideline.raised.value

    @property
    def floor(self) -> float:
        """Below it a treated animal's pressure is low."""
        return self.guideline.floor.value


def dates_of(sessions: SessionTable) -> Dates:
    """Return the dates of one animal's sessions, as `bpvet.sessions` gives them."""
    if isinstance(sessions, SessionColumns):
        return sessions.once("dates", lambda: _dates_of(sessions))
    return _dates_of(sessions)


def _dates_of(sessions: SessionTable) -> Dates:
    has = ~np.isnan(column(sessions, "systolic").astype(float))
    condition = column(sessions, "condition")[has]
    trended = np.array([word in TREND_CONDITIONS for word in condition], dtype=bool)
    bound, plain, judged = (values[trended] for values in systolic_of(sessions))
    day = column(sessions, "date").astype("datetime64[D]")[has][trended]
    first = np.append(True, day[1:] != day[:-1])[: day.size]
    return _by_date(day, bound, plain, judged, condition[trended] == "clinic", first)


def keep_dates(sessions: Mapping[str, SessionColumns]) -> None:
    """Work out the dates of every animal in one pass, and keep them where `dates_of` looks.

    Parameters
    ----------
    sessions : mapping of str to SessionColumns
        By animal, as `bpvet.visits.clinic_sessions.clinic_sessions` gives them.
    """
    if not sessions:
        return
    whole = next(iter(sessions.values())).at(slice(None))
    plain = whole["systolic"].astype(float)
    condition = whole["condition"]
    kept = np.isin(condition.astype(str), TREND_CONDITIONS) & ~np.isnan(plain)
    judged = plain + judged_offset(condition.tolist())
    length = [len(columns) for columns in sessions.values()]
    owner = np.repeat(np.arange(len(length)), length)[kept]
    day = whole["date"].astype("datetime64[D]")[kept]
    first = np.append(True, (day[1:] != day[:-1]) | (owner[1:] != owner[:-1]))[: day.size]
    of_all = _by_date(
        day,
        whole["systolic_bound"][kept],
        plain[kept],
        judged[kept],
        condition[kept] == "clinic",
        first,
    )
    at = np.searchsorted(owner[first], np.arange(len(length) + 1)).tolist()
    for columns, begin, end in zip(sessions.values(), at, at[1:], strict=False):
        columns.keep("dates", of_all.between(begin, end))


def _by_date(
    day: np.ndarray,
    bound: np.ndarray,
    plain: np.ndarray,
    judged: np.ndarray,
    clinic: np.ndarray,
    first: np.ndarray,
) -> Dates:
    """Return the dates of sessions (n,) that stand by date; `first` (n,): the first of a date."""
    start = np.flatnonzero(first)
    if not start.size:
        nothing = np.zeros(0)
        return Dates(day, nothing, nothing, nothing, np.zeros(0, dtype=bool))
    # A bound says nothing of the side that it does not bound.
    least, most = bound == Bound.AT_LEAST, bound == Bound.AT_MOST
    return Dates(
        date=day[start],
        high=np.maximum.reduceat(np.where(most, -np.inf, judged), start),
        low=np.minimum.reduceat(np.where(least, np.inf, judged), start),
        low_measured=np.minimum.reduceat(np.where(least, np.inf, plain), start),
        clinic=np.logical_or.reduceat(clinic, start),
    )


def below_judged(trend: Trend) -> Callable[[float], float]:
    """Return P(usual < x) of a systolic trend, judged by a clinic's bounds, as a function of x."""
    added = added_to(trend.series.condition)
    return lambda value: float(trend.latest.below(value - added))


def standing(
    case: AnimalCase,
    found: AnimalRecord,
    chosen: Guideline,
    lines: Sequence[Urgent],
    newest: Callable[[Trend], Surprise | None] = surprise,
) -> Standing:
    """Return all that decides when the animal is to be measured again.

    Parameters
    ----------
    case : AnimalCase
    found : AnimalRecord
        The animal's signs, changes of treatment and laboratory values.
    chosen : Guideline
    lines : sequence of Urgent
        Its urgent lines under that guideline.
    newest : function, optional
        How its newest session stands to the earlier ones: a fit of its own, which a whole clinic
        makes only where it can matter.
    """
    trend, treatments, seen = case.trend, case.treatments, found.seen
    as_of, dates = case.records.as_of, dates_of(case.sessions)
    # Of animals that were never sedated it is the date that urgency is judged on.
    sedated = not set(column(case.sessions, "condition").tolist()) <= set(TREND_CONDITIONS)
    day = latest_date(case.sessions, TREND_CONDITIONS) if sedated else seen.latest
    latest = None if day is None else day.date
    row = animal_rows(case.records)[seen.animal]
    bounds = Bounds(row.target_systolic or chosen.target.value, chosen)
    probabilities = _probabilities(trend, bounds)
    upper, lower = tails(None if trend is None else newest(trend))
    return Standing(
        as_of=as_of,
        latest=latest,
        left=seen.left,
        species=seen.species,
        written=seen.written,
        age_years=row.age_years(as_of if latest is None else latest, dates.first),
        judged=not seen.written and (trend is None or category_withheld(trend) is None),
        treated=treated_on(treatments, as_of),
        on_drug=seen.on_drug,
        **probabilities,
        upper_tail=upper,
        lower_tail=lower,
        highest=None if day is None else day.highest,
        lowest=None if day is None else day.lowest,
        target=bounds.target,
        raised=bounds.raised,
        floor=bounds.floor,
        urgent=tuple(lines),
        sign_open_on=next((line.on for line in reversed(lines) if line.rule == "sign_open"), None),
        changed_on=_unanswered(found.changes, treatments, dates, as_of),
        stopped_on=_stopped(found.changes, treatments, dates, latest),
        **_counted(dates, found, bounds, probabilities["p_below_floor"], as_of, latest),
        since=_since(found.changes, treatments, dates),
        at_risk=found.at_risk,
        risks=found.risks,
        away=_away(trend, dates, as_of),
        kidneys_unknown=found.kidneys.missing is not None,
    )


def _counted(
    dates: Dates,
    found: AnimalRecord,
    bounds: Bounds,
    below_floor: float | None,
    as_of: np.datetime64,
    latest: np.datetime64 | None,
) -> dict[str, Any]:
    """Return how often the animal's dates lay beyond bounds: fields of `Standing`.

    Parameters
    ----------
    dates, found
        Its dates, and its changes of treatment.
    bounds : Bounds
    below_floor : float or None
        P(usual < floor).
    as_of, latest : datetime64[D]
    """
    target, raised, floor = bounds.target, bounds.raised, bounds.floor
    severe, high = _number("urgent.severe"), _number("urgent.raised")
    on_low = _number("urgent.low_on_drug")
    likely = below_floor is not None and below_floor >= _number("urgent.low_likely")
    today = int(as_of.astype(np.int64))
    changed = [int(change.date.astype(np.int64)) for change in found.changes if change.modelled]
    days, lows = dates.day, dates.low.tolist()
    tops, measured = dates.high.tolist(), dates.low_measured.tolist()
    highs = [value for day, value in zip(days, tops, strict=True) if day > today - 730]
    last = max([today - 730, *changed])
    since = [i for i, day in enumerate(days) if day > last]
    above = [days[i] for i in since if tops[i] > target]
    latest_day = None if latest is None else int(latest.astype(np.int64))
    return {
        "severe_dates": sum([value >= severe for value in highs]),
        "dates_160": sum([value >= high for value in highs]),
        "raised_dates": sum([value >= raised for value in highs]),
        "above_dates": len(above),
        "above_days": above[-1] - above[0] if len(above) > 1 else 0,
        "low_dates": sum([measured[i] < on_low or (likely and lows[i] < floor) for i in since]),
        "below_floor_before": any(
            day > today - 180 and day != latest_day and on_low <= low < floor
            for day, low in zip(days, lows, strict=True)
        ),
    }


@cache
def _number(key: str) -> float:
    value = fact(f"project.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return value


def tails(found: Surprise | None) -> tuple[float | None, float | None]:
    """Return the upper and the lower one-sided tail of a newest session; None without one."""
    if found is None:
        return None, None
    return found.tails


def _probabilities(trend: Trend | None, bounds: Bounds) -> dict[str, Any]:
    """Return how likely the usual pressure lies about each bound: fields of `Standing`."""
    if trend is None:
        return dict.fromkeys(("p_target", "p_160", "p_raised", "p_180", "p_below_floor"))
    added = added_to(trend.series.condition)
    high, severe = _number("urgent.raised"), _number("urgent.severe")
    # Some of these are one number: each is asked for once.
    values = sorted({bounds.target, high, bounds.raised, severe, bounds.floor})
    known = np.ravel(trend.latest.below(np.array(values) - added)).tolist()
    below = dict(zip(values, known, strict=True))
    return {
        "p_target": below[bounds.target],
        "p_160": 1 - below[high],
        "p_raised": 1 - below[bounds.raised],
        "p_180": 1 - below[severe],
        "p_below_floor": below[bounds.floor],
    }


def treated_on(treatments: Treatments, as_of: np.datetime64) -> bool:
    """Return whether a modelled course is on at a date, its last day included."""
    return any(
        course.started_on <= as_of and (np.isnat(course.stopped_on) or course.stopped_on >= as_of)
        for course in treatments.courses
    )


def _unanswered(
    changes: Sequence[Change], treatments: Treatments, dates: Dates, as_of: np.datetime64
) -> np.datetime64 | None:
    """Return the newest change that no date a week or more after it has answered.

    Every change of a pressure drug, those of a drug off the list while it is on, and the start of
    a drug known to raise pressure.
    """
    on = {drug.drug for drug in treatments.others if drug.on(as_of) or drug.started_on == as_of}
    counted = [
        change.date
        for change in changes
        if change.modelled
        or (not change.known and change.kind != "stop" and change.drug in on)
        or (change.raises and change.kind == "start")
    ]
    if not counted:
        return None
    last = max(counted)
    wait = int(_number("recheck.answers_change")) * _DAY
    return None if np.any(dates.date >= last + wait) else last


def _stopped(
    changes: Sequence[Change],
    treatments: Treatments,
    dates: Dates,
    latest: np.datetime64 | None,
) -> np.datetime64 | None:
    """Return the newest stop of a pressure drug that fewer than two settled dates follow."""
    stops = [change for change in changes if change.kind == "stop" and change.modelled]
    if not stops:
        return None
    last = max(stops, key=lambda change: change.date)
    if latest is not None and latest - last.date > 120 * _DAY:
        return None
    wait = np.ceil(FINISHED_TAUS * _tau(treatments, last.drug)) * _DAY
    return last.date if np.sum(dates.date >= last.date + wait) < 2 else None


def _tau(treatments: Treatments, drug: str) -> float:
    of_drug = [
        course.tau_days
        for course in treatments.courses
        if drug in (course.drug, *course.together_with)
    ]
    every = [course.tau_days for course in treatments.courses]
    return max(of_drug or every or [0.0])


def _since(changes: Sequence[Change], treatments: Treatments, dates: Dates) -> int:
    """Return the settled dates after the last change, each seven days or more after the one before.

    Settled: at least a week and three time constants after it.
    """
    modelled = [change for change in changes if change.modelled]
    last = max(modelled, key=lambda change: change.date, default=None)
    after = dates.day
    if last is not None:
        wait = max(7, int(np.ceil(FINISHED_TAUS * _tau(treatments, last.drug))))
        settled = int(last.date.astype(np.int64)) + wait
        after = [day for day in after if day >= settled]
    count, before = 0, None
    for day in after:
        if before is None or day - before >= 7:
            count, before = count + 1, day
    return count


def _away(trend: Trend | None, dates: Dates, as_of: np.datetime64) -> bool:
    if trend is None or trend.series.condition == "clinic":
        return False
    return not bool(np.any(dates.clinic & (dates.date > as_of - 180 * _DAY)))
