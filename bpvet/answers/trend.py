"""Every answer of a trend as plain frozen numbers: what ``bpvet trend --json`` prints."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.assumptions import assumptions, cautions
from bpvet.answers.beside import (
    apart_answers,
    companion_answer,
    noise_answer,
    other_series,
    own_findings,
    priors_answer,
)
from bpvet.answers.control import (
    SYSTOLIC_ONLY,
    category_answer,
    no_recheck,
    no_target,
    recheck_answer,
    settled,
    share_answer,
    target_answer,
    urgent_answers,
)
from bpvet.answers.parts import (
    Estimate,
    LatestAnswer,
    NextSessionAnswer,
    RecheckAnswer,
    SessionAnswer,
    SlopeAnswer,
    SurpriseAnswer,
    TrendAnswer,
)
from bpvet.answers.sentences import sentences
from bpvet.answers.treatments import course_answers, treatment_answers
from bpvet.errors import CallError
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.facts.words import LAB_METHOD
from bpvet.maths.mixture import Mixture
from bpvet.models.columns import SLOPE_DAYS
from bpvet.models.outlook import surprise, treated
from bpvet.models.trend import Trend
from bpvet.models.variability import variability
from bpvet.visits.urgency import latest_date


def trend_answer(trend: Trend, guideline: str = "acvim2018", level: float = 0.95) -> TrendAnswer:
    """Return every answer of a trend.

    Parameters
    ----------
    trend : Trend
    guideline : str
        Key of the guideline that names categories, target, floor and intervals.
    level : float
        Probability that intervals hold.

    Raises
    ------
    CallError
        For an unknown guideline, one that does not speak of the species, or a level outside
        0 to 1.
    """
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    chosen = guideline_of(guideline, trend.series.species or None)
    series, records = trend.series, trend.records
    animal = records.animals.set_index("animal").loc[series.animal]
    systolic = series.quantity == "systolic"
    day = latest_date(
        records, series.animal, trend.context.sessions, trend.context.treatments.courses
    )
    control = target_answer(trend, chosen) if systolic else no_target(chosen)
    again = recheck_answer(trend, day, chosen) if systolic else no_recheck(chosen, SYSTOLIC_ONLY)
    answer = TrendAnswer(
        animal=series.animal,
        name=str(animal["name"]),
        species=series.species,
        breed=str(animal["breed"]),
        method=series.method,
        condition=series.condition,
        quantity=series.quantity,
        unit=series.unit,
        bridged=trend.bridged,
        bridges={name: Estimate.of(held, level) for name, held in trend.offsets.items()},
        apart=apart_answers(trend, level),
        as_of=trend.as_of,
        level=level,
        rule=trend.context.rule,
        guideline=chosen.key,
        guideline_name=chosen.name,
        treated=treated(trend),
        sessions=_sessions(trend),
        latest=_latest(trend, level),
        urgent=urgent_answers(day, chosen) if systolic else None,
        urgent_reason=None if systolic else SYSTOLIC_ONLY,
        category=category_answer(trend, chosen),
        target=control,
        slope=_slope(trend, level),
        courses=course_answers(trend, level),
        treatments=treatment_answers(trend, level),
        surprise=_surprise(trend, level),
        next_session=_next_session(trend, again, level),
        share_at_target=share_answer(trend, control),
        variability=variability(
            series.date,
            trend.observed,
            None if trend.logarithmic else series.k,
            level=level,
            unit=series.unit,
        ),
        companions=companion_answer(trend),
        recheck=again,
        first_visit=None if trend.first_visit is None else Estimate.of(trend.first_visit, level),
        noise=noise_answer(trend),
        priors=priors_answer(trend),
        assumptions=(),
        sentences=(),
        cautions=(),
        other_series=other_series(trend),
        findings=own_findings(trend),
        version=__version__,
        data_digest=records.digest,
    )
    answer = replace(answer, assumptions=assumptions(answer), cautions=cautions(answer))
    return replace(answer, sentences=sentences(answer))


def _number(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _sessions(trend: Trend) -> tuple[SessionAnswer, ...]:
    """Return the sessions of the series, in order."""
    if trend.logarithmic:
        return tuple(
            SessionAnswer(date, LAB_METHOD, "", "", 1, 1, float(value), None, "", ())
            for date, value in zip(trend.series.date, trend.observed, strict=True)
        )
    quantity, table = trend.series.quantity, trend.context.sessions
    rows = table.set_index("session").loc[trend.series.session]
    return tuple(session_answer(row, quantity) for _, row in rows.iterrows())


def session_answer(row: pd.Series[Any], quantity: str) -> SessionAnswer:
    """Return one row of `bpvet.sessions` as an answer for one quantity."""
    flags = tuple(flag for flag in str(row["flags"]).split("; ") if flag)
    return SessionAnswer(
        date=np.datetime64(row["date"], "D"),
        method=str(row["method"]),
        condition=str(row["condition"]),
        label=str(row["label"]),
        n_taken=int(row["n_taken"]),
        n_used=int(row[f"{quantity}_n"]),
        mean=_number(row[quantity]),
        sd=_number(row[f"{quantity}_sd"]),
        bound=str(row[f"{quantity}_bound"]),
        flags=flags,
    )


def _latest(trend: Trend, level: float) -> LatestAnswer:
    usual = Estimate.of(trend.latest, level)
    return LatestAnswer(trend.latest_date, usual.estimate, usual.lower, usual.upper, usual.sd)


def _slope(trend: Trend, level: float) -> SlopeAnswer:
    slope = trend.slope
    span = int((trend.series.date[-1] - trend.series.date[0]) / np.timedelta64(1, "D"))
    months = span / SLOPE_DAYS
    sds = np.maximum(slope.sds * months, 1e-12)
    over = Mixture(slope.weights, slope.means * months, sds, slope.scale)
    rise = float(fact(f"project.verdict.rise{_kind(trend)}").value or 0)
    p_rising_by_1 = float(slope.above(rise))
    each = Estimate.of(slope, level)
    return SlopeAnswer(
        per_30_days=each.estimate,
        lower=each.lower,
        upper=each.upper,
        p_rising=float(slope.above(0.0)),
        p_rising_by_1=p_rising_by_1,
        rise_over_record=Estimate.of(over, level),
        span_days=span,
        verdict=settled(p_rising_by_1, "rising", "rise unlikely").replace(
            "not settled", "cannot tell yet"
        ),
    )


def _kind(trend: Trend) -> str:
    """Return the ending of the facts that hold for laboratory values in place of pressures."""
    return "_labs" if trend.logarithmic else ""


def _surprise(trend: Trend, level: float) -> SurpriseAnswer:
    found = surprise(trend)
    date, observed = trend.latest_date, float(trend.observed[-1])
    if found is None:
        reason = "there is no earlier session to compare with"
        return SurpriseAnswer(date, observed, None, None, None, None, None, reason)
    held = Estimate.of(found.expected, level)
    if found.tail <= float(fact("project.verdict.very_unusual").value or 0):
        words = "very unusual"
    elif found.tail <= float(fact("project.verdict.unusual").value or 0):
        words = "unusual"
    else:
        words = "as expected"
    return SurpriseAnswer(
        date, observed, held.estimate, held.lower, held.upper, found.tail, words, None
    )


def _next_session(trend: Trend, again: RecheckAnswer, level: float) -> NextSessionAnswer:
    """Return what to expect at the next visit; four weeks on where no date is set."""
    date = trend.latest_date + np.timedelta64(28, "D") if again.by is None else again.by
    date = max(date, trend.as_of)
    expected = Estimate.of(trend.next_session(date, readings=ENOUGH_READINGS), level)
    return NextSessionAnswer(
        date,
        trend.series.method,
        ENOUGH_READINGS,
        expected.estimate,
        expected.lower,
        expected.upper,
    )
