"""What a clinic's readings scatter by: SDs between animals, visits and readings, with intervals."""

from __future__ import annotations

from bpvet.errors import FitError
from bpvet.facts.words import METHOD_WORDS, UNITS
from bpvet.frozen import dataclass
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.reasons import reason


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
        Why a number is not given, or is zero, or may be.
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
        words = reason("cohort.visits_and_readings")
    frame = study.cohort.variance.set_index("component")
    column = "estimate" if "correlation" in name else "sd"
    estimate = float(frame[column].to_dict()[name])
    if estimate != estimate:
        return Component(name, words, unit, None, None, None, reason("cohort.needs_sd"))
    try:
        row = study.cohort.profile(level, [name]).iloc[0]
    except FitError:
        open_ended = reason("cohort.open_ended")
        return Component(name, words, unit, estimate, None, None, open_ended)
    ends = float(row["lower"]), float(row["upper"])
    zero = "cohort.at_zero" if estimate == 0.0 else "cohort.may_be_zero"
    why = reason(zero) if unit and ends[0] == 0.0 else None
    return Component(name, words, unit, estimate, *ends, why)


def component_words(name: str, unit: str) -> tuple[str, str]:
    """Return what a component of `Cohort.variance` is, and its unit.

    Examples
    --------
    >>> component_words("visit: doppler", "mmHg")
    ('Between visits, Doppler', 'mmHg')
    """
    kind, _, by = name.partition(": ")
    if kind == "animal" and by.startswith("correlation"):
        return reason("cohort.correlation"), ""
    if kind == "animal":
        words = (
            (reason("cohort.animals_level"), unit),
            (reason("cohort.animals_slope"), reason("cohort.unit_a_month", unit=unit)),
        )
        return words[bool(by)]
    between = reason(f"cohort.between.{kind}")
    return (f"{between}, {METHOD_WORDS[by]}" if by else between), unit
