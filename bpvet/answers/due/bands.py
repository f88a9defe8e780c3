"""In which band of the clinic's list an animal stands, and before whom."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from bpvet.facts.sources import fact
from bpvet.models.safety.safety import Safety
from bpvet.visits.labs.history import days_between
from bpvet.visits.signs.remarks import PRESSURE
from bpvet.visits.urgency import LAB_RULES, RULES, UrgentRule

LATER = "later"
#: The bands, the most pressing first.
BANDS = ("now", "two_days", "overdue", "due", "checks", "lost", "no_plan", LATER)
#: Urgent lines that say now or today; the others that may not wait for a window.
_TODAY = (UrgentRule.SIGN_CURRENT, UrgentRule.LOW, UrgentRule.SEVERE, *LAB_RULES)
_SOON = (UrgentRule.LOW_ON_TREATMENT, UrgentRule.SIGN_UNREAD)
#: Where a contact with the owner moves a row within its band.
_MOVED = ("", "booked", "declined", "left")
_NEVER = np.datetime64("9999-12-31", "D")


def band_name(band: str) -> str:
    """Return what a band is called."""
    from bpvet.wording.en.due import BAND_NAMES

    return BAND_NAMES[band]


def band_of(safety: Safety, reach: int, check_soon: bool) -> str:
    """Return the band of an animal.

    An animal with an urgent line is never lost to follow-up, and one that was never measured has
    no plan, unless something is urgent of it; nor is an animal that was to be measured and could
    not be, of which a note asks, or that has a new sign and was not measured since. A pressure in a
    note asks where it is of a higher category than what was read, or low. What a note tells of
    eye or brain stays asked until an entry answers it: nor is that animal lost to follow-up.

    Parameters
    ----------
    safety : Safety
        What comes before any trend of it.
    reach : int
        Windows that end within so many days are due.
    check_soon : bool
        Whether an examination of eyes, blood or urine is due by then.
    """
    rules = {line.rule for line in safety.lines}
    if rules & set(_TODAY):
        return "now"
    as_of, again = safety.standing.as_of, safety.recheck
    ahead = None if again is None else days_between(as_of, again.latest)
    soon = ahead is not None and 0 <= ahead <= _days("soon")
    # What may be urgent is read first: that costs a minute, and it may be a blind cat.
    uncounted = safety.found.uncounted
    asks = safety.asks_now or safety.noted_now or uncounted.signs_since
    if rules & set(_SOON) or soon or asks:
        return "two_days"
    tried = uncounted.may_be_newer or uncounted.no_systolic is not None or safety.read_first
    if tried and not (again is not None and again.overdue_days):
        return "due"
    if again is None or ahead is None:
        return "checks" if check_soon else "no_plan"
    if again.overdue_days:
        return "lost" if not rules and not tried and _lost(safety) else "overdue"
    if ahead <= reach:
        return "due"
    if check_soon:
        return "checks"
    if safety.standing.latest is None and not rules:
        return "no_plan"
    # What it says of a drug or of the animal's end, a sign that is not understood, what of the
    # latest date does not count, a value in a doubtful unit, and one of the kidneys far beyond
    # those before are read before it is left until later.
    asked = (
        *(sign for sign in safety.remarks if sign.group != PRESSURE),
        *safety.unread,
        *uncounted.units,
        *filter(None, (uncounted.partly, safety.kidney_leap)),
    )
    return "due" if asked or safety.excluded_otherwise else LATER


def _lost(safety: Safety) -> bool:
    again = safety.recheck
    assert again is not None  # whoever asks has a window
    since = days_between(again.counted_from, safety.standing.as_of)
    window = days_between(again.counted_from, again.latest)
    return bool(again.overdue_days > _days("lost_days") and since > _days("lost_windows") * window)


def need_of(safety: Safety, band: str, moved: str, check: np.datetime64 | None) -> tuple[Any, ...]:
    """Return what an animal is sorted by: the more pressing, the smaller.

    Band; whether a contact moves it down; its most pressing urgent line; how short its window is;
    by when.

    Parameters
    ----------
    safety : Safety
    band : str
    moved : str
        Outcome of a contact that moves it; blank for none.
    check : datetime64[D] or None
        By when the soonest examination is due.
    """
    again = safety.recheck
    rules = [RULES.index(line.rule) for line in safety.lines]
    # What is asked of eye or brain stands where it would if it were entered.
    rules += [RULES.index(UrgentRule.SIGN_OPEN)] * bool(safety.asks_still)
    latest = _NEVER if again is None else again.latest
    if band == "checks" and check is not None:
        latest = check
    return (
        BANDS.index(band),
        _MOVED.index(moved),
        min(rules, default=len(RULES)),
        10_000 if again is None else again.window.latest,
        # As Python's own date: of two in one place of the list these are compared time and again.
        latest.item(),
    )


@cache
def _days(key: str) -> int:
    return int(fact(f"project.due.{key}").value or 0)
