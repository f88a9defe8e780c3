"""Which readings of a session count, and what they come to, on plain numbers.

Standard library only: the in-room sum starts with this and little else. The same rules run
over whole clinics in `bpvet.visits.readings` and `bpvet.visits.sessions`.
"""

from __future__ import annotations

import math

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.protocol import (
    CEILING,
    CONSISTENT_CV,
    DROP_FIRST_FROM,
    ENOUGH_READINGS,
    MAX_READINGS,
    MIN_READINGS,
    STILL_FALLING_MMHG,
)
from bpvet.facts.words import RULES, Bound, Word
from bpvet.frozen import dataclass
from bpvet.reasons import reason

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

#: What a reading is before the rule is applied, in the order in which one excludes the next.
KINDS = ("set aside", "excluded", "no sound", "summary", "bound", "number")
#: What becomes of it.
FATES = ("used", "left out", "excluded", "no sound", "set aside")
#: A session's bound when readings beyond both ends of the gauge were used.
BOTH_BOUNDS = Bound.BOTH

#: What stands between the flags of a session in a table's cell; no flag holds it.
_BETWEEN = "; "


class Flag(Word):
    """What must be said beside a session's mean, or why more readings should be taken."""

    ALL_EXCLUDED = "all readings excluded"
    NONE_USED = "no reading used"
    FEW = f"fewer than {MIN_READINGS} readings used"
    NOT_ENOUGH = f"fewer than {ENOUGH_READINGS} readings used"
    MANY = f"more than {MAX_READINGS} readings taken"
    SUMMARY_ONLY = "summary only"
    INCONSISTENT = f"spread beyond {100 * CONSISTENT_CV:.0f} %"
    STILL_FALLING = "still falling"
    FALLING = "still falling: its mean reads high"
    AT_CEILING = "at the gauge's ceiling: the true value may be higher"
    AT_LEAST = "bound: the mean is at least this"
    AT_MOST = "bound: the mean is at most this"
    BOTH_BOUNDS = "bounds at both ends: the mean may lie to either side"
    NO_SOUND = "no sound"
    COUNTED_PULSE = "counted pulse disagrees"
    REVERSED = "diastolic not below systolic"
    TENSE = "tense"
    MISSED = "doses missed"


#: The flag of each bound of a session's mean.
BOUND_FLAGS = {
    "at least": Flag.AT_LEAST,
    "at most": Flag.AT_MOST,
    BOTH_BOUNDS: Flag.BOTH_BOUNDS,
}


def joined_flags(flags: Iterable[str]) -> str:
    """Return flags as the cell of a table."""
    return _BETWEEN.join(flags)


def split_flags(cell: str) -> tuple[str, ...]:
    """Return the flags of a table's cell.

    Examples
    --------
    >>> split_flags(joined_flags([Flag.FEW, Flag.TENSE])), split_flags("")
    (('fewer than 3 readings used', 'tense'), ())
    """
    return tuple(cell.split(_BETWEEN)) if cell else ()


@dataclass(frozen=True, eq=False, repr=False)
class Reading(Content):
    """One reading as the room gives it.

    Parameters
    ----------
    value : float or None
        Systolic pressure, mmHg (or another quantity in its unit); a bound stands at its value;
        None when no sound was obtained.
    bound : str
        ``""``, ``at least`` (written "> 300") or ``at most`` (written "< 40").
    excluded : str
        Reason why the clinic does not count it; blank when it counts.
    set_aside : str
        Reason why it cannot be used; blank when it can.
    """

    value: float | None
    bound: str = ""
    excluded: str = ""
    set_aside: str = ""

    @property
    def kind(self) -> str:
        """One of `KINDS`."""
        if self.set_aside:
            return "set aside"
        if self.excluded:
            return "excluded"
        if self.value is None:
            return "no sound"
        return "bound" if self.bound else "number"


@dataclass(frozen=True, eq=False, repr=False)
class GoOn(Content):
    """A reason to take more readings now.

    Parameters
    ----------
    text : str
        The reason in words.
    fact_id : str
        The fact it rests on, an id for `bpvet.facts.sources.fact`.
    """

    text: str
    fact_id: str


