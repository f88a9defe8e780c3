"""What is urgent before any trend: signs, pressures that are too low or very high, kidneys.

Judged on the systolic of every session, by any method, of the animal's latest date with an awake,
calmed or sedated session, whatever series, quantity or output is shown; without any session, on
the date the records speak for. Every rule that fits is told, in the order of `RULES`. What is
uncertain, unread or old is told as such, and each line carries its age. The thresholds are facts
``project.urgent.*`` (judgements) and the guideline's floor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.species import fast_heart_fact
from bpvet.facts.words import TREND_CONDITIONS, Word
from bpvet.visits.choice import BOTH_BOUNDS
from bpvet.visits.labs.events import AcuteRise, PotassiumAlarm
from bpvet.visits.labs.kidney_reaction import KidneyReaction
from bpvet.visits.session_columns import SessionColumns, SessionTable, column, some
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
#: Conditions that urgency is judged in: those of trends, and sedation.
JUDGED_CONDITIONS = (*TREND_CONDITIONS, "sedated")
_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, eq=False)
class LatestDate:
    """The animal's latest date with a session that is judged, and what was measured then.

    Parameters
    ----------
    date : datetime64[D]
        The date.
    sessions : DataFrame or SessionColumns
        Its sessions in order; rows of `bpvet.sessions`.
    """

    date: np.datetime64
    sessions: SessionTable

    @cached_property
    def highest(self) -> float | None:
        """Highest session mean as it is judged by a clinic's bounds, mmHg; None without one."""
        bound, _, judged = self._systolic
        values = judged[bound != "at most"]
        return float(np.max(values)) if values.size else None

    @cached_property
    def lowest(self) -> float | None:
        """Lowest session mean as it is judged by a clinic's bounds, mmHg; None without one."""
        bound, _, judged = self._systolic
        values = judged[bound != "at least"]
        return float(np.min(values)) if values.size else None

    @cached_property
    def lowest_measured(self) -> float | None:
        """Lowest session mean as it was measured, mmHg; None without one."""
        bound, plain, _ = self._systolic
        values = plain[bound != "at least"]
        return float(np.min(values)) if values.size else None

    @cached_property
    def highest_measured(self) -> float | None:
        """Measured mean of the session that is judged highest, mmHg; None without one."""
        return _highest_measured(self)

    def bound_of(self, value: float) -> str:
        """Return ``at least`` or ``at most`` where a measured mean is a bound; else blank."""
        return _bound_at(self, value)

    @cached_property
    def lowest_mean(self) -> float | None:
        """Lowest mean arterial pressure of a session that was awake, mmHg; None without one."""
        rows = self.sessions
        awake = _among(column(rows, "condition"), TREND_CONDITIONS)
        values = column(rows, "mean")[awake & (column(rows, "mean_bound") != "at least")]
        return _extreme(np.fmin, values)

    @cached_property
    def fastest(self) -> float | None:
        """Highest heart rate of a session, per minute; None without one."""
        return _extreme(np.fmax, column(self.sessions, "heart_rate"))

    @cached_property
    def soundless(self) -> bool:
        """Whether some reading gave no sound."""
        return bool((_silent(self.sessions) > 0).any())

    @cached_property
    def mostly_soundless(self) -> bool:
        """Whether half or more of at least two readings of a session gave no sound."""
        taken = column(self.sessions, "n_taken")
        return bool(np.any(mostly_silent(_silent(self.sessions), taken)))

    @cached_property
    def _systolic(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Bound, mean as measured and mean as judged of each session that has a number, (n,)."""
        return systolic_of(self.sessions)


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

    @property
    def reference(self) -> np.datetime64:
        """The date from which signs are looked back from."""
        return self.as_of if self.latest is None else self.latest.date

    def current(self, sign: SignState) -> bool:
        """Whether a sign is current: seen about the latest date or later, and not long ago."""
        if (self.as_of - sign.seen_on) > int(_number("sign_current_days")) * _DAY:
            return False
        return self.latest is None or bool(sign.seen_on >= self._oldest)

    def new(self, sign: SignState) -> bool:
        """Whether a sign was first seen about the latest date or later.

        Without any session it is looked at from its own newest date: less is known then, and a
        sign must not grow old sooner than beside a session.
        """
        if self.latest is None:
            return bool(sign.first_seen >= sign.seen_on - int(_number("sign_days")) * _DAY)
        return bool(sign.first_seen >= self._oldest)

    @property
    def _oldest(self) -> np.datetime64:
        return self.reference - int(_number("sign_days")) * _DAY


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


def judged_offset(conditions: Sequence[str]) -> np.ndarray:
    """Return what is added to pressures (n,) before the clinic's bounds are laid on them, mmHg."""
    added = _added()
    return np.array([added.get(str(one), 0.0) for one in conditions], dtype=float)


@cache
def _added() -> Mapping[str, float]:
    return {name: _number(name) for name in ("home", "calmed")}


def systolic_of(sessions: SessionTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return bound, mean as measured and mean as judged of the sessions that have one, (n,) each.

    Columns and not rows are taken: of few sessions a frame's rows cost far more.
    """
    if isinstance(sessions, SessionColumns):
        return sessions.once("systolic", lambda: _systolic_of(sessions))
    return _systolic_of(sessions)


def _systolic_of(sessions: SessionTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    plain = column(sessions, "systolic").astype(float)
    has = ~np.isnan(plain)
    bound = column(sessions, "systolic_bound")[has]
    condition = column(sessions, "condition")[has]
    return bound, plain[has], plain[has] + judged_offset(condition)


def measured(sessions: SessionTable) -> np.ndarray:
    """Return the systolic means of the sessions that have one, mmHg."""
    return systolic_of(sessions)[1]


def as_judged(sessions: SessionTable) -> np.ndarray:
    """Return the same as they are judged by the clinic's bounds: home and calmed read lower."""
    return systolic_of(sessions)[2]


def latest_date(
    sessions: SessionTable, conditions: Sequence[str] = JUDGED_CONDITIONS
) -> LatestDate | None:
    """Return the animal's latest date with a session under some conditions, or None.

    Parameters
    ----------
    sessions : DataFrame
        Its sessions, as `bpvet.sessions` gives them.
    conditions : sequence of str
        Those that count.
    """
    if isinstance(sessions, SessionColumns) and conditions == JUDGED_CONDITIONS:
        return sessions.once("latest", lambda: _latest_date(sessions, conditions))
    return _latest_date(sessions, conditions)


def _latest_date(sessions: SessionTable, conditions: Sequence[str]) -> LatestDate | None:
    taken = (column(sessions, "n_used") > 0) | (_silent(sessions) > 0)
    taken &= _among(column(sessions, "condition"), conditions)
    if not taken.any():
        return None
    dates = column(sessions, "date").astype("datetime64[D]")
    newest = dates[taken].max()
    return LatestDate(newest, some(sessions, taken & (dates == newest)))


def on_at(courses: Sequence[Course], others: Sequence[OtherDrug], date: np.datetime64) -> bool:
    """Return whether a modelled course, or a drug off the list, is on at a date."""
    spans = [(one.started_on, one.stopped_on) for one in courses]
    spans += [(one.started_on, one.stopped_on) for one in others if not one.known]
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
        met = {one.rule for one in found}
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
        value = None if latest is None else _highest_measured(latest)
        bound = "" if latest is None or value is None else _bound_at(latest, value)
        yield _line(
            seen, UrgentRule.SIGN_CURRENT, "sign", newest, signs=fitting, value=value, bound=bound
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
    return high is not None and high >= _number("raised")


def _low(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    if latest is None:
        return
    weak = [sign for sign in seen.signs if _is_weak(seen, sign)]
    fast = _fast(seen, latest)
    found: tuple[str, float | None, str] | None = None
    low, mean, bounds = latest.lowest_measured, latest.lowest_mean, latest.lowest
    floor = guideline.floor
    if low is not None and low < _number("low"):
        found = ("below", low, "project.urgent.low")
    elif latest.mostly_soundless:
        found = ("no_sound", None, "project.urgent.silent_share")
    elif latest.soundless and (weak or fast):
        found = ("no_sound_weak", None, "")
    elif bounds is not None and bounds < floor.value and seen.on_drug and (weak or fast):
        found = ("floor_weak", low, floor.fact.id)
    elif mean is not None and mean < _number("low_mean"):
        found = ("mean", mean, "project.urgent.low_mean")
    if found is not None:
        why, value, fact_id = found
        bound = "" if value is None or why == "mean" else _bound_at(latest, value)
        yield _line(
            seen,
            UrgentRule.LOW,
            why,
            latest.date,
            fact=fact_id,
            value=value,
            bound=bound,
            signs=weak,
        )


def _is_weak(seen: Seen, sign: SignState) -> bool:
    present = sign.reading == "present" and not sign.longstanding
    return sign.group == "weak" and present and seen.current(sign)


def _fast(seen: Seen, latest: LatestDate) -> bool:
    """Whether the heart was measured fast; of a blank species the higher bound counts."""
    rate = latest.fastest
    bound = fact(fast_heart_fact(seen.species)).value
    assert bound is not None  # a rate
    return rate is not None and rate > bound


def _acute_kidney(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    if seen.acute_kidney is not None:
        on = seen.acute_kidney.second.date
        yield _line(seen, UrgentRule.ACUTE_KIDNEY, "rise", on, event=seen.acute_kidney)


def _potassium(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    one = seen.potassium
    if one is not None and one.level != "repeat":
        yield _line(seen, UrgentRule.POTASSIUM, one.level, one.value.date, event=one)


def _kidney_reaction(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    low = None if seen.latest is None else seen.latest.lowest
    if seen.latest is None or low is None or low >= _number("reaction_below"):
        return
    for one in seen.reactions:
        if one.is_reaction and one.urgent_size and one.age_days <= _number("reaction_days"):
            value = seen.latest.lowest_measured
            yield _line(
                seen,
                UrgentRule.KIDNEY_REACTION,
                "rise",
                one.after.date,
                fact="project.urgent.reaction_below",
                value=value,
                event=one,
            )
            return


def _low_on_treatment(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    if latest is None or not seen.on_drug:
        return
    low, bounds, floor = latest.lowest_measured, latest.lowest, guideline.floor
    if low is not None and low < _number("low_on_drug"):
        why, fact_id = "below", "project.urgent.low_on_drug"
    elif bounds is not None and bounds < floor.value and _likely_low(floor.value, below):
        why, fact_id = "usual_below_floor", floor.fact.id
    else:
        return
    bound = "" if low is None else _bound_at(latest, low)
    yield _line(
        seen, UrgentRule.LOW_ON_TREATMENT, why, latest.date, fact=fact_id, value=low, bound=bound
    )


def _likely_low(floor: float, below: _Below) -> bool:
    return below is None or below(floor) >= _number("low_likely")


def _severe(seen: Seen, guideline: Guideline, below: _Below) -> Iterator[Urgent]:
    latest = seen.latest
    high = None if latest is None else latest.highest
    if latest is None or high is None or high < _number("severe"):
        return
    value = _highest_measured(latest)
    eyes = any(
        sign.group == "eye" and sign.reading == "denied" and sign.seen_on == latest.date
        for sign in seen.signs
    )
    yield _line(
        seen,
        UrgentRule.SEVERE,
        "eyes_normal" if eyes else "eyes_not_noted",
        latest.date,
        fact="project.urgent.severe",
        value=value,
        bound="" if value is None else _bound_at(latest, value),
        judged_as=None if value is None or value >= _number("severe") else high,
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
        yield _line(
            seen, UrgentRule.SIGN_UNREAD, "raised" if _raised(seen) else "low", newest, signs=unread
        )


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
        yield _line(seen, UrgentRule.SIGN_OPEN, "sign", newest, signs=waiting)


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


def _line(
    seen: Seen,
    rule: UrgentRule,
    why: str,
    on: np.datetime64,
    *,
    fact: str = "",
    value: float | None = None,
    bound: str = "",
    judged_as: float | None = None,
    signs: Sequence[SignState] = (),
    event: AcuteRise | PotassiumAlarm | KidneyReaction | None = None,
) -> Urgent:
    age = int((seen.as_of - on) / _DAY)
    other = judged_as if judged_as is not None and judged_as != value else None
    return Urgent(rule, why, on, age, fact, value, bound, other, tuple(signs), event)


def _silent(sessions: SessionTable) -> np.ndarray:
    return silent_readings(column(sessions, "n_no_sound"), column(sessions, "n_below_gauge"))


def silent_readings(no_sound: np.ndarray, below_gauge: np.ndarray) -> np.ndarray:
    """Return the readings of each session (n,) without a sound, those set aside as too low too."""
    return np.asarray(no_sound + below_gauge, dtype=float)


def mostly_silent(silent: np.ndarray, taken: np.ndarray) -> np.ndarray:
    """Return of which sessions (n,) half or more of at least two readings gave no sound."""
    enough = taken >= _number("silent_readings")
    return np.asarray(enough & (silent >= _number("silent_share") * taken))


def _among(words: np.ndarray, wanted: Sequence[str]) -> np.ndarray:
    return np.array([one in wanted for one in words.tolist()], dtype=bool)


def _extreme(which: np.ufunc, values: np.ndarray) -> float | None:
    """Return the least or the greatest value that is a number; None where none is."""
    known = values[~np.isnan(values)]
    return float(which.reduce(known)) if known.size else None


def _highest_measured(latest: LatestDate) -> float | None:
    """Return the measured mean of the session that is judged highest; None without one."""
    bound, plain, judged = systolic_of(latest.sessions)
    if not plain.size:
        return None
    counted = bound != "at most"
    if counted.any():
        plain, judged = plain[counted], judged[counted]
    return float(plain[int(np.argmax(judged))])


def _bound_at(latest: LatestDate, value: float) -> str:
    bounds, plain, _ = systolic_of(latest.sessions)
    of_value = bounds[plain == value]
    bound = str(of_value[0]) if of_value.size else ""
    return "" if bound == BOTH_BOUNDS else bound


@cache
def _number(key: str) -> float:
    value = fact(f"project.urgent.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return value
