"""Animals as urgency sees them, made of a few words, for the tests of urgency."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.categories import guideline
from bpvet.visits.latest_date import LatestDate
from bpvet.visits.signs.states import SignState
from bpvet.visits.urgency import Seen, Urgent, urgent

AS_OF = np.datetime64("2026-11-01")
DAY = np.timedelta64(1, "D")
CHOSEN = guideline("acvim2018")


def session(
    systolic: float | None = 130.0,
    bound: str = "",
    condition: str = "clinic",
    *,
    mean: float | None = None,
    heart_rate: float | None = None,
    taken: int = 5,
    silent: int = 0,
) -> dict[str, Any]:
    """A session as `bpvet.sessions` has it, as far as urgency looks at it."""
    return {
        "condition": condition,
        "systolic": np.nan if systolic is None else systolic,
        "systolic_bound": bound,
        "mean": np.nan if mean is None else mean,
        "mean_bound": "",
        "heart_rate": np.nan if heart_rate is None else heart_rate,
        "n_used": 0 if systolic is None else taken - silent,
        "n_taken": taken,
        "n_no_sound": silent,
        "n_below_gauge": 0,
    }


def sign(
    group: str,
    days_before: int = 0,
    *,
    reading: str = "present",
    longstanding: bool = False,
    first: int | None = None,
    noted: bool = False,
) -> SignState:
    """A sign that was seen so many days before the date that is spoken for."""
    seen_on = AS_OF - days_before * DAY
    return SignState(
        term=group,
        group=group,
        text=f"{group} {days_before}",
        reading=reading,
        longstanding=longstanding,
        first_seen=seen_on if first is None else AS_OF - first * DAY,
        seen_on=seen_on,
        asked_only=noted,
        table="observations note" if noted else "observations",
    )


def seen(
    *sessions: dict[str, Any],
    days_before: int = 0,
    signs: tuple[SignState, ...] = (),
    **changes: Any,
) -> Seen:
    """A cat with sessions on one date, so many days before the date that is spoken for."""
    date = AS_OF - days_before * DAY
    latest = LatestDate(date, pd.DataFrame(list(sessions))) if sessions else None
    whole = Seen(
        animal="A1",
        species="cat",
        written="",
        as_of=AS_OF,
        left=False,
        latest=latest,
        signs=signs,
        on_drug=False,
        acute_kidney=None,
        potassium=None,
        reactions=(),
    )
    return replace(whole, **changes)


def lines(animal: Seen, p_below_floor: float | None = 0.0) -> tuple[Urgent, ...]:
    """Its urgent lines, with a probability that the usual pressure lies below the floor."""
    return urgent(animal, CHOSEN, None if p_below_floor is None else lambda value: p_below_floor)


def rules(animal: Seen, p_below_floor: float | None = 0.0) -> list[str]:
    """The rules of its urgent lines."""
    return [one.rule for one in lines(animal, p_below_floor)]
