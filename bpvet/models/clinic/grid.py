"""A clinic's main estimates, and how they move with the choices behind them."""

from __future__ import annotations

from itertools import product
from typing import Any, NamedTuple

import numpy as np

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.models.clinic.cohort import ClinicCohort, Fitted, default_fit, reasons, too_few
from bpvet.reasons import reason

MAIN = ("months", "months_treated", "treated", "oscillometric")


@dataclass(frozen=True)
class Effect:
    """A combination of fixed effects; null with the reason where it cannot be given."""

    estimate: float | None
    lower: float | None
    upper: float | None
    p: float | None
    reason: str | None


def nothing(reason: str) -> Effect:
    """Return an effect that cannot be given."""
    return Effect(None, None, None, None, reason)


def main_effects(fit: Fitted, month: float, level: float = 0.95) -> dict[str, Effect]:
    """Return the four main estimates of a fit.

    Parameters
    ----------
    fit : Fitted
    month : float
        Months after the first session at which sessions with and without a drug are compared.
    level : float
        Of the intervals.

    Returns
    -------
    dict
        ``months`` (change a month with no drug on; over all sessions where the drug is not in
        the model), ``months_treated`` (the same with one on), ``treated`` (on less off, at that
        month), ``oscillometric`` (less Doppler).
    """
    joined = "months:treated" in fit.cohort.terms
    slope = {"months": 1.0} | ({"months:treated": 1.0} if joined else {})
    gap = {"treated": 1.0} | ({"months:treated": month} if joined else {})
    no_drug = fit.left_out_terms.get("treated", "")
    without = fit.left_out_terms.get("method", "")
    on = nothing(no_drug) if no_drug else _effect(fit, slope, no_drug, level)
    return {
        "months": _effect(fit, {"months": 1.0}, fit.left_out_terms.get("months", ""), level),
        "months_treated": on,
        "treated": _effect(fit, gap, no_drug, level),
        "oscillometric": _effect(fit, {"method[T.oscillometric]": 1.0}, without, level),
    }


def _effect(fit: Fitted, weights: dict[str, float], why: str, level: float) -> Effect:
    if not set(weights) <= set(fit.cohort.terms):
        return nothing(why or reason("cohort.not_in_model"))
    row = fit.cohort.contrast(weights, level).iloc[0]
    estimate, lower, upper, p = (float(row[name]) for name in ("estimate", "lower", "upper", "p"))
    if not np.isfinite((estimate, lower, upper, p)).all():
        return nothing(reason("cohort.not_determined"))
    return Effect(estimate, lower, upper, p, None)


def reference_month(study: ClinicCohort) -> float:
    """Return the median month of the sessions with a drug on, to a tenth; 0 without any."""
    rows = study.counted
    on = rows["months"][rows["treated"].to_numpy(dtype=bool)]
    return round(float(on.median()), 1) if len(on) else 0.0


@dataclass(frozen=True)
class GridRow:
    """The main estimates under one set of choices.

    Parameters
    ----------
    rule : str
    home, calmed : bool
        Whether sessions at home, and after a calming drug, were counted too.
    treated_before_entry : bool
        Whether animals with a drug on at their first counted session were counted.
    species : str
        ``all``, or the one species counted.
    main : bool
        Whether these are the choices of the report.
    animals, sessions : int
    slopes : bool or None
        Whether animals had slopes of their own; None without a fit.
    reason : str or None
        Why there is no fit.
    months, months_treated, treated, oscillometric : Effect
    """

    rule: str
    home: bool
    calmed: bool
    treated_before_entry: bool
    species: str
    main: bool
    animals: int
    sessions: int
    slopes: bool | None
    reason: str | None
    months: Effect
    months_treated: Effect
    treated: Effect
    oscillometric: Effect


class _Choices(NamedTuple):
    """What decides which sessions count, as `GridRow` has it."""

    rule: str
    home: bool = False
    calmed: bool = False
    treated_before_entry: bool = True
    species: str = "all"


@dataclass(frozen=True)
class Grid:
    """How the main estimates move with the choices behind them.

    Parameters
    ----------
    month : float
        At which sessions with and without a drug are compared.
    rows : tuple of GridRow
        Every combination of the choices that change which sessions count, the report's own
        first; then each species alone, where there is more than one.
    unmoved : tuple of str
        Choices that change nothing in these records, in words.
    """

    month: float
    rows: tuple[GridRow, ...]
    unmoved: tuple[str, ...]


def grid(study: ClinicCohort, level: float = 0.95) -> Grid:
    """Return how the main estimates move with the choices behind them.

    Parameters
    ----------
    study : ClinicCohort
    level : float
        Of the intervals.
    """
    month = reference_month(study)
    other_rule = "all" if study.rule == "guideline" else "guideline"
    usable = study.every[study.every[f"{study.quantity}_n"] > 0]
    home, calmed = ((usable["condition"] == name).any() for name in ("home", "calmed"))
    before = bool(study.counted.groupby("animal")["treated"].first().any())
    choices = product(
        (study.rule, other_rule),
        (False, True) if home else (False,),
        (False, True) if calmed else (False,),
        (True, False) if before else (True,),
    )
    rows = [_grid_row(study, month, level, _Choices(*choice)) for choice in choices]
    recorded = set(study.counted["species"].unique())
    species = sorted(recorded - {""})
    if len(recorded) > 1:
        alone = (_Choices(study.rule, species=name) for name in species)
        rows += [_grid_row(study, month, level, choice) for choice in alone]
    unmoved = {
        reason("cohort.none_at_home"): not home,
        reason("cohort.none_calmed"): not calmed,
        reason("cohort.none_before"): not before,
    }
    return Grid(month, tuple(rows), tuple(words for words, yes in unmoved.items() if yes))


def _grid_row(study: ClinicCohort, month: float, level: float, choice: _Choices) -> GridRow:
    rows = study.every if choice.rule == study.rule else study.other_rule
    added = {"home": choice.home, "calmed": choice.calmed}
    conditions = ["clinic", *(name for name, counts in added.items() if counts)]
    rows = rows[[not left for left in reasons(rows, study.quantity, conditions)]]
    if choice.species != "all":
        rows = rows[rows["species"] == choice.species]
    if not choice.treated_before_entry:
        at_entry = rows.groupby("animal")["treated"].transform("first").to_numpy(dtype=bool)
        rows = rows[~at_entry]
    rows = rows.reset_index(drop=True)
    main = choice == _Choices(study.rule)
    slopes: bool | None = None
    why: str | None = None
    try:
        fit = study.fit if main else default_fit(rows, study.quantity)
        effects: dict[str, Any] = main_effects(fit, month, level)
        slopes = not fit.slopes_reason
    except FitError as error:
        few = too_few(rows)
        why = reason("cohort.too_few", few=few) if few else str(error)
        effects = dict.fromkeys(MAIN, nothing(why))
    animals = rows["animal"].nunique()
    return GridRow(*choice, main, animals, len(rows), slopes, why, **effects)
