"""How likely further visits settle a question, in one sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence

from bpvet.answers.trend.settle import SettleAnswer
from bpvet.facts.sources import fact
from bpvet.wording.en.phrases import counted


def settle_words(found: Sequence[SettleAnswer]) -> tuple[str, ...]:
    """Return the sentence that follows an open question; none where nothing is asked.

    The fewest visits with an even chance are named; where none of those tried has it, the most.
    """
    if not found:
        return ()
    even, rare = (
        float(fact(name).value or 0) for name in ("project.settle.even", "project.settle.rare")
    )
    best = next((way for way in found if way.chance >= even), found[-1])
    more = more_visits(best.visits, best.gap_days)
    if best.chance >= even:
        settles = "settles" if best.visits == 1 else "settle"
        share = in_ten(best.chance)
        return (f"There is an even chance or better ({share}) that {more} {settles} it.",)
    if best.chance >= rare:
        settles = "settles" if best.visits == 1 else "settle"
        tenths = math.floor(10 * best.chance + 0.5)
        text = f"{more} {settles} it in about {tenths} of 10 such animals."
        return (text[0].upper() + text[1:],)
    share = in_ten(best.chance)
    return (f"More visits alone will rarely settle it ({share} for {more}).",)


def more_visits(count: int, gap_days: int) -> str:
    """Return further visits with the days between them.

    Examples
    --------
    >>> more_visits(1, 14), more_visits(4, 14)
    ('one more visit after 14 days', 'four more visits 14 days apart')
    """
    days = counted(gap_days, "day") if gap_days == 1 else f"{gap_days} days"
    return f"{counted(count, 'more visit')} {f'after {days}' if count == 1 else f'{days} apart'}"


def in_ten(chance: float) -> str:
    """Return a chance in tenths.

    Examples
    --------
    >>> in_ten(0.62), in_ten(0.03), in_ten(0.97)
    ('6 in 10', 'less than 1 in 10', 'more than 9 in 10')
    """
    tenths = math.floor(10 * chance + 0.5)
    if tenths == 0:
        return "less than 1 in 10"
    return "more than 9 in 10" if tenths == 10 else f"{tenths} in 10"
