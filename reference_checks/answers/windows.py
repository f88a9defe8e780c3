"""The table of windows, stated once more, slowly: every row looked at, one after another.

Written from the safety rules alone; nothing of bpvet. `window` takes anything that has the facts
of an animal by these names (pressures in mmHg as a clinic's bounds judge them, probabilities of
the usual pressure, dates as datetime64[D], None where a thing is not known).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

_ALL = ("sign_current", "low", "acute_kidney", "potassium", "kidney_reaction")
_SETTLED = {"acvim2018": (120, 180), "isfm2017": (60, 90), "iris2023": (60, 90)}
_DAY = np.timedelta64(1, "D")

Days = tuple[int | None, int]


@dataclass(frozen=True)
class Found:
    """A window: its state, its dates, and the states of all rows that fit."""

    state: str
    earliest: np.datetime64 | None
    latest: np.datetime64
    fitting: tuple[str, ...]


def window(s: Any, guideline: str) -> Found | None:
    """Return the window of an animal; None where there is none."""
    if s.left:
        return None
    rows = list(_rows(s, guideline))
    if not rows:
        return None
    latest = s.as_of if s.latest is None else s.latest
    placed = []
    for state, (first, last), own in rows:
        start = latest
        if own is not None and (state == "changed" or own > latest):
            start = own
        placed.append((state, None if first is None else start + first * _DAY, start + last * _DAY))
    pressing = [one for one in placed if one[0] in _ALL] or placed
    soonest = min(one[2] for one in pressing)
    state, earliest, end = next(one for one in pressing if one[2] == soonest)
    return Found(state, earliest, end, tuple(one[0] for one in placed))


def _rows(s: Any, guideline: str) -> list[tuple[str, Days, Any]]:
    """Return the rows that fit: state, days, and the day of the row's own event."""
    rows: list[tuple[str, Days, Any]] = []
    urgent = {one.rule: one.on for one in s.urgent}
    for rule, days in (
        ("sign_current", (0, 3)),
        ("low", (0, 1)),
        ("acute_kidney", (0, 1)),
        ("potassium", (0, 1)),
        ("kidney_reaction", (0, 1)),
    ):
        if rule in urgent:
            rows.append((rule, days, urgent[rule]))
    if s.written:
        # A species without facts: numbers and sign rows alone.
        return rows + _signs(s, urgent)
    if "low_on_treatment" in urgent:
        deeper = s.lower_tail is not None and s.lower_tail < 0.05
        days = (28, 56)
        if s.low_dates <= 1 or (s.low_dates >= 4 and deeper):
            days = (1, 7)
        elif s.low_dates <= 3:
            days = (7, 28)
        rows.append(("low_on_treatment", days, urgent["low_on_treatment"]))
    rows += _signs(s, urgent)
    if s.changed_on is not None:
        rows.append(("changed", (7, 10), s.changed_on))
    higher = s.upper_tail is not None and s.upper_tail < 0.05
    if (s.highest is not None and s.highest >= 180) or _at_least(s.p_180, 0.5):
        stands = s.severe_dates >= 4 and not higher
        rows.append(("severe", (14, 42) if stands else (7, 14), None))
    if s.stopped_on is not None:
        rows.append(("stopped", (14, 42), s.stopped_on))
    if not s.judged:
        return [*rows, _unjudged(s)]
    if s.treated and s.p_target is not None and s.p_target < 0.5:
        stands = s.above_dates >= 4 and not higher
        rows.append(("above_target", (28, 56) if stands else (14, 28), None))
    if s.on_drug and s.lowest is not None and 100 <= s.lowest < s.floor:
        rows.append(("below_floor", (42, 90) if s.below_floor_before else (14, 42), None))
    if s.highest is not None:
        above = s.highest > s.target if s.treated else s.highest >= 160
        between = s.treated and s.p_target is not None and 0.5 <= s.p_target < 0.75
        if above and (higher or between):
            rows.append(("newest_high", (14, 42), None))
    rows.append(_with_a_drug(s, guideline) if s.treated else _without(s))
    return rows


def _signs(s: Any, urgent: dict[str, Any]) -> list[tuple[str, Days, Any]]:
    rows: list[tuple[str, Days, Any]] = []
    if "sign_unread" in urgent:
        rows.append(("sign_unread", (3, 14), urgent["sign_unread"]))
    if s.sign_open_on is not None:
        recent = s.as_of - s.sign_open_on <= 90 * _DAY
        days = (7, 14) if recent and not _at_least(s.p_target, 0.9) else (7, 28)
        rows.append(("sign_open", days, s.sign_open_on))
    return rows


def _with_a_drug(s: Any, guideline: str) -> tuple[str, Days, Any]:
    settled = _SETTLED[guideline]
    if guideline != "acvim2018" and s.species == "dog" and guideline == "isfm2017":
        settled = _SETTLED["acvim2018"]  # that one speaks of cats alone
    if s.kidneys_unknown and settled[1] > 120:
        settled = (90, 120)
    if s.since < 2:
        return "early", (28, 56), None
    likely = _at_least(s.p_target, 0.75)
    if s.at_risk:
        return "at_risk", (60, 90) if likely else (28, 60), None
    if not likely:
        return "unsettled", (42, 90), None
    if not _at_least(s.p_target, 0.9) or _at_least(s.p_below_floor, 0.5) or s.away:
        # Never later than `settled` of the same guideline.
        return "unsettled", settled if settled[1] < 120 else (60, 120), None
    return "settled", settled, None


def _without(s: Any) -> tuple[str, Days, Any]:
    if _at_least(s.p_160, 0.5):
        return "raised", (28, 90) if s.dates_160 >= 4 else (14, 28), None
    if _at_least(s.p_raised, 0.5) or _at_least(s.p_160, 0.1):
        soon = s.raised_dates <= 2 or (_at_least(s.p_160, 0.25) and s.raised_dates < 4)
        return "uncertain", (28, 56) if soon else (90, 180), None
    return _screened(s)


def _screened(s: Any) -> tuple[str, Days, Any]:
    if s.risks:
        return "screen_risk", (90, 180), None
    old = s.age_years is None or s.age_years >= 11
    if s.species == "dog" or not old:
        return "screen", (None, 365), None
    return "screen", (180, 365), None


def _unjudged(s: Any) -> tuple[str, Days, Any]:
    if s.treated:
        if s.since < 2:
            return "early", (28, 56), None
        return "unjudged", (28, 60) if s.at_risk else (42, 90), None
    if s.highest is not None and s.highest >= 160:
        return "unjudged", (28, 56), None
    if _at_least(s.p_raised, 0.5) or _at_least(s.p_160, 0.1):
        return "unjudged", (90, 180), None
    return _screened(s)


def _at_least(p: float | None, bound: float) -> bool:
    return p is not None and p >= bound
