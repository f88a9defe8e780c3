"""A clinic's animals over time on treatment: at target at three and six months, and how soon.

Every animal that was begun on a pressure drug is counted, and where each one is: at target, above,
not measured, dead, gone, or not long enough on the drug. Time to target has death and leaving as
competing events. Drug classes are shown apart and never compared: who was given which says more
than the drug.

Source: cumulative incidence by Aalen and Johansen (1978) and the product limit of Kaplan and Meier
(1958), as statsmodels' `CumIncidenceRight` and `SurvfuncRight` have them; intervals of shares by
Wilson (1927).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.drugs import drug as drug_of
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass, replace
from bpvet.maths.estimate import values_of
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.sessions import sessions
from bpvet.visits.treatments.courses import all_courses

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DAY = np.timedelta64(1, "D")
#: Where an animal is at a horizon; together every animal that was begun.
NOT_YET_DUE = "not yet due"
PLACES = ("at target", "above", "not measured", "died", "left", NOT_YET_DUE)
#: What may end the wait for target, and what does not.
EVENTS = ("at target", "died", "left")
#: The class of drugs that were begun together.
SEVERAL_TOGETHER = "several begun together"
HORIZONS = ("three_months", "six_months")


@dataclass(frozen=True)
class Started:
    """One animal from the start of its first pressure drug.

    Parameters
    ----------
    animal, drug_class : str
    started_on : datetime64[D]
    above_before : bool or None
        Whether its last session before lay above target; None without one.
    places : tuple of str
        Where it is at each of `HORIZONS`, from `PLACES`.
    days : float
        From the start to the event, or to the last session.
    event : str
        From `EVENTS`; blank where none was seen.
    since : float
        Days from the start to the session before the event: target was reached between the two.
    """

    animal: str
    drug_class: str
    started_on: np.datetime64
    above_before: bool | None
    places: tuple[str, ...]
    days: float
    event: str
    since: float


@dataclass(frozen=True)
class ShareAt:
    """Where the animals are some months after the start.

    Parameters
    ----------
    horizon : str
        From `HORIZONS`.
    drug_class : str
        Blank for all.
    started : int or None
    counts : dict
        Animals at each of `PLACES`; None where so few are not shown.
    share, lower, upper : float or None
        Share at target of those measured, with its interval.
    """

    horizon: str
    drug_class: str
    started: int | None
    counts: dict[str, int | None]
    share: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Incidence:
    """Share of the animals above target at the start that had met an event by a day.

    Parameters
    ----------
    day : int
    event : str
        From `EVENTS`.
    share, lower, upper : float or None
        The share is None where no animal was followed so long, and where so few are not shown;
        the ends also at 0 and 1.
    at_risk : int or None
        Animals still waited for on that day.
    """

    day: int
    event: str
    share: float | None
    lower: float | None
    upper: float | None
    at_risk: int | None


@dataclass(frozen=True, eq=False, repr=False)
class OverTime(Tabled, Content):
    """A clinic's animals over time on treatment.

    Parameters
    ----------
    guideline : str
        Whose target, where the vet has set none for an animal.
    started : int
        Animals begun on a pressure drug.
    waited : int or None
        Of these, above target at their last session before: those that time to target is told of.
    unknown_before, below_before : int or None
        Without a session before, and not above target then.
    shares : tuple of ShareAt
        All animals, then each class of drug, at each horizon.
    incidence : tuple of Incidence
    median_days : float or None
        Days by which half would be at target if none died or left (Kaplan–Meier).
    wide_days : float or None
        Median days between the session that showed target and the one before.
    pseudonyms : bool
        Whether small numbers are left out.
    """

    guideline: str
    started: int
    waited: int | None
    unknown_before: int | None
    below_before: int | None
    shares: tuple[ShareAt, ...]
    incidence: tuple[Incidence, ...]
    median_days: float | None
    wide_days: float | None
    pseudonyms: bool

    def to_frame(self) -> pd.DataFrame:
        """Return a row for each horizon and class: counts at each place, and the share."""
        return pd.DataFrame(
            [
                {
                    "horizon": share.horizon,
                    "drug_class": share.drug_class or "all",
                    "started": share.started,
                    **share.counts,
                    "share": share.share,
                    "lower": share.lower,
                    "upper": share.upper,
                }
                for share in self.shares
            ]
        )

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: shares with their intervals."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.over_time import over_time_picture

        return plotted(over_time_picture(self), ax, width_mm)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        values: dict[str, Any] = values_of(self)
        return values

    def _table(self) -> ShortTable:
        rows = tuple(
            (
                f"{share.horizon.replace('_', ' ')}, {share.drug_class or 'all'}",
                _shown(share.started),
                *(_shown(share.counts[where]) for where in PLACES),
                "–" if share.share is None else f"{number(100 * share.share, 0)} %",
            )
            for share in self.shares
        )
        heads = ("", "begun", *PLACES, reason("over_time.share"))
        return ShortTable(reason("over_time.title", animals=self.started), heads, rows)


def over_time(
    records: Records, *, guideline: str = "acvim2018", pseudonyms: bool = False
) -> OverTime:
    """Return where a clinic's treated animals are three and six months on, and how soon at target.

    Parameters
    ----------
    records : Records
    guideline : str
        Key of the guideline whose target counts where the vet has set none for an animal.
    pseudonyms : bool
        Whether numbers of fewer than five animals are left out (fact ``project.time.small``).

    Raises
    ------
    CallError
        For an unknown guideline.
    RecordsError
        Where the records have findings that stop the work.

    Notes
    -----
    Sessions in the clinic, awake. At a horizon the session nearest to it within its window counts
    (facts ``project.time``). A bound "at least" is not at target. Target is seen at a session, and
    was reached some time since the one before: times are of the session, and so too long.
    """
    records.require_usable()
    chosen = guideline_of(guideline)
    found = started_animals(records, chosen.target.value)
    waiting = [animal for animal in found if animal.above_before]
    classes = sorted({animal.drug_class for animal in found})
    shares = [
        _share(horizon, index, "" if name is None else name, found)
        for name in (None, *classes)
        for index, horizon in enumerate(HORIZONS)
    ]
    incidence, median = _incidence(waiting)
    reached = [animal.days - animal.since for animal in waiting if animal.event == "at target"]
    result = OverTime(
        guideline=chosen.key,
        started=len(found),
        waited=len(waiting),
        unknown_before=sum(animal.above_before is None for animal in found),
        below_before=sum(animal.above_before is False for animal in found),
        shares=tuple(shares),
        incidence=incidence,
        median_days=median,
        wide_days=float(np.median(reached)) if reached else None,
        pseudonyms=pseudonyms,
    )
    return _small_left_out(result) if pseudonyms else result


def started_animals(records: Records, target: float) -> tuple[Started, ...]:
    """Return every animal that was begun on a pressure drug; `target` where it has none of its own.

    Parameters
    ----------
    records : Records
    target : float
        mmHg.
    """
    table = sessions(records)
    table = table[(table["condition"] == "clinic") & table["systolic"].notna()]
    code, names = pd.factorize(table["animal"])
    order = np.argsort(code, kind="stable")
    bounds = np.searchsorted(code[order], np.arange(len(names) + 1))
    index = {str(name): at for at, name in enumerate(names)}
    date = table["date"].to_numpy(dtype="datetime64[D]")[order]
    mean = table["systolic"].to_numpy(dtype=float)[order]
    open_above = (table["systolic_bound"] == "at least").to_numpy(dtype=bool)[order]
    animals = _animals(records)
    found = []
    for animal, given in sorted(all_courses(records).items()):
        bases = [course for course in given.courses if course.kind == "base"]
        if not bases:
            continue
        first = min(bases, key=lambda course: course.started_on)
        own_target, left = animals[animal]
        at = index.get(animal)
        rows = slice(0, 0) if at is None else slice(bounds[at], bounds[at + 1])
        low = (mean[rows] <= (own_target if np.isfinite(own_target) else target)) & ~open_above[
            rows
        ]
        days, which = np.unique(date[rows], return_inverse=True)
        # A date is at target where all its sessions are.
        at_target = np.ones(days.size, dtype=bool)
        np.logical_and.at(at_target, which, low)
        found.append(
            _started(animal, _class(first.drug), first.started_on, days, at_target, left, records)
        )
    return tuple(found)


def _animals(records: Records) -> dict[str, tuple[float, tuple[str, np.datetime64] | None]]:
    """Return each animal's target, NaN where it has none of its own, and how and when it left."""
    table = records.animals
    gone = table["left_on"].to_numpy(dtype="datetime64[D]")
    columns = table["animal"], table["target_systolic"], table["left_reason"], gone
    found: dict[str, tuple[float, tuple[str, np.datetime64] | None]] = {}
    for animal, target, why, day in zip(*columns, strict=True):
        left = None
        if not np.isnat(day) and day <= records.as_of:
            left = ("died" if why == "died" else "left"), day
        found[str(animal)] = float(target), left
    return found