@dataclass(frozen=True, eq=False, repr=False)
class SessionSum(Content):
    """A session's readings, their fates, and what the used ones come to.

    Parameters
    ----------
    rule : str
        ``guideline`` or ``all``.
    readings : tuple of Reading
        In order of taking.
    fates, reasons : tuple of str
        One of `FATES` for each reading, and why (blank for a used one).
    n_taken, n_used : int
        Readings taken, and readings that the mean rests on.
    mean, sd, ss, median : float or None
        Of the used readings, in their unit; `ss` is their sum of squares about the mean.
        None without a used reading; `sd` None with fewer than two. Where one lies beyond the
        gauge, the mean is a bound too, and the other three are None.
    cv, relative_range : float or None
        SD, and highest minus lowest, each divided by the mean; None with a bound.
    bound : str
        ``""``, ``at least``, ``at most`` or ``at least and at most``.
    inconsistent, falling : bool
        Spread beyond the guideline's limit; still falling when measuring ended.
    flags : tuple of str
        What must be said beside the mean, in words.
    go_on : tuple of GoOn
        Why more readings should be taken now; empty when there are enough.
    """

    rule: str
    readings: tuple[Reading, ...]
    fates: tuple[str, ...]
    reasons: tuple[str, ...]
    n_taken: int
    n_used: int
    mean: float | None
    sd: float | None
    ss: float | None
    median: float | None
    cv: float | None
    relative_range: float | None
    bound: str
    inconsistent: bool
    falling: bool
    flags: tuple[str, ...]
    go_on: tuple[GoOn, ...]


def checked_rule(rule: str) -> str:
    """Return `rule` if it is known.

    Raises
    ------
    CallError
        When it is not ``guideline`` or ``all``.
    """
    if rule not in RULES:
        raise CallError(f'rule "{rule}" is not known. Use {" or ".join(RULES)}.')
    return rule


def fates(
    kinds: Sequence[str], rule: str = "guideline", counts: Sequence[int] | None = None
) -> tuple[str, ...]:
    """Return what becomes of each reading of one session.

    Every reading was *taken*, whatever its kind. Rule ``guideline`` leaves out the first taken,
    and only when four or more were taken; if that one cannot be used anyway, no other is left
    out in its place. Nothing can be left out of a summary row.

    Parameters
    ----------
    kinds : sequence of str
        One of `KINDS` for each row, in order of taking.
    rule : str
        ``guideline`` or ``all``.
    counts : sequence of int, optional
        Readings that each row stands for (more than 1 for a summary row); 1 each by default.

    Returns
    -------
    tuple of str
        One of `FATES` for each row.

    Raises
    ------
    CallError
        When the rule is not known.

    Examples
    --------
    >>> fates(["number", "number", "excluded", "bound"])
    ('left out', 'used', 'excluded', 'used')
    >>> fates(["number", "number", "number"])
    ('used', 'used', 'used')
    """
    checked_rule(rule)
    taken = len(kinds) if counts is None else sum(counts)
    result = ["used" if kind in ("number", "bound", "summary") else kind for kind in kinds]
    leaves_out = rule == "guideline" and taken >= DROP_FIRST_FROM
    if leaves_out and kinds[0] in ("number", "bound"):
        result[0] = "left out"
    return tuple(result)


def left_out_reason(taken: int) -> str:
    """Return why the first of `taken` readings is left out, in words."""
    return reason("visits.left_out_first", taken=taken)


def joint_bound(bounds: Iterable[str]) -> str:
    """Return what the bounds of a session's used readings make of its mean.

    Examples
    --------
    >>> joint_bound(["", "at least"]), joint_bound(["at most", "at least"]), joint_bound([])
    ('at least', 'at least and at most', '')
    """
    seen = set(bounds)
    if {"at least", "at most"} <= seen:
        return BOTH_BOUNDS
    return "at least" if "at least" in seen else "at most" if "at most" in seen else ""


def still_falling(values: Sequence[float]) -> bool:
    """Return whether used readings were still falling when measuring ended.

    So it is when the last is lower than each before it, and lower than the first by more than
    10 mmHg.

    Parameters
    ----------
    values : sequence of float
        Used readings in order of taking, mmHg.

    Examples
    --------
    >>> still_falling([180, 171, 174, 165]), still_falling([180, 165, 165])
    (True, False)
    """
    if len(values) < 2:
        return False
    last = values[-1]
    return last < min(values[:-1]) and values[0] - last > STILL_FALLING_MMHG


