"""Every answer of a trend as plain frozen numbers: what ``bpvet trend --json`` prints."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.beside import (
    apart_answers,
    companion_answer,
    left_out_answers,
    noise_answer,
    other_series,
    own_findings,
    priors_answer,
    recorded_change_answers,
)
from bpvet.answers.control import (
    SYSTOLIC_ONLY,
    category_answer,
    no_recheck,
    no_target,
    recheck_answer,
    share_answer,
    sign_answers,
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
from bpvet.answers.recorded import kidney_told, recorded_answer
from bpvet.answers.settle import slope_settle
from bpvet.answers.treatments import course_answers, treatment_answers
from bpvet.answers.verdicts import Settled, Surprise, Verdict, settled
from bpvet.errors import CallError
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.facts.words import LAB_METHOD
from bpvet.maths.mixture import Mixture
from bpvet.models.kidney.kidney import kidney_of
from bpvet.models.safety.safety import safety, systolic_trend
from bpvet.models.trend.columns import SLOPE_DAYS
from bpvet.models.trend.outlook import surprise, treated
from bpvet.models.trend.trend import Trend
from bpvet.models.trend.variability import variability
from bpvet.visits.choice import split_flags

_ON_SLOPE = {
    Settled.YES: Verdict.RISING,
    Settled.NO: Verdict.RISE_UNLIKELY,
    Settled.OPEN: Verdict.CANNOT_TELL,
}


def trend_answer(
    trend: Trend, guideline: str = "acvim2018", level: float = 0.95, *, edition: str = "iris2019"
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
    series, records = trend.series, trend.records
    animal = records.animals.set_index("animal").loc[series.animal]
    systolic = series.quantity == "systolic"
    sessions, treatments = trend.context.sessions, trend.context.treatments
    pressure = systolic_trend(trend)
    found = safety(records, series.animal, sessions, treatments, pressure, chosen)
    kidneys = kidney_of(records, found.found, pressure, edition=edition, level=level)
    control = target_answer(trend, chosen, found) if systolic else no_target(chosen)
    again = recheck_answer(found, str(animal["left_reason"]))
    if not systolic and found.withheld("all") is None:
        again = no_recheck(SYSTOLIC_ONLY)
    verdicts = found.withheld("verdicts")
    answer = TrendAnswer(
        animal=series.animal,
        name=str(animal["name"]),
        species=series.species,
        species_written=str(animal["species_written"]),
        breed=str(animal["breed"]),
        method=series.method,
        condition=series.condition,
        quantity=series.quantity,
        unit=series.unit,
        bridged=trend.bridged,
        bridges={name: Estimate.of(held, level) for name, held in trend.offsets.items()},
        recorded_changes=recorded_change_answers(trend, level),
        apart=apart_answers(trend, level),
        as_of=trend.as_of,
        level=level,
        rule=trend.context.rule,
        guideline=chosen.key,
        guideline_name=chosen.name,
        treated=treated(trend),
        sessions=_sessions(trend),
        latest=_latest(trend, level),
        urgent=urgent_answers(found, chosen),
        signs=sign_answers(found.found.seen.signs),
        category=category_answer(trend, chosen),
        target=control,
        slope=_slope(trend, level, verdicts),
        courses=course_answers(trend, level),
        treatments=treatment_answers(trend, level, verdicts),
        surprise=_surprise(trend, level, verdicts),
        next_session=_next_session(trend, again, level),
        share_at_target=share_answer(trend, control),
        variability=variability(
            # A session with a reading beyond the gauge has no mean to vary.
            series.date[series.plain],
            trend.observed[series.plain],
            None if trend.logarithmic else series.k[series.plain],
            level=level,
            unit=series.unit,
        ),
        companions=companion_answer(trend, level),
        recheck=again,
        kidney=kidneys,
        kidney_statements=kidney_told(found, sessions, kidneys),
        recorded=recorded_answer(records, series.animal, sessions, treatments, found, trend),
        first_visit=None if trend.first_visit is None else Estimate.of(trend.first_visit, level),
        noise=noise_answer(trend),
        priors=priors_answer(trend),
        assumptions=(),
        statements=(),
        sentences=(),
        not_used=(),
        cautions=(),
        other_series=other_series(trend),
        left_out=left_out_answers(trend),
        findings=own_findings(trend),
        version=__version__,
        data_digest=records.digest,
        measured_before=str(animal["measured_before"]),
        visits=int(series.visit.max(initial=-1)) + 1,
    )
    return worded(answer, records, found, treatments)


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
        flags=split_flags(str(row["flags"])),
    )


def _latest(trend: Trend, level: float) -> LatestAnswer:
    usual = Estimate.of(trend.latest, level)
    ends = usual.estimate, usual.lower, usual.upper
    return LatestAnswer(trend.latest_date, *ends, usual.sd, trend.one_sided)


def _slope(trend: Trend, level: float, withheld: str | None) -> SlopeAnswer:
    slope = trend.slope
    span = int((trend.series.date[-1] - trend.series.date[0]) / np.timedelta64(1, "D"))
    months = span / SLOPE_DAYS
    sds = np.maximum(slope.sds * months, 1e-12)
    over = Mixture(slope.weights, slope.means * months, sds, slope.scale)
    rise = float(fact(f"project.verdict.rise{_kind(trend)}").value or 0)
    p_rising_by_1 = float(slope.above(rise))
    each = Estimate.of(slope, level)
    verdict = _ON_SLOPE[settled(p_rising_by_1)]
    return SlopeAnswer(
        per_30_days=each.estimate,
        lower=each.lower,
        upper=each.upper,
        p_rising=float(slope.above(0.0)),
        p_rising_by_1=p_rising_by_1,
        rise_over_record=Estimate.of(over, level),
        span_days=span,
        verdict=None if withheld else verdict,
        withheld=withheld,
        settle=slope_settle(trend) if verdict is Verdict.CANNOT_TELL and not withheld else (),
    )


def _kind(trend: Trend) -> str:
    """Return the ending of the facts that hold for laboratory values in place of pressures."""
    return "_labs" if trend.logarithmic else ""


def _surprise(trend: Trend, level: float, withheld: str | None) -> SurpriseAnswer:
    found = surprise(trend)
    date, observed = trend.latest_date, float(trend.observed[-1])
    if found is None:
        one = "value" if trend.logarithmic else "session"
        reason = f"there is no earlier {one} to compare with"
        return SurpriseAnswer(date, observed, None, None, None, None, None, None, reason)
    held = Estimate.of(found.expected, level)
    if found.tail <= float(fact("project.verdict.very_unusual").value or 0):
        words = Surprise.VERY_UNUSUAL
    elif found.tail <= float(fact("project.verdict.unusual").value or 0):
        words = Surprise.UNUSUAL
    else:
        words = Surprise.AS_EXPECTED
    return SurpriseAnswer(
        date=date,
        observed=observed,
        expected=held.estimate,
        lower=held.lower,
        upper=held.upper,
        tail=found.tail,
        words=None if withheld else words,
        withheld=withheld,
        reason=None,
        bound=found.bound,
    )


def _next_session(trend: Trend, again: RecheckAnswer, level: float) -> NextSessionAnswer:
    """Return what to expect at the next visit; four weeks on where no date is set."""
    date = trend.latest_date + np.timedelta64(28, "D") if again.latest is None else again.latest
    date = max(date, trend.as_of)
    expected = Estimate.of(trend.next_session(date, readings=ENOUGH_READINGS), level)
    return NextSessionAnswer(
        date,
        trend.series.method,
        ENOUGH_READINGS,
        expected.estimate,
        expected.lower,
        expected.upper,
        trend.one_sided,
    )
