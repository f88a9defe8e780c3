"""What a clinic's readings scatter by: SDs between animals, visits and readings, with intervals."""

from __future__ import annotations

from dataclasses import dataclass

from bpvet.errors import FitError
from bpvet.facts.words import METHOD_WORDS, UNITS
from bpvet.models.clinic.cohort import ClinicCohort


@dataclass(frozen=True)
class Component:
    """A standard deviation or a correlation of the fit, with its profile interval.

    Parameters
    ----------
    component : str
        Its name in `Cohort.variance`.
    words, unit : str
        What it is; the unit is blank for a correlation.
    estimate : float or None
        The SD or the correlation.
    lower, upper : float or None
        Ends of its interval; None where there are none.
    reason : str or None
        Why a number is not given, or why it is zero.
    """

    component: str
    words: str
    unit: str
    estimate: float | None
    lower: float | None
    upper: float | None
    reason: str | None


def components(study: ClinicCohort, level: float = 0.95) -> tuple[Component, ...]:
    """Return the SDs and the correlation of a clinic's cohort, with profile intervals.

    Parameters
    ----------
    study : ClinicCohort
    level : float
        Of the intervals.
    """
    return tuple(_component(study, name, level) for name in study.cohort.variance["component"])


def _component(study: ClinicCohort, name: str, level: float) -> Component:
    words, unit = component_words(name, UNITS[study.quantity])
    if name == "residual" and not study.cohort.data.has_visits:
        words = "Between visits and readings together"
    frame = study.cohort.variance.set_index("component")
    column = "estimate" if "correlation" in name else "sd"
    estimate = float(frame[column].to_dict()[name])
    if estimate != estimate:
        return Component(name, words, unit, None, None, None, "an SD that it needs is zero")
    try:
        row = study.cohort.profile(level, [name]).iloc[0]
    except FitError:
        open_ended = "these records do not bound it on both sides"
        return Component(name, words, unit, estimate, None, None, open_ended)
    ends = float(row["lower"]), float(row["upper"])
    zero = "the fit puts it at zero" if estimate == 0.0 else None
    return Component(name, words, unit, estimate, *ends, zero)


def component_words(name: str, unit: str) -> tuple[str, str]:
    """Return what a component of `Cohort.variance` is, and its unit.

    Examples
    --------
    >>> component_words("visit: doppler", "mmHg")
    ('Between visits, Doppler', 'mmHg')
    """
    kind, _, by = name.partition(": ")
    if kind == "animal" and by.startswith("correlation"):
        return "Correlation of level and slope between animals", ""
    if kind == "animal":
        words = ("Between animals, level", unit), ("Between animals, slope", f"{unit} a month")
        return words[bool(by)]
    between = {"visit": "Between visits", "residual": "Between readings"}[kind]
    return (f"{between}, {METHOD_WORDS[by]}" if by else between), unit
