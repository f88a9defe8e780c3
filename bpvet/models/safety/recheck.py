"""When again: which rows of the table of windows fit an animal, and which of them wins.

Of the rows that fit, the one that ends soonest wins; those of rules that withhold everything win
over the others. The rows ``raised``, ``uncertain``, ``screen_risk`` and ``screen`` are first match
among themselves, and so are ``early``, ``at_risk``, ``unsettled`` and ``settled``. Where the
category is withheld only some rows hold, and then ``unjudged``.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np

from bpvet.facts.recheck import Row, Window, rows
from bpvet.facts.sources import fact
from bpvet.facts.species import species_of
from bpvet.frozen import dataclass
from bpvet.visits.labs.history import days_between
from bpvet.visits.urgency import Urgent

_NEVER = np.datetime64("NaT", "D")
#: Probabilities that decide, as the table's rows name them.
HALF, SETTLED, UNSETTLED, LIKELY, LITTLE = 0.5, 0.9, 0.75, 0.25, 0.1
#: Dates from which "the vet's decision stands".
STANDS_FROM = 4
#: A one-sided tail below this is a new height, or a new depth.
NEW_HEIGHT = 0.05


@dataclass(frozen=True)
class Standing:
    """All that decides when an animal is to be measured again.

    Pressures are in mmHg and as they are judged by a clinic's bounds (home and calmed ones with
    what is added to them); probabilities are of the usual pressure of the shown series; what is
    not known is None.

    Parameters
    ----------
    as_of : datetime64[D]
        The date that is spoken for.
    latest : datetime64[D] or None
        Latest date with a session that may enter a trend.
    left : bool
        Whether the animal left the practice.
    species, written : str
        ``cat``, ``dog`` or blank; and what was written where it is neither.
    age_years : float or None
    judged : bool
        False where the category is withheld.
    treated : bool
        Whether a modelled course is on; `on_drug`: that, or a drug off the list.
    p_target, p_160, p_raised, p_180, p_below_floor : float or None
        P(usual ≤ target), P(usual ≥ 160), P(usual ≥ raised bound), P(usual ≥ 180),
        P(usual < floor).
    upper_tail, lower_tail : float or None
        One-sided tails of the newest session under the fit to the earlier ones.
    highest, lowest : float or None
        Of the latest date.
    target, raised, floor : float
        The bounds used.
    urgent : tuple of Urgent
        The urgent lines.
    sign_open_on : datetime64[D] or None
        Newest present sign of eye or brain that no urgent rule above it holds.
    changed_on : datetime64[D] or None
        A change of treatment that no date has answered yet.
    stopped_on : datetime64[D] or None
        A stop that fewer than two settled dates follow.
    severe_dates, dates_160, raised_dates : int
        Dates within 24 months with a session of 180, of 160, of the raised bound or more.
    above_dates, above_days : int
        Dates above target since the last change within 24 months, and the days that they span.
    low_dates : int
        Dates low on treatment since the last change.
    below_floor_before : bool
        Whether an earlier date of the last 180 days lay from 100 to the floor.
    since : int
        Settled dates since the last change, seven days apart.
    at_risk, risks : tuple of str
        What makes a treated animal one at risk; what makes an untreated one so.
    away : bool
        Whether the series is of home or calmed sessions and no clinic date lies in 180 days.
    kidneys_unknown : bool
        Whether no creatinine or SDMA lies in 180 days.
    """

    as_of: np.datetime64
    latest: np.datetime64 | None
    left: bool
    species: str
    written: str
    age_years: float | None
    judged: bool
    treated: bool
    on_drug: bool
    p_target: float | None
    p_160: float | None
    p_raised: float | None
    p_180: float | None
    p_below_floor: float | None
    upper_tail: float | None
    lower_tail: float | None
    highest: float | None
    lowest: float | None
    target: float
    raised: float
    floor: float
    urgent: tuple[Urgent, ...]
    sign_open_on: np.datetime64 | None
    changed_on: np.datetime64 | None
    stopped_on: np.datetime64 | None
    severe_dates: int
    dates_160: int
    raised_dates: int
    above_dates: int
    above_days: int
    low_dates: int
    below_floor_before: bool
    since: int
    at_risk: tuple[str, ...]
    risks: tuple[str, ...]
    away: bool
    kidneys_unknown: bool

    def with_tails(self, upper: float | None, lower: float | None) -> Standing:
        """Return the same with these tails of the newest session."""
        same = object.__new__(Standing)
        # `dataclasses.replace` takes ten times as long with so many fields.
        vars(same).update(vars(self), upper_tail=upper, lower_tail=lower)
        return same

    def urgent_on(self, rule: str) -> np.datetime64 | None:
        """Return the date of an urgent line, or None."""
        if not self.urgent:
            return None
        return next((line.on for line in self.urgent if line.rule == rule), None)


@dataclass(frozen=True)
class Recheck:
    """A window.

    Parameters
    ----------
    row : Row
        The row that won.
    window : Window
        Its days, and whose they are.
    counted_from, earliest, latest : datetime64[D]
        `earliest` is NaT where the source gives a latest date alone.
    overdue_days : int
        Days that the window lies before the date spoken for; 0 where it does not.
    others : tuple of Window
        What other guidelines say of the same row.
    beside : tuple of Row
        Further rows that fit, the soonest first.
    kidneys_held : bool
        Whether the window was held short because kidney values are not on record.
    """

    row: Row
    window: Window
    counted_from: np.datetime64
    earliest: np.datetime64
    latest: np.datetime64
    overdue_days: int
    others: tuple[Window, ...]
    beside: tuple[Row, ...]
    kidneys_held: bool


def recheck(standing: Standing, guideline: str) -> Recheck | None:
    """Return when the animal should be measured again; None where no window is given.

    None of an animal that left, and of a species without facts that has no sign.

    Parameters
    ----------
    standing : Standing
    guideline : str
        Key of the named guideline.
    """
    if standing.left:
        return None
    found = [_placed(standing, guideline, key, day) for key, day in fitting(standing)]
    if not found:
        return None
    winning = [placed for placed in found if placed.row.kind == "all"] or found
    # The first in the table among those that end together: it is the more pressing.
    first = min(winning, key=lambda placed: placed.latest)
    rest = sorted(
        (placed for placed in found if placed is not first), key=lambda placed: placed.latest
    )
    return Recheck(
        row=first.row,
        window=first.window,
        counted_from=first.counted_from,
        earliest=first.earliest,
        latest=first.latest,
        overdue_days=max(0, days_between(first.latest, standing.as_of)),
        others=first.row.others(guideline, standing.species),
        beside=tuple(placed.row for placed in rest),
        kidneys_held=first.capped,
    )


@dataclass(frozen=True)
class _Placed:
    row: Row
    window: Window
    counted_from: np.datetime64
    earliest: np.datetime64
    latest: np.datetime64
    capped: bool


def _placed(standing: Standing, guideline: str, key: str, day: np.datetime64 | None) -> _Placed:
    row = rows()[key]
    window, capped = _window(row, guideline, standing)
    base = standing.as_of if standing.latest is None else standing.latest
    if key == "changed":
        assert day is not None
        base = day
    elif day is not None and day > base:
        base = day
    earliest = _NEVER if window.earliest is None else base + np.timedelta64(window.earliest, "D")
    latest = base + np.timedelta64(window.latest, "D")
    return _Placed(row, window, base, earliest, latest, capped)


def _window(row: Row, guideline: str, standing: Standing) -> tuple[Window, bool]:
    window = row.window(guideline, standing.species)
    bound = None
    if row.key == "settled" and standing.kidneys_unknown:
        bound = row.at_most
    elif row.key == "unsettled":
        bound = _window(rows()["settled"], guideline, standing)[0]
    if bound is None or bound.latest >= window.latest:
        return window, False
    return (bound, True) if row.key == "settled" else (bound, False)


def fitting(standing: Standing) -> Iterator[tuple[str, np.datetime64 | None]]:
    """Yield the keys of the rows that fit, in the order of the table, and the day of each.

    The day is that of the row's own sign, value or change; None where it has none.
    """
    for rule in ("sign_current", "low", "acute_kidney", "potassium", "kidney_reaction"):
        if (day := standing.urgent_on(rule)) is not None:
            yield rule, day
    if standing.written:
        yield from _signs(standing)
        return
    if (day := standing.urgent_on("low_on_treatment")) is not None:
        yield f"low_on_treatment.{_low(standing)}", day
    yield from _signs(standing)
    if standing.changed_on is not None:
        yield "changed", standing.changed_on
    if _severe(standing):
        stands = standing.severe_dates >= STANDS_FROM and not _new_height(standing)
        yield "severe.stands" if stands else "severe", None
    if standing.stopped_on is not None:
        yield "stopped", standing.stopped_on
    if standing.judged:
        yield from _about_target(standing)
        yield (_treated(standing) if standing.treated else _untreated(standing)), None
    else:
        yield _unjudged(standing), None


def may_matter(standing: Standing) -> bool:
    """Return False where no tails of the newest session could change which rows fit.

    They are looked at on the fourth such date and later, and where the latest date lies above what
    is asked.
    """
    dates = standing.low_dates, standing.severe_dates, standing.above_dates
    bound = min(standing.target, _number("project.urgent.raised"))
    high = standing.highest is not None and standing.highest >= bound
    return high or max(dates) >= STANDS_FROM


def _signs(standing: Standing) -> Iterator[tuple[str, np.datetime64 | None]]:
    if (day := standing.urgent_on("sign_unread")) is not None:
        yield "sign_unread", day
    if (day := standing.sign_open_on) is not None:
        recent = days_between(day, standing.as_of) <= 90
        unsure = standing.p_target is None or standing.p_target < SETTLED
        yield f"sign_open.{'controlled_not' if recent and unsure else 'older'}", day


def _low(standing: Standing) -> str:
    deeper = standing.lower_tail is not None and standing.lower_tail < NEW_HEIGHT
    if standing.low_dates <= 1 or (standing.low_dates >= STANDS_FROM and deeper):
        return "first"
    return "stands" if standing.low_dates >= STANDS_FROM else "again"


def _severe(standing: Standing) -> bool:
    severe = _number("project.urgent.severe")
    high = standing.highest is not None and standing.highest >= severe
    return high or (standing.p_180 is not None and standing.p_180 >= HALF)


def _new_height(standing: Standing) -> bool:
    return standing.upper_tail is not None and standing.upper_tail < NEW_HEIGHT


def _about_target(standing: Standing) -> Iterator[tuple[str, np.datetime64 | None]]:
    p, high, low = standing.p_target, standing.highest, standing.lowest
    if standing.treated and p is not None and p < HALF:
        stands = standing.above_dates >= STANDS_FROM and not _new_height(standing)
        yield ("above_target.stands" if stands else "above_target"), None
    on_low = _number("project.urgent.low_on_drug")
    if standing.on_drug and low is not None and on_low <= low < standing.floor:
        yield f"below_floor.{'again' if standing.below_floor_before else 'first'}", None
    bound = standing.target if standing.treated else _number("project.urgent.raised")
    above = high is not None and (high > bound if standing.treated else high >= bound)
    between = standing.treated and p is not None and HALF <= p < UNSETTLED
    if above and (_new_height(standing) or between):
        yield "newest_high", None


def _treated(standing: Standing) -> str:
    p = standing.p_target
    if standing.since < 2:
        return "early"
    if standing.at_risk:
        return "at_risk.likely" if p is not None and p >= UNSETTLED else "at_risk.unsettled"
    if p is None or p < UNSETTLED:
        return "unsettled.unlikely"
    low = standing.p_below_floor is not None and standing.p_below_floor >= HALF
    return "unsettled" if p < SETTLED or low or standing.away else "settled"


def _untreated(standing: Standing) -> str:
    q, r = standing.p_160, standing.p_raised
    if q is not None and q >= HALF:
        if standing.dates_160 >= STANDS_FROM:
            return "raised.stands"
        return "raised.confirmed" if standing.dates_160 >= 2 else "raised"
    if (r is not None and r >= HALF) or (q is not None and q >= LITTLE):
        few = standing.raised_dates <= 2
        likely = q is not None and q >= LIKELY and standing.raised_dates < STANDS_FROM
        return "uncertain" if few or likely else "uncertain.often"
    return "screen_risk" if standing.risks else _screen(standing)


def _screen(standing: Standing) -> str:
    if row := species_of(standing.species).screen:
        return row
    age = standing.age_years
    steps: tuple[tuple[float, str], ...] = ((3, "young"), (7, "3_6y"), (11, "7_10y"))
    fits = (name for below, name in steps if age is not None and age < below)
    return f"screen.{next(fits, '11y')}"


def _unjudged(standing: Standing) -> str:
    if standing.treated:
        if standing.since < 2:
            return "early"
        return "unjudged.at_risk" if standing.at_risk else "unjudged.treated"
    high, q, r = standing.highest, standing.p_160, standing.p_raised
    if high is not None and high >= _number("project.urgent.raised"):
        return "unjudged.high"
    if (r is not None and r >= HALF) or (q is not None and q >= LITTLE):
        return "unjudged.perhaps"
    return "screen_risk" if standing.risks else _screen(standing)


@cache
def _number(id: str) -> float:
    value = fact(id).value
    assert value is not None  # every fact that is asked for here holds a number
    return value
