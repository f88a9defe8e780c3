"""What a clinic's cohort comes to, in sentences that a vet and a researcher can read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from bpvet.answers.phrases import capital, counted, interval, listed
from bpvet.facts.words import QUANTITY_WORDS, TAKEN_BY, UNITS
from bpvet.models.clinic_cohort import ClinicCohort
from bpvet.models.cohort_components import Component
from bpvet.models.cohort_flow import Flow
from bpvet.models.cohort_grid import Effect, Grid
from bpvet.printing import number

#: Nineteen times in twenty, a normal lies within so many SDs.
_REACH = 1.96
#: What the main estimates are called in a list of how they move.
_MOVING = {
    "months": "the change a month with no drug on",
    "months_treated": "the change a month with a drug on",
    "treated": "the difference of sessions with a drug on",
    "oscillometric": "oscillometric less Doppler",
}
#: Terms of the full model, as a sentence names them.
_TERMS = {
    "months": "a change over months",
    "treated": "sessions with a drug on against those without",
    "months:treated": "a change over months of its own with a drug on",
    "method": "the method",
}


def sentences_of(
    study: ClinicCohort,
    level: float,
    flow: Flow,
    effects: Mapping[str, Effect],
    components: Sequence[Component],
    grid: Grid,
) -> tuple[str, ...]:
    """Return the sentences, most useful first; those with nothing to say are left out."""
    unit = UNITS[study.quantity]
    return (
        counted_words(study, flow),
        over_months(study, effects["months"], level),
        *_with_a_drug(study, effects, grid.month, level),
        *_method(effects["oscillometric"], unit, level),
        *_scatter(study, components, unit),
        *_slopes(study, components, unit),
        *_explained(study),
        *_moved(grid, unit),
        *_without(study),
    )


def counted_words(study: ClinicCohort, flow: Flow) -> str:
    """Who was counted."""
    return (
        f"This counts {flow.sessions} of {flow.sessions_in} sessions, {flow.animals} of "
        f"{flow.animals_in} animals: those in the clinic, awake, with a used value "
        f"of {QUANTITY_WORDS[study.quantity]}."
    )


def over_months(study: ClinicCohort, held: Effect, level: float) -> str:
    """The change a month, over all sessions or with no drug on."""
    quantity, unit = QUANTITY_WORDS[study.quantity], UNITS[study.quantity]
    where = "" if "treated" in study.fit.left_out_terms else "with no pressure-acting drug on, "
    if held.estimate is None or held.lower is None or held.upper is None:
        return f"A change over months cannot be told: {held.reason}."
    how = interval(level, held.lower, held.upper, 1)
    size = f"{number(abs(held.estimate), 1)} {unit} a month"
    if held.lower <= 0 <= held.upper:
        return capital(
            f"{where}whether {quantity} rises or falls over months cannot be told: "
            f"{number(held.estimate, 1)} {unit} a month ({how})."
        )
    side = "rises" if held.estimate > 0 else "falls"
    return capital(f"{where}{quantity} {side} by {size} on average ({how}).")


def _with_a_drug(
    study: ClinicCohort, effects: Mapping[str, Effect], month: float, level: float
) -> Iterator[str]:
    unit, held = UNITS[study.quantity], effects["treated"]
    if held.estimate is None or held.lower is None or held.upper is None:
        yield (
            "Sessions with and without a pressure-acting drug on cannot be set against each "
            f"other: {held.reason}."
        )
        return
    how = interval(level, held.lower, held.upper)
    side = "higher" if held.estimate > 0 else "lower"
    said = (
        f"sessions with a pressure-acting drug on lie {number(abs(held.estimate), 0)} {unit} "
        f"{side} than those without ({how})"
    )
    if held.lower <= 0 <= held.upper:
        said = (
            "whether sessions with a pressure-acting drug on lie higher or lower than those "
            f"without cannot be told: {number(held.estimate, 0)} {unit} ({how})"
        )
    yield (
        f"{capital(at_month(month))}, {said}. That is no drug's effect: treated animals differ in "
        "more than treatment, and treatment starts on a high day."
    )
    slope = effects["months_treated"]
    if slope.estimate is None or slope.lower is None or slope.upper is None:
        return
    if "months:treated" in study.cohort.terms:
        yield (
            f"With a drug on the change is {number(slope.estimate, 1)} {unit} a month "
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


def _method(held: Effect, unit: str, level: float) -> Iterator[str]:
    if held.estimate is None or held.lower is None or held.upper is None:
        yield f"The two methods cannot be set against each other: {held.reason}."
        return
    how = interval(level, held.lower, held.upper)
    if held.lower <= 0 <= held.upper:
        yield (
            "Which method reads higher in these animals cannot be told: oscillometric less "
            f"Doppler is {number(held.estimate, 0)} {unit} ({how})."
        )
        return
    side = "higher" if held.estimate > 0 else "lower"
    yield (
        f"Oscillometric sessions read {number(abs(held.estimate), 0)} {unit} {side} than Doppler "
        f"ones in the same animals ({how})."
    )


def _scatter(study: ClinicCohort, held: Sequence[Component], unit: str) -> Iterator[str]:
    sds = {one.component: one.estimate for one in held if one.estimate is not None}
    yield (
        f"Animals differ from each other by an SD of {number(sds.get('animal'), 0)} {unit} at "
        "their first session."
    )
    rows = study.counted
    for method in sorted(set(rows["method"])):
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
            "animal's own line 19 times in 20."
        )


def _slopes(study: ClinicCohort, held: Sequence[Component], unit: str) -> Iterator[str]:
    if study.fit.slopes_reason:
        yield f"All animals share one change a month here: {study.fit.slopes_reason}."
        return
    sd = next(one.estimate for one in held if one.component == "animal: months")
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
        f"{beyond} of {residual.size} residuals lie beyond 2 SDs; of a normal about "
        f"{number(0.0455 * residual.size, 0)} would."
    )


def _moved(grid: Grid, unit: str) -> Iterator[str]:
    rows = [row for row in grid.rows if row.species == "all"]
    parts = []
    for name, words in _MOVING.items():
        values = [getattr(row, name).estimate for row in rows]
        known = [value for value in values if value is not None]
        if known:
            low, high = number(min(known), 1), number(max(known), 1)
            held = low if low == high else f"{low} to {high}"
            parts.append(f"{words} {held} {unit}")
    if parts and len(rows) > 1:
        yield (
            f"Under the {len(rows)} sets of choices tried (the rule, home and calmed sessions, "
            f"animals treated before entry) the estimates are: {listed(parts)}."
        )


def _without(study: ClinicCohort) -> Iterator[str]:
    said = dict.fromkeys(("months", "treated", "method"))  # told above
    for name, reason in study.fit.left_out_terms.items():
        if name not in said and "treated" not in study.fit.left_out_terms:
            yield f"The model leaves out {_TERMS[name]}: {reason}."
    if study.fit.spread_reason and study.counted["method"].nunique() > 1:
        yield f"Both methods share one scatter here: {study.fit.spread_reason}."
    if study.cohort.boundary:
        yield "A variance is zero or a correlation is ±1: the fit lies at the edge of what can be."
