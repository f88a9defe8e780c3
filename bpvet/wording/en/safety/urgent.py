"""What is urgent, in sentences; each says how old it is, and what became of it if that is known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.safety import UrgentAnswer
from bpvet.facts.categories import Guideline
from bpvet.facts.protocol import MMHG_PER_KPA, limits
from bpvet.facts.recheck import rows
from bpvet.facts.sources import credit, fact
from bpvet.printing import number
from bpvet.visits.labs.events import AcuteRise, PotassiumAlarm
from bpvet.visits.labs.kidney_reaction import KidneyReaction
from bpvet.visits.signs.states import SignState
from bpvet.visits.urgency import LAB_RULES, SIGN_RULES, Urgent, UrgentRule
from bpvet.wording.en.kidney.events import potassium_value, reaction_rise, rise_of
from bpvet.wording.en.phrases import capital, day, listed

_IN_KPA = 24
#: A number lower than any animal has is no pressure in mmHg: in kPa it may be a high one.
_BELOW_GAUGE = (
    f"gave no sound or a number below {limits('systolic').aside_low:g}, which is set aside (is it "
    f"in kPa? {_IN_KPA} kPa is {_IN_KPA * MMHG_PER_KPA:.0f} mmHg)"
)
_VET = "What to change is for the vet to decide."


def urgent_statements(found: Sequence[UrgentAnswer]) -> Iterator[Statement]:
    """Yield the urgent lines as statements, the most pressing first."""
    for alarm in found:
        yield Statement(f"urgent.{alarm.rule}", f"Urgent: {alarm.text}", short=alarm.text)


def urgent_sentence(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    """Return one urgent line as sentences.

    Parameters
    ----------
    found : Urgent
    chosen : Guideline
        The named guideline: its floor is cited where the line rests on it.
    species : str
        Of the animal.
    latest : datetime64[D] or None
        Its latest date with a session, None without one.
    """
    text = {
        UrgentRule.SIGN_CURRENT: _sign_current,
        UrgentRule.LOW: _low,
        UrgentRule.ACUTE_KIDNEY: _acute_kidney,
        UrgentRule.POTASSIUM: _potassium,
        UrgentRule.KIDNEY_REACTION: _kidney_reaction,
        UrgentRule.LOW_ON_TREATMENT: _low_on_treatment,
        UrgentRule.SEVERE: _severe,
        UrgentRule.SIGN_UNREAD: _sign_unread,
        UrgentRule.SIGN_OPEN: _sign_open,
    }[found.rule](found, chosen, species, latest)
    return f"{text}{_age(found)}"


def named_signs(signs: tuple[SignState, ...]) -> str:
    """Return signs as written, each with its date."""
    return listed([f"“{sign.text}” ({day(sign.seen_on)})" for sign in signs])


def _value(found: Urgent) -> str:
    bound = f"{found.bound} " if found.bound else ""
    judged = ""
    if found.judged_as is not None:
        judged = (
            f", judged as {number(found.judged_as, 0)} because readings at home or after a calming "
            "drug are lower than a clinic's"
        )
    return f"{bound}{number(found.value, 0)} mmHg{judged}"


def _sign_current(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    what = "signs" if len(found.signs) > 1 else "a sign"
    visit = all(sign.seen_on == latest for sign in found.signs)
    when = "recorded at this visit" if visit else "recorded"
    measured = ""
    if found.value is not None and latest is not None:
        measured = f" The highest session mean on {day(latest)} was {_value(found)}."
    return (
        f"A vet must see this animal now: {named_signs(found.signs)} {when}, {what} of damage to "
        f"the eye or the brain. This holds at any pressure.{measured}"
    )


def _low(found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None) -> str:
    on = f"on {day(found.on)}"
    weak = f", with {named_signs(found.signs)} recorded" if found.signs else ""
    why = {
        "below": f"a session mean {on} was {_value(found)}, below 90{weak}",
        "no_sound": f"half or more of the readings {on} gave no sound{weak}",
        "no_sound_weak": f"a reading {on} gave no sound in a weak animal{weak}",
        "below_gauge": f"half or more of the readings {on} {_BELOW_GAUGE}{weak}",
        "below_gauge_weak": f"a reading {on}, in a weak animal, {_BELOW_GAUGE}{weak}",
        "floor_weak": f"a session mean {on} was {_value(found)} on a drug, in a weak animal{weak} "
        f"(below {_floor(chosen)})",
        "mean": f"the mean arterial pressure {on} was {number(found.value, 0)} mmHg, below "
        f"60{weak}",
    }[found.why]
    return (
        f"The pressure may be too low, or measured wrongly: {why}. Repeat it, look at the animal, "
        f"and let a vet see it today. {_VET}"
    )


def _floor(chosen: Guideline) -> str:
    return f"{number(chosen.floor.value, 0)} mmHg; {credit(chosen.floor.fact)}"


def _acute_kidney(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    assert isinstance(found.event, AcuteRise)
    return f"A vet should see this animal today: creatinine {rise_of(found.event)}."


def _potassium(found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None) -> str:
    assert isinstance(found.event, PotassiumAlarm)
    high = found.why == "high"
    bound = fact(f"kidney.potassium.{'high' if high else 'low'}")
    name = credit(bound)
    falsely = " Haemolysis and some breeds raise it falsely." if high else ""
    return (
        f"A vet should see this animal today: potassium {potassium_value(found.event)} on "
        f"{day(found.on)}, {'above' if high else 'below'} {bound.value:g} mmol/L ({name}).{falsely}"
    )


def _kidney_reaction(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    assert isinstance(found.event, KidneyReaction)
    below = number(fact(found.fact).value, 0)
    pressure = f"{number(found.value, 0)} mmHg" if found.value is not None else f"below {below}"
    return (
        f"A vet should see this animal today: {reaction_rise(found.event)}, and the latest session "
        f"reads {pressure}, below {below}. {_VET}"
    )


def _low_on_treatment(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    why = "below 100"
    if found.why == "usual_below_floor":
        why = f"and the usual pressure is probably below {_floor(chosen)} too"
    return (
        f"Low on treatment: a session mean on {day(found.on)} was {_value(found)}, {why}. Ask "
        f"about weakness, appetite and kidneys. {_VET}"
    )


def _severe(found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None) -> str:
    window = rows()["severe"].window(chosen.key, species)
    name = "judgement of this project"
    if window.fact is not None:
        name = credit(window.fact)
    eyes = " The eyes were noted normal that day." if found.why == "eyes_normal" else ""
    return (
        f"Look for organ damage today (eyes, nervous signs, heart, kidneys): the highest session "
        f"mean on {day(found.on)} was {_value(found)}; 180 or more.{eyes} Without such damage "
        f"repeat within {window.earliest} to {window.latest} days ({name})."
    )


def _sign_unread(
    found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None
) -> str:
    beside = {
        "raised": "at 160 mmHg or more",
        "low": "low on treatment",
        "no_bounds": "of a species without bounds on file",
    }[found.why]
    are = "are recorded and are" if len(found.signs) > 1 else "is recorded and is"
    return (
        f"Read this before anything else: {named_signs(found.signs)} {are} not understood here, in "
        f"an animal that is {beside}."
    )


def _sign_open(found: Urgent, chosen: Guideline, species: str, latest: np.datetime64 | None) -> str:
    return (
        f"Look again: {named_signs(found.signs)} recorded, and not noted since as resolved or "
        "longstanding."
    )


def _age(found: Urgent) -> str:
    """Return how old a line is, in brackets or as a sentence of its own; nothing on its day."""
    if found.age_days == 0:
        return ""
    forgotten = "lab_" if found.rule in LAB_RULES else ""
    many = fact(f"project.urgent.forgotten_{forgotten}days").value or 0
    ago = "1 day ago" if found.age_days == 1 else f"{found.age_days} days ago"
    if found.age_days > many:
        ring = ": ring the owner" if found.age_days > 90 else ""
        return f" ({capital(ago)}; what became of it is not recorded{ring}.)"
    if found.rule in SIGN_RULES:
        return f" ({capital(ago)}; nothing newer about it is recorded.)"
    later = "value" if forgotten else "session"
    return f" ({capital(ago)}; no later {later} is recorded.)"