def _class(name: str) -> str:
    """Return the class of a drug as the table of drugs has it; several begun together are one."""
    if " + " in name:
        return SEVERAL_TOGETHER
    found = drug_of(name)
    if found is None:
        return "other"
    if found.renin:
        return reason("cohort.renin")
    return "amlodipine" if found.name == "amlodipine" else "other"


def _started(
    animal: str,
    drug_class: str,
    start: np.datetime64,
    dates: np.ndarray,
    at_target: np.ndarray,
    left: tuple[str, np.datetime64] | None,
    records: Records,
) -> Started:
    memory = int(_number("before"))
    # A session on the start date comes before the first dose.
    before = np.flatnonzero((dates <= start) & (dates >= start - memory * _DAY))
    after = np.flatnonzero(dates > start)
    if left is not None:
        after = after[dates[after] <= left[1]]
    reached = after[at_target[after]]
    if reached.size:
        day, event = dates[reached[0]], "at target"
        earlier = dates[(dates >= start) & (dates < day)]
        since = earlier[-1] if earlier.size else start
    elif left is not None and left[1] >= start:
        (event, day), since = left, start
    else:
        event, day, since = "", dates[after[-1]] if after.size else start, start
    return Started(
        animal=animal,
        drug_class=drug_class,
        started_on=start,
        above_before=None if not before.size else not bool(at_target[before[-1]]),
        places=tuple(
            _outcome_at(horizon, start, dates[after], at_target[after], left, records.as_of)
            for horizon in HORIZONS
        ),
        days=float((day - start) / _DAY),
        event=event,
        since=float((since - start) / _DAY),
    )


