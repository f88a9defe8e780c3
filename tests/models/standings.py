"""Standings for the tests of windows: one plain one, and all that may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from bpvet.models.safety.recheck import Standing
from bpvet.visits.urgency import Urgent

AS_OF = np.datetime64("2026-11-01")
LATEST = np.datetime64("2026-10-20")
DAY = np.timedelta64(1, "D")
#: Probabilities about every one that decides, both sides of it.
SHARES = (0.0, 0.0999, 0.1, 0.2499, 0.25, 0.4999, 0.5, 0.7499, 0.75, 0.8999, 0.9, 0.95, 1.0)
PRESSURES = (85.0, 95.0, 99.9, 100.0, 119.9, 120.0, 139.0, 159.9, 160.0, 161.0, 179.9, 180.0, 230.0)
TAILS = (0.0, 0.0499, 0.05, 0.5, 1.0)

PLAIN = Standing(
    as_of=AS_OF,
    latest=LATEST,
    left=False,
    species="cat",
    written="",
    age_years=12.0,
    judged=True,
    treated=False,
    on_drug=False,
    p_target=0.95,
    p_160=0.01,
    p_raised=0.1,
    p_180=0.0,
    p_below_floor=0.01,
    upper_tail=0.5,
    lower_tail=0.5,
    highest=130.0,
    lowest=130.0,
    target=160.0,
    raised=140.0,
    floor=120.0,
    urgent=(),
    sign_open_on=None,
    changed_on=None,
    stopped_on=None,
    severe_dates=0,
    dates_160=0,
    raised_dates=0,
    above_dates=0,
    above_days=0,
    low_dates=0,
    below_floor_before=False,
    since=5,
    at_risk=(),
    risks=(),
    away=False,
    kidneys_unknown=False,
)
#: The same on a pressure drug.
TREATED = replace(PLAIN, treated=True, on_drug=True)


def line(rule: str, days_before: int = 0, of: np.datetime64 = AS_OF) -> Urgent:
    """An urgent line of a rule, so many days before a date."""
    return Urgent(rule, "why", of - days_before * DAY, days_before)


_DRAWN_RULES = (
    "sign_current",
    "low",
    "acute_kidney",
    "potassium",
    "kidney_reaction",
    "low_on_treatment",
    "severe",
    "sign_unread",
    "sign_open",
)


@st.composite
def standings(draw: st.DrawFn, **fixed: object) -> Standing:
    """Any standing that records can come to; what is given in `fixed` is so."""
    written = draw(st.sampled_from(["", "", "", "rabbit"]))
    treated = draw(st.booleans())
    latest = draw(st.sampled_from([None, LATEST, AS_OF, AS_OF - 400 * DAY]))
    known = latest is not None and draw(st.booleans())
    share = st.sampled_from(SHARES)
    highest = draw(st.sampled_from(PRESSURES)) if latest is not None else None
    lower = [one for one in PRESSURES if highest is not None and one <= highest]
    # Wherever 180 or 160 is passed the raised bound is passed too.
    severe, moderate, raised = sorted(draw(st.lists(st.integers(0, 6), min_size=3, max_size=3)))
    over = sorted(draw(st.lists(share, min_size=3, max_size=3)))
    rules = draw(st.sets(st.sampled_from(_DRAWN_RULES), max_size=3))
    day = st.integers(0, 500)
    own = {
        "left": draw(st.sampled_from([False, False, False, True])),
        "latest": latest,
        "species": "" if written else draw(st.sampled_from(["cat", "dog", ""])),
        "written": written,
        "age_years": draw(st.sampled_from([None, 0.5, 2.9, 3.0, 6.9, 7.0, 10.9, 11.0, 18.0])),
        "judged": not written and draw(st.booleans()),
        "treated": treated,
        "on_drug": treated or draw(st.booleans()),
        "p_target": draw(share) if known else None,
        "p_180": over[0] if known else None,
        "p_160": over[1] if known else None,
        "p_raised": over[2] if known else None,
        "p_below_floor": draw(share) if known else None,
        "upper_tail": draw(st.sampled_from(TAILS)) if known else None,
        "lower_tail": draw(st.sampled_from(TAILS)) if known else None,
        "highest": highest,
        "lowest": draw(st.sampled_from(lower)) if lower else None,
        "target": draw(st.sampled_from([140.0, 160.0])),
        "urgent": tuple(line(rule, draw(day)) for rule in _DRAWN_RULES if rule in rules),
        "sign_open_on": AS_OF - draw(day) * DAY if "sign_open" in rules else None,
        "changed_on": draw(st.none() | day.map(lambda n: AS_OF - n * DAY)),
        "stopped_on": draw(st.none() | day.map(lambda n: AS_OF - n * DAY)),
        "severe_dates": severe,
        "dates_160": moderate,
        "raised_dates": raised,
        "above_dates": draw(st.integers(0, 6)),
        "low_dates": draw(st.integers(0, 6)),
        "below_floor_before": draw(st.booleans()),
        "since": draw(st.integers(0, 4)),
        "at_risk": draw(st.sampled_from([(), ("stage",), ("reaction", "weight")])),
        "risks": draw(st.sampled_from([(), ("kidney",), ("longstanding",)])),
        "away": draw(st.booleans()),
        "kidneys_unknown": draw(st.booleans()),
    }
    return replace(PLAIN, **{**own, **fixed})
