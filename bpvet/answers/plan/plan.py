"""How many visits answer a question: for a new animal, for one already measured, for a study."""

from __future__ import annotations

import numpy as np

from bpvet import __version__
from bpvet.answers.plan.result import (
    FurtherAnswer,
    PlanAnswer,
    PlanRow,
    SpellPrecision,
)
from bpvet.answers.plan.settle import open_questions
from bpvet.answers.trend.safety import urgent_answers
from bpvet.facts.categories import Guideline
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.cautions import licensed
from bpvet.facts.words import UNITS
from bpvet.models.plan.further_visits import Further, fewest_further, further
from bpvet.models.plan.plan import Plan
from bpvet.models.plan.schedule import MOST_VISITS
from bpvet.models.plan.study import Study
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import Safety, safety, systolic_trend
from bpvet.models.trend.effects import NONE_BEFORE
from bpvet.models.trend.trend import Trend

#: Visits and readings that the table of a plan shows, beside those of the plan.
TABLE_VISITS = (1, 2, 3, 4, 6, 8, 12)
TABLE_READINGS = (1, 3, 5, 10)
#: Probability with which a fall is to be seen that the plan names.
SEEN = 0.8


def plan_answer(
    plan: Plan,
    species: str,
    method: str,
    quantity: str = "systolic",
    *,
    within: float = 10.0,
    drug: str = "",
    study: Study | None = None,
) -> PlanAnswer:
    """Return the answers of a plan.

    Parameters
    ----------
    plan : Plan
    species, method, quantity : str
        What its priors are of.
    within : float
        How well the usual value is to be known, in the unit.
    drug : str
        Name of the drug that is begun, or blank.
    study : Study or None
        A study of such animals.
    """
    from bpvet.wording.en.plan import worded_plan

    answer = PlanAnswer(
        species=species,
        method=method,
        quantity=quantity,
        unit=UNITS[quantity],
        used_to_it=plan.priors.first_visit is None,
        level=plan.level,
        visits=plan.visits,
        readings=plan.readings,
        every_days=plan.every_days,
        before=plan.before,
        drug=drug,
        tau_days=plan.tau_days,
        usual=plan.usual,
        ordinary=plan.ordinary,
        slope=plan.slope,
        effect=plan.effect,
        fall_seen=plan.fall_seen(SEEN),
        seen=SEEN,
        within=within,
        fewest_visits=plan.fewest_visits(within),
        closest=plan.usual_after(MOST_VISITS).half_width,
        most_visits=MOST_VISITS,
        table=_table(plan),
        study=study,
        priors=plan.priors,
        cautions=(licensed(),),
        version=__version__,
    )
    return worded_plan(answer)


def _table(plan: Plan) -> tuple[PlanRow, ...]:
    visits = sorted({*TABLE_VISITS, plan.visits})
    readings = sorted({*TABLE_READINGS, plan.readings})
    by_size = {
        (int(row["visits"]), int(row["readings"])): row
        for row in plan.table(visits, readings).to_dict("records")
    }
    rows = []
    for count in visits:
        usual = {str(k): float(by_size[count, k]["usual_half_width"]) for k in readings}
        effect = float(by_size[count, plan.readings]["effect_half_width"])
        rows.append(PlanRow(count, usual, effect if np.isfinite(effect) else None))
    return tuple(rows)


def further_answer(
    trend: Trend,
    visits: int = 4,
    readings: int = 5,
    every_days: int = 7,
    *,
    within: float = 10.0,
    level: float = 0.95,
    guideline: str = "acvim2018",
) -> FurtherAnswer:
    """Return how well an animal already measured would be known after further visits.

    Parameters
    ----------
    trend : Trend
        The trend so far.
    visits, readings, every_days, level
        As in `bpvet.models.plan.further_visits.further`.
    within : float
        How well its usual value is to be known, in the unit.
    guideline : str
        Key of the guideline that names its target.
    """
    from bpvet.wording.en.plan import worded_further

    precision = further(trend, visits, readings, every_days, level)
    low, high = trend.latest.interval(level)
    series = trend.series
    chosen = guideline_of(guideline, series.species or None)
    safety = _safety(trend, chosen)
    answer = FurtherAnswer(
        animal=series.animal,
        name=trend.records.rows_by_animal[series.animal].name,
        species=series.species,
        method=series.method,
        condition=series.condition,
        quantity=series.quantity,
        unit=series.unit,
        as_of=trend.as_of,
        latest=trend.latest_date,
        sessions=int(series.y.size),
        level=level,
        visits=visits,
        readings=readings,
        every_days=every_days,
        now=(float(high) - float(low)) / 2,
        usual=precision.usual,
        slope=precision.slope,
        effects=_spells(precision),
        within=within,
        fewest_visits=fewest_further(trend, within, readings, every_days, level),
        most_visits=MOST_VISITS,
        open_questions=open_questions(trend, visits, readings, every_days, guideline),
        urgent=urgent_answers(safety, chosen),
        priors_source=trend.priors.source,
        cautions=(licensed(),),
        version=__version__,
        data_digest=trend.records.digest,
    )
    return worded_further(answer, safety)


def _safety(trend: Trend, chosen: Guideline) -> Safety:
    """Return what comes before any plan of the animal, as its trend says it."""
    sessions, treatments = trend.context.session_columns, trend.context.treatments
    case = AnimalCase(
        trend.records, trend.series.animal, sessions, treatments, systolic_trend(trend)
    )
    return safety(case, chosen)


def _spells(precision: Further) -> tuple[SpellPrecision, ...]:
    return tuple(
        # Sessions on the drug can still come; sessions before it cannot.
        SpellPrecision(spell.drug, spell.started_on, spell.unknowable != NONE_BEFORE, effect)
        for spell, effect in precision.effects
    )