def _outcome_at(
    horizon: str,
    start: np.datetime64,
    dates: np.ndarray,
    at_target: np.ndarray,
    left: tuple[str, np.datetime64] | None,
    as_of: np.datetime64,
) -> str:
    """Return where an animal is at a horizon: measured within its window, or why not."""
    stated = fact(f"project.time.{horizon}")
    assert stated.value is not None
    assert stated.low is not None
    assert stated.high is not None
    days = ((dates - start) / _DAY).astype(float)
    near = np.flatnonzero((days >= stated.low) & (days <= stated.high))
    if near.size:
        nearest = near[np.argmin(np.abs(days[near] - stated.value))]
        return "at target" if at_target[nearest] else "above"
    if left is not None and (left[1] - start) / _DAY <= stated.high:
        return left[0]
    return NOT_YET_DUE if (as_of - start) / _DAY < stated.high else "not measured"


def _number(key: str) -> float:
    value = fact(f"project.time.{key}").value
    assert value is not None
    return value


def _share(horizon: str, index: int, name: str, found: Sequence[Started]) -> ShareAt:
    counted_in = [animal for animal in found if name in ("", animal.drug_class)]
    counts = {
        where: sum(animal.places[index] == where for animal in counted_in) for where in PLACES
    }
    measured = counts["at target"] + counts["above"]
    share = lower = upper = None
    if measured:
        from statsmodels.stats.proportion import proportion_confint

        share = counts["at target"] / measured
        ends = proportion_confint(counts["at target"], measured, alpha=0.05, method="wilson")
        lower, upper = (float(end) for end in ends)
    return ShareAt(horizon, name, len(counted_in), dict(counts), share, lower, upper)


