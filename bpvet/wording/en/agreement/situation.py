"""What home, or a calming drug, does to pressure as measured, in sentences that say how surely."""

from __future__ import annotations

from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.situation import NEAR_DAYS, Situation, Situational
from bpvet.printing import number
from bpvet.wording.en.phrases import capital, counted, interval

#: The condition beside the clinic, as a sentence names it.
WHERE = {"home": "at home", "calmed": "after a calming drug"}
#: What is compared, as a heading.
AGAINST = {"home": "Home against clinic", "calmed": "Calmed against awake"}


def situational_sentences(situation: Situational) -> tuple[str, ...]:
    """Return the sentences of one condition, most useful first.

    Parameters
    ----------
    situation : Situational
    """
    if situation.found is None:
        return (
            f"How pressure differs {WHERE[situation.condition]} is not known. "
            f"{capital(str(situation.reason))}.",
        )
    return situation_sentences(situation.found)


def situation_sentences(found: Situation) -> tuple[str, ...]:
    """Return what a situation comes to: overall, between animals, and what it rests on.

    Parameters
    ----------
    found : Situation
    """
    return (_overall(found), _between(found), _basis(found))


def _overall(found: Situation) -> str:
    gap, where = found.overall, WHERE[found.condition]
    what, by = QUANTITY_WORDS[found.quantity], METHOD_WORDS[found.method]
    if gap.estimate is None or gap.lower is None or gap.upper is None:
        return f"How {what} differs {where} has no interval: {gap.reason}."
    size = f"{number(abs(gap.estimate), 0)} {found.unit}"
    how = interval(found.level, gap.lower, gap.upper)
    if gap.lower <= 0 <= gap.upper:
        return (
            f"It is not clear whether {what} differs {where}: it reads {size} "
            f"{_side(gap)} than in the clinic by {by}, but the difference is uncertain ({how})."
        )
    return (
        f"By {by}, {what} reads {size} {_side(gap)} {where} than in the clinic on average "
        f"(difference: {how})."
    )


def _side(gap: Estimate) -> str:
    return "higher" if (gap.estimate or 0.0) > 0 else "lower"


def _between(found: Situation) -> str:
    sd = found.between_animals.estimate
    if not sd:
        return (
            "The difference varies between animals no more than chance would give, which does not "
            "show that they are alike."
        )
    return (
        f"The difference varies between animals about that mean with an SD of {number(sd, 0)} "
        f"{found.unit}: only an animal's own visits show its own difference."
    )


def _basis(found: Situation) -> str:
    clinic = sum(animal.sessions[0] for animal in found.animals)
    elsewhere = sum(animal.sessions[1] for animal in found.animals)
    return (
        f"This is based on {counted(len(found.animals), 'animal')} with "
        f"{counted(clinic, 'session')} in the clinic and {counted(elsewhere, 'session')} "
        f"{WHERE[found.condition]}, at most {NEAR_DAYS} days from one under the other condition. "
        "Where an animal was measured was not randomised, and a change of treatment in between "
        "is not allowed for: the difference is described, not explained."
    )
