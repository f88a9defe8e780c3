"""One animal: what is urgent, and when to measure again, whether or not a trend can be fitted."""

from __future__ import annotations

from bpvet.errors import NothingLeft
from bpvet.facts.categories import DEFAULT, Guideline, guideline
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import Safety, safety
from bpvet.models.trend.fit import animal_sessions, fit_trend
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.treatments.courses import courses


def animal_safety(
    records: Records, animal: str, guideline_key: str = DEFAULT
) -> tuple[Safety, Guideline]:
    """Return what comes before any trend of one animal, and the guideline it was judged by.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    guideline_key : str
        The default stands in where it does not speak of the species.

    Raises
    ------
    CallError
        For an unknown guideline.
    RecordsError
        Where the records have findings that stop the work.
    FitError
        Where the trend could not be fitted.
    """
    known = guideline(guideline_key)
    records.require_usable()
    species = animal_rows(records)[animal].species
    speaks = not species or species in known.species
    chosen = guideline(guideline_key if speaks else DEFAULT, species or None)
    try:
        trend = fit_trend(records, animal)
    except NothingLeft:
        trend = None
    sessions, treatments = animal_sessions(records, animal), courses(records, animal)
    case = AnimalCase(records, animal, sessions, treatments, trend)
    return safety(case, chosen), chosen