def _incidence(waiting: Sequence[Started]) -> tuple[tuple[Incidence, ...], float | None]:
    """Return the cumulative incidence of each event at the horizons, and the median by itself."""
    if not waiting:
        return (), None
    from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

    # A time of 0 was never at risk of anything that is seen later.
    days = np.array([max(animal.days, 0.5) for animal in waiting])
    status = np.array([EVENTS.index(animal.event) + 1 if animal.event else 0 for animal in waiting])
    found = []
    # Where everybody that is left meets an event, its standard error is no number: no interval.
    with np.errstate(divide="ignore", invalid="ignore"):
        fitted = CumIncidenceRight(days, status) if status.any() else None
    for horizon in HORIZONS:
        day = _number(horizon)
        at_risk = int(np.sum(days >= day))
        for index, event in enumerate(EVENTS):
            share = lower = upper = None
            if days.max() >= day or not (status == 0).any():
                share, error = _at(fitted, index, day)
                lower, upper = _ends(share, error)
            found.append(Incidence(int(day), event, share, lower, upper, at_risk))
    median = None
    if (status == 1).any():
        with np.errstate(divide="ignore", invalid="ignore"):
            middle = float(SurvfuncRight(days, (status == 1).astype(int)).quantile(0.5))
        median = middle if np.isfinite(middle) else None
    return tuple(found), median


def _ends(share: float, error: float) -> tuple[float | None, float | None]:
    """Return a 95 % interval on the scale of log(−log); none at 0, at 1 or without an error."""
    if not 0 < share < 1 or not np.isfinite(error):
        return None, None
    step = 1.96 * error / (share * abs(np.log(share)))
    return float(share ** np.exp(step)), float(share ** np.exp(-step))


def _at(fitted: Any, index: int, day: float) -> tuple[float, float]:
    """Return the incidence of an event by a day, and its standard error."""
    if fitted is None or index >= len(fitted.cinc):
        return 0.0, 0.0
    before = np.flatnonzero(fitted.times <= day)
    if not before.size:
        return 0.0, 0.0
    return float(fitted.cinc[index][before[-1]]), float(fitted.cinc_se[index][before[-1]])


def _small_left_out(found: OverTime) -> OverTime:
    """Return the same without numbers of few animals, and without what they follow from."""
    least = int(_number("small"))
    shares = tuple(_without_small(share, least) for share in found.shares)
    # What one class hides could be had from the others and the sum: then no class is shown.
    if any(share.drug_class and share.share is None and share.started is None for share in shares):
        shares = tuple(_hidden(share) if share.drug_class else share for share in shares)
    parts = (found.waited or 0, found.unknown_before or 0, found.below_before or 0)
    few = any(0 < count < least for count in parts)
    hidden: dict[str, Any] = (
        {} if not few else {"waited": None, "unknown_before": None, "below_before": None}
    )
    if few or parts[0] < least:
        hidden |= {"incidence": (), "median_days": None, "wide_days": None}
    incidence = tuple(_without_few(by_day, parts[0], least) for by_day in found.incidence)
    changed: Mapping[str, Any] = {"shares": shares, "incidence": incidence, **hidden}
    return replace(found, **changed)


def _without_few(by_day: Incidence, waited: int, least: int) -> Incidence:
    """Return an incidence without numbers of few animals: a share of so many gives them back."""
    if by_day.at_risk is not None and by_day.at_risk < least:
        by_day = replace(by_day, at_risk=None)
    few = by_day.share is not None and 0 < by_day.share * waited < least
    return replace(by_day, share=None, lower=None, upper=None) if few else by_day


def _without_small(share: ShareAt, least: int) -> ShareAt:
    """Return a row without any of its counts where one of them is small: they add up."""
    numbers = [count for count in share.counts.values() if count]
    if all(count >= least for count in numbers) and (share.started or 0) >= least:
        return share
    hidden = _hidden(share)
    return replace(hidden, started=share.started) if (share.started or 0) >= least else hidden


def _hidden(share: ShareAt) -> ShareAt:
    counts: dict[str, int | None] = dict.fromkeys(share.counts)
    return replace(share, started=None, counts=counts, share=None, lower=None, upper=None)


def _shown(count: int | None) -> str:
    return "few" if count is None else str(count)
