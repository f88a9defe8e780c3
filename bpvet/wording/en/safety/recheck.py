"""When to measure again, in sentences: the window, whose it is, and every reason that fits."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.safety import RecheckAnswer
from bpvet.facts.recheck import Row
from bpvet.facts.sources import credit as credit_of
from bpvet.facts.species import species_of
from bpvet.models.safety.recheck import Recheck, Standing
from bpvet.models.safety.safety import Safety
from bpvet.printing import number
from bpvet.wording.en.kidney.events import last_kidney_values
from bpvet.wording.en.phrases import capital, counted, day, listed

_JUDGED = "judgement of this project"
#: States whose reason says that all is well.
_WELL = ("settled", "screen", "screen_risk")
#: What makes an animal one at risk (`bpvet.visits.seen`), as part of a sentence.
_RISK = {
    "stage": "kidney values of stage 3 or 4",
    "reaction": "kidney values that rose after a change of drug",
    "weight": "a loss of weight of 10 % or more",
    "protein": "protein in the urine",
    "kidney": "kidney disease or kidney values of stage 2 or more",
    "thyroid": "an overactive thyroid",
    "adrenal": "adrenal disease",
    "diabetes": "diabetes",
    "damage": "organ damage",
    "longstanding": "a longstanding sign",
    "raising_drug": "a drug known to raise pressure",
}


def recheck_reason(found: Safety, again: Recheck) -> str:
    """Return why a window is so: the reason of its row, and of every other row that fits."""
    standing = found.standing
    missing = ""
    if again.kidneys_held:
        missing = f"; {last_kidney_values(found.found.kidneys.missing)}"
    reason = capital(reason_of(again.row, standing, missing))
    # Nothing that reads as all well stands beside what withholds a verdict.
    well = _WELL if found.withheld("verdicts") else ()
    states = dict.fromkeys(
        row.key for row in again.beside if row.state not in (again.row.state, *well)
    )
    also = [reason_of(row, standing) for row in again.beside if row.key in states]
    return f"{reason}. Also: {'; '.join(also)}" if also else reason


def reason_of(row: Row, standing: Standing, missing: str = "") -> str:
    """Return why a row fits, as part of a sentence.

    Parameters
    ----------
    row : Row
    standing : Standing
    missing : str
        Since when kidney values are not on record, where the window was held short for that.
    """
    if row.key in _BY_AGE:
        return _by_age(standing, _BY_AGE[row.key])
    found = _AT_ONCE.get(row.key) or _of_untreated(standing).get(row.key)
    return found or _of_treated(standing, missing)[row.key]


_STANDS = "the vet's decision stands"
_NOT_JUDGED = "raised or not is not judged for this animal"
#: Why a row fits that depends on no count, by its key: what is recorded is reason enough.
_AT_ONCE = {
    "sign_current": "a sign of damage to the eye or the brain is recorded",
    "low": "the pressure may be too low",
    "acute_kidney": "creatinine rose fast",
    "potassium": "potassium is out of bounds",
    "kidney_reaction": "kidney values rose after a change of drug while the pressure is low",
    "sign_unread": "a sign is recorded that is not understood",
    "sign_open.controlled_not": "a sign of the eye or the brain is not answered",
    "sign_open.older": "a sign of the eye or the brain is not answered",
    "newest_high": "the newest session is high",
}


def _of_treated(standing: Standing, missing: str) -> dict[str, str]:
    """Return why the rows of treated animals fit, by key."""
    floor = number(standing.floor, 0)
    at_risk = listed([_RISK[name] for name in standing.at_risk])
    over = f"above target on {counted(standing.above_dates, 'date')} in "
    over += counted(standing.above_days, "day")
    low = f"low on treatment on {counted(standing.low_dates, 'date')}"
    return {
        "low_on_treatment.first": "low on treatment",
        "low_on_treatment.again": low,
        "low_on_treatment.stands": f"{low}; {_STANDS}",
        "changed": "treatment changed and no session lies a week or more after it",
        "stopped": "a blood-pressure drug was stopped and fewer than two settled dates follow",
        "above_target": "above target more likely than not",
        "above_target.stands": f"{over}; {_STANDS}",
        "below_floor.first": f"on treatment and below {floor} mmHg",
        "below_floor.again": f"on treatment and below {floor} mmHg again",
        "early": "fewer than two settled dates since treatment began or changed",
        "at_risk.unsettled": f"treated, control not settled, with {at_risk}",
        "at_risk.likely": f"treated, probably at target, with {at_risk}",
        "unsettled.unlikely": "treated, and control is not settled",
        "unsettled": "treated, and control is not settled",
        "settled": f"treated, and at target{missing}",
        "unjudged.at_risk": f"treated, with {at_risk}, and {_NOT_JUDGED}",
        "unjudged.treated": f"treated, and {_NOT_JUDGED}",
    }


def _of_untreated(standing: Standing) -> dict[str, str]:
    """Return why the rows of untreated animals fit, and of those that are severe, by key."""
    risks = listed([_RISK[name] for name in standing.risks])
    severe = f"180 mmHg or more on {counted(standing.severe_dates, 'date')} in two years"
    confirmed = f"confirmed on {counted(standing.dates_160, 'date')}"
    return {
        "severe": "180 mmHg or more" if standing.severe_dates else "usually 180 mmHg or more",
        "severe.stands": f"{severe}; {_STANDS}",
        "raised": "the usual pressure is probably 160 mmHg or more; a second occasion is asked",
        "raised.confirmed": f"the usual pressure is probably 160 mmHg or more; {confirmed}",
        "raised.stands": f"the usual pressure is probably 160 mmHg or more; {confirmed}; {_STANDS}",
        "uncertain": "whether the pressure is raised is not settled",
        "uncertain.often": "whether the pressure is raised is not settled after several visits",
        "unjudged.high": f"160 mmHg or more, and {_NOT_JUDGED}",
        "unjudged.perhaps": f"in the range called raised in others, and {_NOT_JUDGED}",
        "screen_risk": f"{_not_raised(standing)}, with {risks}",
    }


#: What the rows of animals without a risk say of the animal, by key.
_BY_AGE = {
    "screen.11y": "11 years or older",
    "screen.7_10y": "7 to 10 years old",
    "screen.3_6y": "3 to 6 years old",
    "screen.young": "under 3 years old",
    "screen.dog": "a dog without a recorded risk; no guideline names an interval",
}


def _by_age(standing: Standing, age: str) -> str:
    unknown = standing.age_years is None and not species_of(standing.species).screen
    age = "age not recorded, so as 11 years or older" if unknown else age
    return f"{_not_raised(standing)}; {age}"


def _not_raised(standing: Standing) -> str:
    """Say that it is not raised only where a usual pressure says so."""
    if standing.p_160 is not None:
        return "not raised"
    return "not measured yet" if standing.latest is None else "no usual pressure can be given"


def credit(found: Recheck) -> str:
    """Return whose window it is."""
    if found.window.fact is None:
        return _JUDGED
    return credit_of(found.window.fact)


def sooner(found: Recheck) -> str:
    """Return what a guideline says that asks for it sooner; blank if none does."""
    asked = [
        f"{credit_of(window.fact)}: {window.earliest} to {window.latest} days"
        for window in found.others
        if window.fact is not None and window.latest < found.window.latest
    ]
    return "; ".join(asked)


def window_words(earliest: np.datetime64 | None, latest: np.datetime64) -> str:
    """Return a window as dates.

    Examples
    --------
    >>> window_words(None, np.datetime64("2026-03-10"))
    'by 10 March 2026 at the latest'
    """
    if earliest is None or np.isnat(earliest):
        return f"by {day(latest)} at the latest"
    if earliest == latest:
        return f"on {day(latest)}"
    return f"between {day(earliest)} and {day(latest)}"


def next_visit(again: RecheckAnswer) -> str:
    """Return a window as a figure bears it: when the next visit is, or was due."""
    assert again.latest is not None  # whoever draws it has a window
    due = "was due" if again.overdue_days else "next visit"
    return f"{due} {window_words(again.earliest, again.latest)}"
