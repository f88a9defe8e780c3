"""How likely further visits settle what a trend leaves open, as answers."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.answers.trend.verdicts import Verdict
from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.models.trend.effects import Treatment
from bpvet.models.trend.settling import (
    SLOPE_GAP_DAYS,
    SLOPE_VISITS,
    Settling,
    effect_asked,
    settling,
    slope_asked,
    usual_asked,
)
from bpvet.models.trend.trend import Trend


@dataclass(frozen=True, eq=False)
class SettleAnswer(Content):
    """How likely some further visits settle a question that is open today.

    `visits` further visits by the same method under the same condition, `gap_days` apart, of
    `readings` readings each. `chance` is the probability that a report after them gives a
    verdict, and `by_verdict` that of each verdict, in the words of the question's `verdict`.
    """

    visits: int
    gap_days: int
    readings: int
    chance: float
    by_verdict: dict[str, float]


#: Verdicts of each question: at or below what is asked, and above.
TARGET_VERDICTS = (Verdict.AT_OR_BELOW, Verdict.ABOVE)
DRUG_VERDICTS = (Verdict.HAS_LOWERED, Verdict.FALL_UNLIKELY)
SLOPE_VERDICTS = (Verdict.RISE_UNLIKELY, Verdict.RISING)


def usual_settle(trend: Trend, value: float) -> tuple[SettleAnswer, ...]:
    """Return how likely further visits settle whether the usual pressure lies at or below."""
    return settle_answers(settling(trend, [usual_asked(value)])[0], TARGET_VERDICTS)


def drug_settle(trend: Trend, spell: Treatment) -> tuple[SettleAnswer, ...]:
    """Return how likely further visits settle whether a drug has lowered it; none for values."""
    if trend.logarithmic:
        return ()
    return settle_answers(settling(trend, [effect_asked(trend, spell)])[0], DRUG_VERDICTS)


def slope_settle(trend: Trend) -> tuple[SettleAnswer, ...]:
    """Return how likely further visits settle whether it is creeping up; none for values."""
    if trend.logarithmic:
        return ()
    found = settling(trend, [slope_asked(trend)], SLOPE_VISITS, SLOPE_GAP_DAYS)
    return settle_answers(found[0], SLOPE_VERDICTS)


def settle_answers(
    found: Sequence[Settling], verdicts: tuple[Verdict, Verdict]
) -> tuple[SettleAnswer, ...]:
    """Return chances as answers, each side under the words of its verdict."""
    return tuple(
        SettleAnswer(
            visits=chance.visits,
            gap_days=chance.gap_days,
            readings=chance.readings,
            chance=chance.chance,
            by_verdict={verdicts[0].value: chance.at_or_below, verdicts[1].value: chance.above},
        )
        for chance in found
    )
