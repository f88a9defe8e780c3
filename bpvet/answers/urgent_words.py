"""What is urgent, in sentences."""

from __future__ import annotations

from bpvet.answers.phrases import cited, day, listed
from bpvet.facts.categories import Guideline
from bpvet.printing import number
from bpvet.visits.urgency import Urgent


def urgent_sentence(found: Urgent, chosen: Guideline) -> str:
    """Return one urgent line as a sentence."""
    on = f"on {day(found.date)}"
    signs = listed(found.signs)
    value = f"{f'{found.bound} ' if found.bound else ''}{number(found.value, 0)} mmHg"
    if found.kind == "damage":
        measured = f"; the highest session mean {on} was {value}" if found.value is not None else ""
        what = "signs" if len(found.signs) > 1 else "a sign"
        return (
            f"A vet must see this animal now: recorded as present: {signs}, {what} of damage to "
            f"the eye or the brain{measured}. This holds at any value."
        )
    if found.kind == "severe":
        confirm = cited(chosen.name, chosen.recheck["severe"].fact.remembered)
        return (
            f"Look for organ damage today (eyes, nervous signs, heart, kidneys): the highest "
            f"session mean {on} was {value}, which is 180 or more. Without such damage the "
            f"guideline confirms within 1–2 weeks ({confirm})."
        )
    if found.kind == "no sound":
        return (
            f"The pressure may be too low; a vet should see this animal today: no sound was "
            f"obtained {on}, and {signs} is recorded."
        )
    why = f"with {signs} recorded" if found.signs else "on a pressure-acting drug"
    return (
        f"The pressure may be too low; a vet should see this animal today: a session mean {on} "
        f"was {value} {why}. What to change is for the vet to decide."
    )
