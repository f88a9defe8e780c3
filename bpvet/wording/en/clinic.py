"""What a clinic's cohort comes to, in sentences that a vet and a researcher can read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.facts.cautions import cautions_for
from bpvet.facts.words import QUANTITY_WORDS, TAKEN_BY, UNITS
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.clinic.components import Component
from bpvet.models.clinic.flow import Flow
from bpvet.models.clinic.grid import Effect, Grid
from bpvet.printing import number
from bpvet.wording.en.phrases import capital, counted, interval, listed

NOT_CAUSAL = (
    "Treated animals differ in more than treatment: the sicker are treated, and treatment starts "
    "on a high day. A difference between sessions with and without a drug is not the drug's effect."
)
_OWN = (
    "Animals are not seen at random: the sicker come sooner and more often, and those that left or "
    "died are not seen again. A line over months describes the animals that were still seen.",
    "These are one clinic's animals, not a sample of animals in general.",
    "The population's line is not a forecast for one animal; the animal's own report is.",
)
_ALWAYS = ("licensed", "measurement", "conditions")
_SITUATIONS = ("situational", "two_methods", "treated", "oscillometric")
#: A caution of `bpvet.facts.cautions` that speaks of one animal.
_OF_ONE = ("trials_lost_worst",)
#: In 95 % of cases a normal lies within so many SDs.
_REACH = 1.96
#: What the main estimates are called in a list of how they move.
_MOVING = {
    "months": "the change a month off drugs",
    "months_treated": "the change a month on a drug",
    "treated": "the difference between sessions on and off a drug",
    "oscillometric": "oscillometric minus Doppler",
}
#: Terms of the full model, as a sentence names them.
_TERMS = {
    "months": "a change over months",
    "treated": "sessions on a drug against those without",
    "months:treated": "a separate change over months on a drug",
    "method": "the method",
}


def statements_of(
    study: ClinicCohort,
    level: float,
    flow: Flow,
    effects: Mapping[str, Effect],
    components: Sequence[Component],
    grid: Grid,
) -> tuple[Statement, ...]:
    """Return what is told, most useful first; what has nothing to say is left out."""
    unit = UNITS[study.quantity]
    topics: dict[str, Iterable[str]] = {
        "counted": (counted_words(study, flow),),
        "months": (over_months(study, effects["months"], level),),
        "treated": _with_a_drug(study, effects, grid.month, level),
        "method": _method(effects["oscillometric"], unit, level),
        "scatter": _scatter(study, components, unit),
        "slopes": _slopes(study, components, unit),
        "explained": _explained(study),
        "choices": _moved(grid, unit),
        "left_out": _without(study),
    }
    return tuple(
        Statement(f"cohort.{key}", text) for key, texts in topics.items() for text in texts
    )


def counted_words(study: ClinicCohort, flow: Flow) -> str:
    """Who was counted."""
    return (
        f"This covers {flow.sessions} of {flow.sessions_in} sessions, {flow.animals} of "
        f"{flow.animals_in} animals: those in the clinic, awake, with a used value "
        f"of {QUANTITY_WORDS[study.quantity]}."
    )


def over_months(study: ClinicCohort, effect: Effect, level: float) -> str:
    """The change a month, over all sessions or those without a drug."""
    quantity, unit = QUANTITY_WORDS[study.quantity], UNITS[study.quantity]
    where = "" if "treated" in study.fit.left_out_terms else "without a pressure-acting drug, "
    if effect.estimate is None or effect.lower is None or effect.upper is None:
        return f"The change over months is not known: {effect.reason}."
    how = interval(level, effect.lower, effect.upper, 1)
    size = f"{number(abs(effect.estimate), 1)} {unit} a month"
    if effect.lower <= 0 <= effect.upper:
        return capital(
            f"{where}it is not clear whether {quantity} rises or falls over months: "
            f"{number(effect.estimate, 1)} {unit} a month ({how})."
        )
    side = "rises" if effect.estimate > 0 else "falls"
    return capital(f"{where}{quantity} {side} by {size} on average ({how}).")


def _with_a_drug(
    study: ClinicCohort, effects: Mapping[str, Effect], month: float, level: float
) -> Iterator[str]:
    unit, gap = UNITS[study.quantity], effects["treated"]
    if gap.estimate is None or gap.lower is None or gap.upper is None:
        yield (
            f"Sessions with and without a pressure-acting drug cannot be compared: {gap.reason}."
        )
        return
    how = interval(level, gap.lower, gap.upper)
    side = "higher" if gap.estimate > 0 else "lower"
    text = (
        f"sessions on a pressure-acting drug lie {number(abs(gap.estimate), 0)} {unit} "
        f"{side} than those without ({how})"
    )
    if gap.lower <= 0 <= gap.upper:
        text = (
            "it is not clear whether sessions on a pressure-acting drug lie higher or lower than "
            f"those without: {number(gap.estimate, 0)} {unit} ({how})"
        )
    yield (
        f"{capital(at_month(month))}, {text}. That is not a drug's effect: treated animals differ "
        "in more than treatment, and treatment starts on a high day."
    )
    slope = effects["months_treated"]
    if slope.estimate is None or slope.lower is None or slope.upper is None:
        return
    if "months:treated" in study.cohort.terms:
        yield (
            f"On a drug the change is {number(slope.estimate, 1)} {unit} a month "
            f"({interval(level, slope.lower, slope.upper, 1)})."
        )


def at_month(month: float) -> str:
    """Return a time after the first session in prose.

    Examples
    --------
    >>> at_month(0.0), at_month(12.4)
    ('at the first session', '12.4 months after the first session')
    """
    return f"{month:g} months after the first session" if month else "at the first session"


def _method(gap: Effect, unit: str, level: float) -> Iterator[str]:
    if gap.estimate is None or gap.lower is None or gap.upper is None:
        yield f"The two methods cannot be compared: {gap.reason}."
        return
    how = interval(level, gap.lower, gap.upper)
    if gap.lower <= 0 <= gap.upper:
        yield (
            "It is not clear which method reads higher in these animals: oscillometric minus "
            f"Doppler is {number(gap.estimate, 0)} {unit} ({how})."
        )
        return
    side = "higher" if gap.estimate > 0 else "lower"
    yield (
        f"Oscillometric sessions read {number(abs(gap.estimate), 0)} {unit} {side} than Doppler "
        f"ones in the same animals ({how})."
    )


def _scatter(study: ClinicCohort, components: Sequence[Component], unit: str) -> Iterator[str]:
    sds = {sd.component: sd.estimate for sd in components if sd.estimate is not None}
    yield (
        f"Animals differ from each other by an SD of {number(sds.get('animal'), 0)} {unit} at "
        "their first session."
    )
    rows = study.counted
    for method in sorted(rows["method"].unique()):
        visit = sds.get(f"visit: {method}", sds.get("visit"))
        reading = sds.get(f"residual: {method}", sds.get("residual"))
        if visit is None or reading is None:
            continue
        many = int(rows.loc[rows["method"] == method, f"{study.quantity}_n"].median())
        reach = _REACH * float(np.hypot(visit, reading / many**0.5))
        yield (
            f"By {TAKEN_BY[method]}, visits of one animal scatter by an SD of "
            f"{number(visit, 0)} {unit} and readings of one visit by {number(reading, 0)}: the "
            f"mean of {counted(many, 'reading')} lies within {number(reach, 0)} {unit} of the "
            "animal's own line in 95 % of cases."
        )


def _slopes(study: ClinicCohort, components: Sequence[Component], unit: str) -> Iterator[str]:
    if study.fit.slopes_reason:
        yield f"All animals share one change a month in this model: {study.fit.slopes_reason}."
        return
    sd = next(slope.estimate for slope in components if slope.component == "animal: months")
    yield f"Animals' own changes a month differ by an SD of {number(sd, 1)} {unit}."


def _explained(study: ClinicCohort) -> Iterator[str]:
    r2 = study.cohort.r2
    yield (
        f"Time, drugs and method together account for {number(100 * r2['marginal'], 0)} % of the "
        f"variance of readings; with animals and visits it is "
        f"{number(100 * r2['conditional'], 0)} % (marginal and conditional R²)."
    )
    residual = study.cohort.residuals("standardised").to_numpy()
    beyond = int((np.abs(residual) > 2).sum())
    yield (
        f"{beyond} of {residual.size} residuals lie beyond 2 SDs; about "
        f"{number(0.0455 * residual.size, 0)} would if they were normal."
    )


def _moved(grid: Grid, unit: str) -> Iterator[str]:
    rows = [row for row in grid.rows if row.species == "all"]
    parts = []
    for name, words in _MOVING.items():
        values = [getattr(row, name).estimate for row in rows]
        known = [value for value in values if value is not None]
        if known:
            low, high = number(min(known), 1), number(max(known), 1)
            span = low if low == high else f"{low} to {high}"
            parts.append(f"{words} {span} {unit}")
    if parts and len(rows) > 1:
        yield (
            f"Under the {len(rows)} sets of choices tried (the rule, home and calmed sessions, "
            f"animals treated before entry) the estimates are: {listed(parts)}."
        )


def _without(study: ClinicCohort) -> Iterator[str]:
    reported = dict.fromkeys(("months", "treated", "method"))  # told above
    for name, reason in study.fit.left_out_terms.items():
        if name not in reported and "treated" not in study.fit.left_out_terms:
            yield f"The model leaves out {_TERMS[name]}: {reason}."
    if study.fit.spread_reason and study.counted["method"].nunique() > 1:
        yield f"Both methods share one scatter in this model: {study.fit.spread_reason}."
    if study.cohort.boundary:
        yield (
            "A variance is zero or a correlation is ±1: the fit lies on the edge of what is "
            "possible."
        )


def cohort_cautions(study: ClinicCohort) -> tuple[str, ...]:
    """Return what must stand beside the numbers of a cohort."""
    rows = study.counted
    holds = (True, rows["method"].nunique() > 1, bool(rows["treated"].any()))
    diastolic = study.quantity == "diastolic"
    wanted = [name for name, yes in zip(_SITUATIONS, (*holds, diastolic), strict=True) if yes]
    shared = [
        caution.text
        for caution in cautions_for(wanted)
        if (caution.applies != "always" or caution.id in _ALWAYS) and caution.id not in _OF_ONE
    ]
    first = (NOT_CAUSAL,) if rows["treated"].any() else ()
    return (*first, *_OWN, *shared)