def median_of(values: Sequence[float]) -> float:
    """Return the median of at least one value.

    Examples
    --------
    >>> median_of([3.0, 1.0, 2.0]), median_of([1.0, 2.0])
    (2.0, 1.5)
    """
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2


def go_on_reasons(n_used: int, inconsistent: bool, falling: bool) -> tuple[GoOn, ...]:
    """Return why more readings should be taken now; empty when there are enough.

    Parameters
    ----------
    n_used : int
        Readings used so far.
    inconsistent, falling : bool
        As in `SessionSum`.

    Examples
    --------
    >>> [reason.text for reason in go_on_reasons(4, False, True)]
    ['fewer than 5 readings used', 'still falling']
    """
    reasons = []
    if n_used < ENOUGH_READINGS:
        few = n_used < MIN_READINGS
        reasons.append(
            GoOn(Flag.FEW, "protocol.n.minimum")
            if few
            else GoOn(Flag.NOT_ENOUGH, "protocol.n.enough")
        )
    if inconsistent:
        reasons.append(GoOn(Flag.INCONSISTENT, "protocol.consistency.cv"))
    if falling:
        reasons.append(GoOn(Flag.STILL_FALLING, "protocol.plateau"))
    return tuple(reasons)


def session_sum(readings: Sequence[Reading], rule: str = "guideline") -> SessionSum:
    """Return the in-room sum of one session.

    The mean is the plain arithmetic mean of the used readings (fact ``protocol.mean``), the SD
    has divisor n − 1.

    Parameters
    ----------
    readings : sequence of Reading
        In order of taking.
    rule : str
        ``guideline`` (leaves out the first of four or more: fact ``protocol.discard_first``) or
        ``all``.

    Returns
    -------
    SessionSum

    Raises
    ------
    CallError
        When the rule is not known.

    Examples
    --------
    >>> result = session_sum([Reading(165.0), Reading(158.0), Reading(160.0)])
    >>> result.mean, result.ss, result.n_used
    (161.0, 26.0, 3)
    """
    kinds = [reading.kind for reading in readings]
    found = fates(kinds, rule)
    used = [r for r, status in zip(readings, found, strict=True) if status == "used"]
    values = [r.value for r in used if r.value is not None]
    n = len(values)
    mean = math.fsum(values) / n if n else None
    ss = None if mean is None else math.fsum((value - mean) ** 2 for value in values)
    sd = math.sqrt(ss / (n - 1)) if ss is not None and n > 1 else None
    cv = sd / mean if sd is not None and mean else None
    inconsistent = cv is not None and cv > CONSISTENT_CV
    falling = still_falling(values)
    bound = joint_bound(r.bound for r in used)
    return SessionSum(
        rule=rule,
        readings=tuple(readings),
        fates=found,
        reasons=tuple(_reason(r, f, len(kinds)) for r, f in zip(readings, found, strict=True)),
        n_taken=len(kinds),
        n_used=n,
        mean=mean,
        sd=None if bound else sd,
        ss=None if bound else ss,
        median=median_of(values) if n and not bound else None,
        cv=None if bound else cv,
        relative_range=(max(values) - min(values)) / mean if mean and not bound else None,
        bound=bound,
        inconsistent=inconsistent,
        falling=falling,
        flags=_flags(kinds, used, bound, inconsistent, falling),
        go_on=go_on_reasons(n, inconsistent, falling),
    )


def _reason(reading: Reading, status: str, taken: int) -> str:
    if status == "left out":
        return left_out_reason(taken)
    if status == "no sound":
        return Flag.NO_SOUND
    return {"excluded": reading.excluded, "set aside": reading.set_aside}.get(status, "")


def _flags(
    kinds: Sequence[str], used: Sequence[Reading], bound: str, inconsistent: bool, falling: bool
) -> tuple[str, ...]:
    flags = []
    if kinds and all(kind == "excluded" for kind in kinds):
        flags.append(Flag.ALL_EXCLUDED)
    elif not used:
        flags.append(Flag.NONE_USED)
    elif len(used) < MIN_READINGS:
        flags.append(Flag.FEW)
    flags += [Flag.INCONSISTENT] * inconsistent + [Flag.FALLING] * falling
    if any(r.value == CEILING and not r.bound for r in used):
        flags.append(Flag.AT_CEILING)
    if bound:
        flags.append(BOUND_FLAGS[bound])
    if "no sound" in kinds:
        flags.append(Flag.NO_SOUND)
    return tuple(flags)
