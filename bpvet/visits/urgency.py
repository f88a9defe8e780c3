"""What is urgent before any trend: signs, pressures that are too low or very high, kidneys.

Judged on the systolic of every session, by any method, of the animal's latest date with an awake,
calmed or sedated session, whatever series, quantity or output is shown; without any session, on
the date the records speak for. Every rule that fits is told, in the order of `RULES`. What is
uncertain, unread or old is told as such, and each line carries its age. The thresholds are facts
``project.urgent.*`` (judgements) and the guideline's floor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.species import fast_heart_fact
from bpvet.facts.words import Word
from bpvet.frozen import dataclass
from bpvet.visits.labs.events import AcuteRise, PotassiumAlarm
from bpvet.visits.labs.kidney_reaction import KidneyReaction
from bpvet.visits.latest_date import LatestDate, urgent_number
from bpvet.visits.signs.states import EYE_OR_BRAIN, SignState
from bpvet.visits.treatments.courses import Course, OtherDrug, is_on


class UrgentRule(Word):
    """The rules, the most pressing first."""

    SIGN_CURRENT = "sign_current"
    LOW = "low"
    ACUTE_KIDNEY = "acute_kidney"
    POTASSIUM = "potassium"
    KIDNEY_REACTION = "kidney_reaction"
    LOW_ON_TREATMENT = "low_on_treatment"
    SEVERE = "severe"
    SIGN_UNREAD = "sign_unread"
    SIGN_OPEN = "sign_open"


RULES = tuple(UrgentRule)
#: What each rule withholds.
WITHHOLDS = {
    UrgentRule.SIGN_CURRENT: "all",
    UrgentRule.LOW: "all",
    UrgentRule.ACUTE_KIDNEY: "all",
    UrgentRule.POTASSIUM: "all",
    UrgentRule.KIDNEY_REACTION: "verdicts",
    UrgentRule.LOW_ON_TREATMENT: "verdicts",
    UrgentRule.SEVERE: "verdicts",
    UrgentRule.SIGN_UNREAD: "target",
    UrgentRule.SIGN_OPEN: "",
}
#: Rules that speak of recorded signs.
SIGN_RULES = (UrgentRule.SIGN_CURRENT, UrgentRule.SIGN_UNREAD, UrgentRule.SIGN_OPEN)
#: Rules that rest on laboratory values.
LAB_RULES = (UrgentRule.ACUTE_KIDNEY, UrgentRule.POTASSIUM, UrgentRule.KIDNEY_REACTION)
#: Rules that speak of numbers of cats and dogs, and of no other animal.
_OF_NUMBERS = tuple(rule for rule in RULES if rule not in SIGN_RULES)
_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, eq=False)
class Seen:
    """What urgency is judged on, from the records alone.

    Parameters
    ----------
    animal : str
        Its id.
    species : str
        ``cat``, ``dog`` or blank.
    written : str
        The species as written where it is neither; blank otherwise.
    as_of : datetime64[D]
        The date that is spoken for.
    left : bool
        Whether the animal left by then: nothing is urgent any more.
    latest : LatestDate or None
        None without a session.
    signs : tuple of SignState
        Signs as they stand, the newest first.
    on_drug : bool
        Whether a modelled course, or a drug off the list, is on at the latest date.
    acute_kidney, potassium : event or None
        As `bpvet.visits.labs.events` finds them.
    reactions : tuple of KidneyReaction
        Kidney reactions, the newest first.
    """

    animal: str
    species: str
    written: str
    as_of: np.datetime64
    left: bool
    latest: LatestDate | None
    signs: tuple[SignState, ...]
    on_drug: bool
    acute_kidney: AcuteRise | None
    potassium: PotassiumAlarm | None
    reactions: tuple[KidneyReaction, ...]

    @property
    def has_facts(self) -> bool:
        """Whether the bounds of cats and dogs may be laid on it; a blank species is judged so."""
        return not self.written

    def age(self, on: np.datetime64) -> int:
        """Return the days from a date to the one that is spoken for."""
        return int((self.as_of - on) / _DAY)

    @property
    def reference(self) -> np.datetime64:
        """The date from which signs are looked back from."""
        return self.as_of if self.latest is None else self.latest.date

    def current(self, sign: SignState) -> bool:
        """Whether a sign is current: seen about the latest date or later, and not long ago."""
        if (self.as_of - sign.seen_on) > int(urgent_number("sign_current_days")) * _DAY:
            return False
        return self.of_latest(sign)

    def of_latest(self, sign: SignState) -> bool:
        """Whether a sign was seen about the latest date or later, however long ago that is."""
        return self.latest is None or bool(sign.seen_on >= self._oldest)

    def there_now(self, sign: SignState) -> bool:
        """Whether a sign is present, is not longstanding, and is current."""
        return sign.reading == "present" and not sign.longstanding and self.current(sign)

    def new(self, sign: SignState) -> bool:
        """Whether a sign was first seen about the latest date or later.

        Without any session it is looked at from its own newest date: less is known then, and a
        sign must not grow old sooner than beside a session.
        """
        if self.latest is None:
            return bool(sign.first_seen >= sign.seen_on - int(urgent_number("sign_days")) * _DAY)
        return bool(sign.first_seen >= self._oldest)

    @property
    def _oldest(self) -> np.datetime64:
        return self.reference - int(urgent_number("sign_days")) * _DAY


@dataclass(frozen=True)
class Urgent:
    """One urgent line.

    Parameters
    ----------
    rule : UrgentRule
    why : str
        Which of the rule's conditions fits.
    on : datetime64[D]
        The date that it speaks of.
    age_days : int
        Days from then to the date that is spoken for.
    fact : str
        Id of the fact behind the number that it names; blank where it names none.
    value : float or None
        The measured number that it rests on, in its unit.
    bound : str
        ``at least`` or ``at most`` where the value is a bound; else blank.
    judged_as : float or None
        The value as it is judged by the clinic's bounds, where that is another (home, calmed).
    signs : tuple of SignState
        The signs that it rests on.
    event : AcuteRise, PotassiumAlarm, KidneyReaction or None
        The laboratory values that it rests on.
    """

    rule: UrgentRule
    why: str
    on: np.datetime64
    age_days: int
    fact: str = ""
    value: float | None = None
    bound: str = ""
    judged_as: float | None = None
    signs: tuple[SignState, ...] = ()
    event: AcuteRise | PotassiumAlarm | KidneyReaction | None = None

    @property
    def withholds(self) -> str:
        """What it withholds: ``all``, ``verdicts``, ``target`` or nothing."""
        return WITHHOLDS[self.rule]


def on_at(courses: Sequence[Course], others: Sequence[OtherDrug], date: np.datetime64) -> bool:
    """Return whether a modelled course, or a drug off the list, is on at a date."""
    spans = [(span.started_on, span.stopped_on) for span in courses]
    spans += [(span.started_on, span.stopped_on) for span in others if not span.known]
    return any(is_on(started, stopped, date) for started, stopped in spans)


def urgent(
    seen: Seen, guideline: Guideline, below: Callable[[float], float] | None = None
) -> tuple[Urgent, ...]:
    """Return the urgent lines of an animal, the most pressing first.

    Parameters
    ----------
    seen : Seen
    guideline : Guideline
        Its floor is used.
    below : function, optional
        Probability that the usual systolic pressure lies below a pressure (mmHg); None where no
        trend could be fitted: a session below the floor on a drug then counts as low.
    """
    if seen.left:
        return ()
    found: list[Urgent] = []
    for rule in RULES:
        if seen.written and rule in _OF_NUMBERS:
            continue
        met = {line.rule for line in found} if found else ()
        if (rule is UrgentRule.LOW_ON_TREATMENT and UrgentRule.LOW in met) or (
            rule is UrgentRule.SEVERE and UrgentRule.SIGN_CURRENT in met
        ):
            continue
        found += _FITTING[rule](seen, guideline, below)
    return tuple(found)


_Below = Callable[[float], float] | None


def _sign_current(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    fitting = [sign for sign in seen.signs if _is_current(seen, sign)]
    if fitting:
        latest = seen.latest
        newest = max(sign.seen_on for sign in fitting)
        value = None if latest is None else latest.highest_measured
        bound = "" if latest is None or value is None else latest.bound_of(value)
        yield Urgent(
            UrgentRule.SIGN_CURRENT,
            "sign",
            newest,
            seen.age(newest),
            value=value,
            bound=bound,
            signs=tuple(fitting),
        )


def _is_current(seen: Seen, sign: SignState) -> bool:
    if sign.reading != "present" or sign.longstanding or not seen.current(sign):
        return False
    if sign.group in ("eye", "brain"):
        return True
    raised = _raised(seen)
    if sign.group == "brain_other":
        return raised or seen.new(sign)
    return sign.group == "look" and raised


def _raised(seen: Seen) -> bool:
    high = None if seen.latest is None or seen.written else seen.latest.highest
    return high is not None and high >= urgent_number("raised")


def _low(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    if latest is None:
        return
    weak = [sign for sign in seen.signs if sign.group == "weak" and seen.there_now(sign)]
    fast = _fast(seen, latest)
    found: tuple[str, float | None, str] | None = None
    low, mean, bounds = latest.lowest_measured, latest.lowest_mean, latest.lowest
    floor = guideline.floor
    if low is not None and low < urgent_number("low"):
        found = ("below", low, "project.urgent.low")
    elif latest.mostly_soundless:
        found = (_silent(latest), None, "project.urgent.silent_share")
    elif latest.soundless and (weak or fast):
        found = (f"{_silent(latest)}_weak", None, "")
    elif bounds is not None and bounds < floor.value and seen.on_drug and (weak or fast):
        found = ("floor_weak", low, floor.fact.id)
    elif mean is not None and mean < urgent_number("low_mean"):
        found = ("mean", mean, "project.urgent.low_mean")
    if found is not None:
        why, value, fact_id = found
        bound = "" if value is None or why == "mean" else latest.bound_of(value)
        yield Urgent(
            UrgentRule.LOW,
            why,
            latest.date,
            seen.age(latest.date),
            fact=fact_id,
            value=value,
            bound=bound,
            signs=tuple(weak),
        )


def _silent(latest: LatestDate) -> str:
    """Return why a date without a sound is told: a number too low may be in another unit."""
    return "below_gauge" if latest.below_gauge else "no_sound"


def _fast(seen: Seen, latest: LatestDate) -> bool:
    """Whether the heart was measured fast; of a blank species the higher bound counts."""
    rate = latest.fastest
    bound = fact(fast_heart_fact(seen.species)).value
    assert bound is not None  # a rate
    return rate is not None and rate > bound


def _acute_kidney(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    if seen.acute_kidney is not None:
        on = seen.acute_kidney.second.date
        event = seen.acute_kidney
        yield Urgent(UrgentRule.ACUTE_KIDNEY, "rise", on, seen.age(on), event=event)


def _potassium(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    alarm = seen.potassium
    if alarm is not None and alarm.level != "repeat":
        on = alarm.value.date
        yield Urgent(UrgentRule.POTASSIUM, alarm.level, on, seen.age(on), event=alarm)


def _kidney_reaction(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    low = None if seen.latest is None else seen.latest.lowest
    if seen.latest is None or low is None or low >= urgent_number("reaction_below"):
        return
    for reaction in seen.reactions:
        if (
            reaction.is_reaction
            and reaction.urgent_size
            and reaction.age_days <= urgent_number("reaction_days")
        ):
            value = seen.latest.lowest_measured
            yield Urgent(
                UrgentRule.KIDNEY_REACTION,
                "rise",
                reaction.after.date,
                seen.age(reaction.after.date),
                fact="project.urgent.reaction_below",
                value=value,
                event=reaction,
            )
            return


def _low_on_treatment(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    if latest is None or not seen.on_drug:
        return
    low, bounds, floor = latest.lowest_measured, latest.lowest, guideline.floor
    if low is not None and low < urgent_number("low_on_drug"):
        why, fact_id = "below", "project.urgent.low_on_drug"
    elif bounds is not None and bounds < floor.value and _likely_low(floor.value, below):
        why, fact_id = "usual_below_floor", floor.fact.id
    else:
        return
    bound = "" if low is None else latest.bound_of(low)
    on = latest.date
    yield Urgent(
        UrgentRule.LOW_ON_TREATMENT, why, on, seen.age(on), fact=fact_id, value=low, bound=bound
    )


def _likely_low(floor: float, below: _Below) -> bool:
    return below is None or below(floor) >= urgent_number("low_likely")


def _severe(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    high = None if latest is None else latest.highest
    if latest is None or high is None or high < urgent_number("severe"):
        return
    value = latest.highest_measured
    eyes = any(
        sign.group == "eye" and sign.reading == "denied" and sign.seen_on == latest.date
        for sign in seen.signs
    )
    as_measured = value is None or value >= urgent_number("severe") or value == high
    yield Urgent(
        UrgentRule.SEVERE,
        "eyes_normal" if eyes else "eyes_not_noted",
        latest.date,
        seen.age(latest.date),
        fact="project.urgent.severe",
        value=value,
        bound="" if value is None else latest.bound_of(value),
        judged_as=None if as_measured else high,
    )


def _sign_unread(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    if latest is None:
        return
    low = latest.lowest
    below_floor = low is not None and low < guideline.floor.value and seen.on_drug
    if not seen.written and not (_raised(seen) or below_floor):
        return
    unread = [
        sign
        for sign in seen.signs
        if sign.reading in ("unread", "unclear") and seen.current(sign) and not sign.asked_only
    ]
    if unread:
        newest = max(sign.seen_on for sign in unread)
        why = "no_bounds" if seen.written else "raised" if _raised(seen) else "low"
        signs = tuple(unread)
        yield Urgent(UrgentRule.SIGN_UNREAD, why, newest, seen.age(newest), signs=signs)


def _sign_open(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    waiting = [
        sign
        for sign in seen.signs
        if sign.group in EYE_OR_BRAIN
        and sign.reading == "present"
        and not sign.longstanding
        and not _is_current(seen, sign)
    ]
    if waiting:
        newest = max(sign.seen_on for sign in waiting)
        signs = tuple(waiting)
        yield Urgent(UrgentRule.SIGN_OPEN, "sign", newest, seen.age(newest), signs=signs)


_FITTING: dict[UrgentRule, Callable[[Seen, Guideline, _Below], Iterator[Urgent]]] = {
    UrgentRule.SIGN_CURRENT: _sign_current,
    UrgentRule.LOW: _low,
    UrgentRule.ACUTE_KIDNEY: _acute_kidney,
    UrgentRule.POTASSIUM: _potassium,
    UrgentRule.KIDNEY_REACTION: _kidney_reaction,
    UrgentRule.LOW_ON_TREATMENT: _low_on_treatment,
    UrgentRule.SEVERE: _severe,
    UrgentRule.SIGN_UNREAD: _sign_unread,
    UrgentRule.SIGN_OPEN: _sign_open,
}
