"""Every answer of a trend as plain frozen numbers: what ``bpvet trend --json`` prints."""

from __future__ import annotations

from typing import Any

from bpvet import __version__
from bpvet.answers.trend.companions import companion_answer
from bpvet.answers.trend.control import (
    category_answer,
    no_target,
    share_answer,
    target_answer,
)
from bpvet.answers.trend.drugs import course_answers, treatment_answers
from bpvet.answers.trend.joined import (
    apart_answers,
    left_out_answers,
    other_series,
    recorded_change_answers,
)
from bpvet.answers.trend.priors import noise_answer, priors_answer
from bpvet.answers.trend.recorded import kidney_told, recorded_answer
from bpvet.answers.trend.result import TrendAnswer, identity_of
from bpvet.answers.trend.safety import no_recheck, recheck_answer, urgent_answers
from bpvet.answers.trend.usual import (
    change_unit,
    latest_answer,
    next_session_answer,
    session_answers,
    slope_answer,
    surprise_answer,
)
from bpvet.errors import CallError
from bpvet.facts.categories import guideline as guideline_of
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.kidney import kidney_of
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import safety, systolic_trend
from bpvet.models.trend.outlook import (
    treated,
)
from bpvet.models.trend.trend import Trend
from bpvet.models.trend.variability import variability
from bpvet.reasons import reason


def trend_answer(
    trend: Trend, guideline: str = "acvim2018", *, level: float = 0.95, edition: str = "iris2019"
) -> TrendAnswer:
    """Return every answer of a trend.

    Parameters
    ----------
    trend : Trend
    guideline : str
        Key of the guideline that names categories, target, floor and intervals.
    level : float
        Probability that intervals hold.
    edition : str
        Edition of the kidney stages, as `bpvet.kidney` takes it.

    Raises
    ------
    CallError
        For an unknown guideline, one that does not speak of the species, or a level outside
        0 to 1.
    """
    from bpvet.wording.en.trend.statements import worded

    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    chosen = guideline_of(guideline, trend.series.species or None)
    records, animal = trend.records, trend.series.animal
    sessions, treatments = trend.context.session_columns, trend.context.treatments
    pressure = systolic_trend(trend)
    found = safety(AnimalCase(records, animal, sessions, treatments, pressure), chosen)
    kidneys = kidney_of(records, found.found, pressure, edition=edition, level=level)
    systolic = trend.series.quantity == "systolic"
    control = (
        target_answer(trend, chosen, found)
        if systolic
        else no_target(chosen, reason("systolic_only"))
    )
    again = recheck_answer(found, records.rows_by_animal[animal].left_reason)
    if not systolic and not again.read_first and found.withheld("all") is None:
        again = no_recheck(reason("systolic_only"))
    answer = TrendAnswer(
        **_shown(trend),
        **_modelled(trend, level, found.withheld("verdicts")),
        level=level,
        guideline=chosen.key,
        guideline_name=chosen.name,
        urgent=urgent_answers(found, chosen),
        signs=found.found.seen.signs,
        category=category_answer(trend, chosen),
        target=control,
        next_session=next_session_answer(trend, again, level),
        share_at_target=share_answer(trend, control),
        recheck=again,
        kidney=kidneys,
        kidney_statements=kidney_told(found, sessions, kidneys),
        recorded=recorded_answer(records, animal, sessions, treatments, found, trend),
    )
    return worded(answer, records, found, treatments)


def _shown(trend: Trend) -> dict[str, Any]:
    """Return which series of whom is shown: fields of `TrendAnswer`."""
    series, records = trend.series, trend.records
    found = (*trend.records.findings.about(_lines(trend)), *trend.context.treatments.findings)
    # What the check asks of a drug, the courses ask too.
    return identity_of(records, series.animal) | {
        "method": series.method,
        "condition": series.condition,
        "quantity": series.quantity,
        "unit": series.unit,
        "bridged": trend.bridged,
        "rule": trend.context.rule,
        "treated": treated(trend),
        "sessions": session_answers(trend),
        "visits": int(series.visit.max(initial=-1)) + 1,
        "measured_before": records.rows_by_animal[series.animal].measured_before,
        "other_series": other_series(trend),
        "left_out": left_out_answers(trend),
        "findings": tuple(dict.fromkeys(found)),
        "version": __version__,
        "data_digest": records.digest,
    }


def _modelled(trend: Trend, level: float, withheld: str | None) -> dict[str, Any]:
    """Return what the model says whatever the guideline: fields of `TrendAnswer`.

    `withheld` is the urgent rule that withholds verdicts, or None.
    """
    series, first_visit, unit = trend.series, trend.first_visit, change_unit(trend)
    return {
        "bridges": {
            name: Estimate.of(offset, level, unit) for name, offset in trend.offsets.items()
        },
        "recorded_changes": recorded_change_answers(trend, level),
        "apart": apart_answers(trend, level),
        "latest": latest_answer(trend, level),
        "slope": slope_answer(trend, level, withheld),
        "courses": course_answers(trend, level),
        "treatments": treatment_answers(trend, level, withheld),
        "surprise": surprise_answer(trend, level, withheld),
        "variability": variability(
            # A session with a reading beyond the gauge has no mean to vary.
            series.date[series.plain],
            trend.observed[series.plain],
            None if trend.logarithmic else series.k[series.plain],
            level=level,
            unit=series.unit,
        ),
        "companions": companion_answer(trend, level),
        "first_visit": None
        if first_visit is None
        else Estimate.of(first_visit, level, series.unit),
        "noise": noise_answer(trend),
        "priors": priors_answer(trend),
    }


def _lines(trend: Trend) -> dict[str, set[int]]:
    """Return the lines of this animal's rows, by their files."""
    records, animal = trend.records, trend.series.animal
    found: dict[str, set[int]] = {}
    for table in ("readings", "treatments", "labs", "observations"):
        rows = records.columns(table, animal)
        for file, line in zip(rows["file"], rows["line"].tolist(), strict=True):
            found.setdefault(str(file), set()).add(line)
    return found
