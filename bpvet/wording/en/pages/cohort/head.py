"""The head of a cohort's page: whose it is, what it rests on, and four answers in a glance."""

from __future__ import annotations

from bpvet.answers.clinic.cohort import CohortAnswer
from bpvet.facts.words import QUANTITY_WORDS, UNITS
from bpvet.models.clinic.grid import Effect
from bpvet.printing import number
from bpvet.wording.en.clinic import at_month
from bpvet.wording.en.pages.shapes import Card, Head
from bpvet.wording.en.phrases import capital, day, interval

_UNCLEAR = "Not clear"
_NOT_ITS_EFFECT = (
    "This is not the drug's effect: treated animals differ in more than treatment, and treatment "
    "starts on a high day."
)


def cohort_title(quantity: str) -> str:
    """Return the title of a page on a quantity of many animals."""
    return f"{capital(QUANTITY_WORDS[quantity])} of a clinic's animals over months"


def cohort_head(answer: CohortAnswer) -> Head:
    """Return the head of a cohort's report.

    Parameters
    ----------
    answer : CohortAnswer
    """
    study = answer.study
    whose = f"Records “{study.source}”" if study.source else "Records under pseudonyms"
    basis = (
        f"{whose}, as of {day(study.as_of)}. Sessions in the clinic, awake; rule “{study.rule}” "
        "chose the readings."
    )
    cards = (_months(answer), _drug(answer), _method(answer), _counted(answer))
    return Head(cohort_title(study.quantity), basis, cards)


def _counted(answer: CohortAnswer) -> Card:
    flow = answer.flow
    detail = (
        f"{flow.sessions} of {flow.sessions_in} sessions and {flow.readings} of "
        f"{flow.readings_in} readings. The rest, and why, is below."
    )
    lead = f"{flow.animals} of {flow.animals_in} animals"
    return Card("Who was counted?", lead, detail)


def _months(answer: CohortAnswer) -> Card:
    unit, change = UNITS[answer.study.quantity], answer.effects["months"]
    without_drug = "treated" not in answer.study.fit.left_out_terms
    question = (
        "Rising or falling, without a drug?" if without_drug else "Rising or falling over months?"
    )
    if change.estimate is None:
        return Card(question, _UNCLEAR, f"{capital(str(change.reason))}.")
    size = f"{number(abs(change.estimate), 1)} {unit} a month"
    lead = f"{'Rising' if change.estimate > 0 else 'Falling'} by {size}"
    detail = f"On average over these animals; {_ends(answer, change, 1)}."
    if _crosses(change):
        lead = _UNCLEAR
        detail = f"{number(change.estimate, 1)} {unit} a month; {_ends(answer, change, 1)}."
    return Card(question, lead, detail)


def _drug(answer: CohortAnswer) -> Card:
    unit, gap = UNITS[answer.study.quantity], answer.effects["treated"]
    question = "Sessions on a pressure-acting drug?"
    if gap.estimate is None:
        return Card(question, "No comparison", f"{capital(str(gap.reason))}.")
    lead = _higher_or_lower(gap, unit)
    when = at_month(answer.grid.month)
    value = f"{number(gap.estimate, 0)} {unit}, " if _crosses(gap) else ""
    detail = f"Than those without, {when}: {value}{_ends(answer, gap, 0)}. {_NOT_ITS_EFFECT}"
    if _crosses(gap):
        detail = detail.replace("Than those", "Against those", 1)
    return Card(question, lead, detail)


def _method(answer: CohortAnswer) -> Card:
    unit, gap = UNITS[answer.study.quantity], answer.effects["oscillometric"]
    question = "Do the two methods read alike?"
    if gap.estimate is None:
        return Card(question, "No comparison", f"{capital(str(gap.reason))}.")
    if _crosses(gap):
        detail = (
            f"Oscillometric minus Doppler: {number(gap.estimate, 0)} {unit}, "
            f"{_ends(answer, gap, 0)}. That does not show that they are alike."
        )
        return Card(question, _UNCLEAR, detail)
    detail = f"Than Doppler in the same animals; {_ends(answer, gap, 0)}."
    return Card(question, f"Oscillometric {_higher_or_lower(gap, unit)}", detail)


def _higher_or_lower(gap: Effect, unit: str) -> str:
    """Return a difference as so much higher or lower."""
    if gap.estimate is None or _crosses(gap):
        return "No clear difference"
    side = "higher" if gap.estimate > 0 else "lower"
    return f"{number(abs(gap.estimate), 0)} {unit} {side}"


def _crosses(effect: Effect) -> bool:
    return effect.lower is None or effect.upper is None or effect.lower <= 0 <= effect.upper


def _ends(answer: CohortAnswer, effect: Effect, decimals: int) -> str:
    return interval(answer.level, float(effect.lower or 0), float(effect.upper or 0), decimals)
