"""What is decided of a trend, as codes: their values are the words of the contract."""

from __future__ import annotations

from enum import Enum

from bpvet.facts.sources import fact
from bpvet.facts.words import Word


class Verdict(Word):
    """The verdicts on target, slope and drug.

    On the target the first three, on the slope `RISING`, `RISE_UNLIKELY` and `CANNOT_TELL`; on a
    drug `HAS_LOWERED`, `FALL_UNLIKELY` and the last two, and of kidney values `HAS_RISEN` and
    `RISE_UNLIKELY` in place of the first two.
    """

    AT_OR_BELOW = "at or below"
    ABOVE = "above"
    NOT_SETTLED = "not settled"
    RISING = "rising"
    RISE_UNLIKELY = "rise unlikely"
    HAS_LOWERED = "has lowered"
    FALL_UNLIKELY = "fall unlikely"
    HAS_RISEN = "has risen"
    CANNOT_TELL = "cannot tell yet"
    CANNOT_BE_KNOWN = "cannot be known"


class Surprise(Word):
    """How far off the newest session lies."""

    AS_EXPECTED = "as expected"
    UNUSUAL = "unusual"
    VERY_UNUSUAL = "very unusual"


def surprise_by(tail: float) -> Surprise:
    """Return how far off a session lies, by the facts ``project.verdict.very_unusual`` and so on.

    Parameters
    ----------
    tail : float
        Probability of a result as far off.
    """
    if tail <= float(fact("project.verdict.very_unusual").value or 0):
        return Surprise.VERY_UNUSUAL
    if tail <= float(fact("project.verdict.unusual").value or 0):
        return Surprise.UNUSUAL
    return Surprise.AS_EXPECTED


class Settled(Enum):
    """What a probability settles of a yes-or-no question."""

    YES = "yes"
    NO = "no"
    OPEN = "open"


def settled(p: float) -> Settled:
    """Return what a probability settles, by the facts ``project.verdict.sure`` and ``unlikely``."""
    if p >= float(fact("project.verdict.sure").value or 1):
        return Settled.YES
    return Settled.NO if p <= float(fact("project.verdict.unlikely").value or 0) else Settled.OPEN
