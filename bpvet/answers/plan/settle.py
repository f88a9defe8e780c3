"""What the records leave open, and how likely planned visits settle it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.plan.result import OpenQuestion
from bpvet.answers.trend.settle import (
    DRUG_VERDICTS,
    SLOPE_VERDICTS,
    TARGET_VERDICTS,
    settle_answers,
)
from bpvet.answers.trend.verdicts import Verdict
from bpvet.facts.categories import guideline as guideline_of
from bpvet.frozen import dataclass
from bpvet.maths.mixture import Mixture
from bpvet.models.trend.outlook import target_for, written_species
from bpvet.models.trend.settling import Asked, effect_asked, settling, slope_asked, usual_asked
from bpvet.models.trend.trend import Trend
from bpvet.visits.latest_date import added_to


@dataclass(frozen=True)
class _Question:
    """A question, what is known of it today, and the words of its verdicts."""

    name: str
    asked: Asked
    today: Mixture
    verdicts: tuple[Verdict, Verdict]
    value: float | None = None
    drug: str = ""
    started_on: np.datetime64 | None = None

    @property
    def open(self) -> bool:
        """Whether no verdict can be given today."""
        p = float(self.today.below(self.asked.threshold))
        return self.asked.low < p < self.asked.sure


def open_questions(
    trend: Trend, visits: int, readings: int, every_days: int, guideline: str
) -> tuple[OpenQuestion, ...]:
    """Return the questions that a trend leaves open, with the chance that visits settle them.

    Parameters
    ----------
    trend : Trend
        Of what a visit measures.
    visits, readings, every_days : int
        The further visits.
    guideline : str
        Key of the guideline that names the target.
    """
    questions = [question for question in _questions(trend, guideline) if question.open]
    found = settling(
        trend, [question.asked for question in questions], (visits,), every_days, readings
    )
    return tuple(
        OpenQuestion(
            question=question.name,
            value=question.value,
            drug=question.drug,
            started_on=question.started_on,
            settle=settle_answers(each, question.verdicts)[0],
        )
        for question, each in zip(questions, found, strict=True)
    )


def _questions(trend: Trend, guideline: str) -> Iterator[_Question]:
    """Yield the questions that may be asked of a trend."""
    animal = trend.series.animal
    if trend.series.quantity == "systolic" and not written_species(trend.records, animal):
        value, _ = target_for(trend, guideline_of(guideline, trend.series.species or None))
        added = added_to(trend.series.condition)
        asked = usual_asked(value - added)
        yield _Question("target", asked, trend.latest, TARGET_VERDICTS, value)
    for spell in trend.treatments:
        if spell.knowable:
            asked = effect_asked(trend, spell)
            yield _Question(
                "drug", asked, spell.effect, DRUG_VERDICTS, None, spell.drug, spell.started_on
            )
    yield _Question("slope", slope_asked(trend), trend.slope, SLOPE_VERDICTS)
