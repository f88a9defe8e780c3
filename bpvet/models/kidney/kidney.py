"""The kidneys of one animal: stage, protein in the urine, pressure and organ damage.

Each marker's stage has a probability, from the posterior of its usual value on the log scale, laid
beside the bounds that are printed for the laboratory's own unit. Nothing here is a diagnosis: a
stage is one only where kidney disease is recorded, and `Kidney.diagnosed` says whether it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from bpvet.errors import CallError, FitError
from bpvet.facts.labs import factor
from bpvet.facts.sources import fact
from bpvet.facts.stages import EDITIONS, Staging, pressure_substages, staging
from bpvet.facts.words import QUANTITY_WORDS, SPECIES
from bpvet.frozen import replace
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.rate import rate_of, ratio_change
from bpvet.models.kidney.recorded import damage_of, diagnosis_of, left_of, noted_near
from bpvet.models.kidney.result import (
    Kidney,
    MarkerStage,
    PressureSubstage,
    Proteinuria,
    Usual,
)
from bpvet.models.safety.standing import below_judged
from bpvet.models.trend.fit import animal_sessions, fit_beside, fit_trend
from bpvet.models.trend.outlook import category_withheld
from bpvet.models.trend.trend import Trend
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.labs.events import MARKERS, number_of
from bpvet.visits.labs.history import LabHistory, LabValue, days_between
from bpvet.visits.seen import AnimalRecord, animal_record
from bpvet.visits.treatments.courses import courses

#: Terms that make protein in the urine say little of the kidneys.
_URINE = ("haematuria", "urinary inflammation")


def kidney(
    records: Records,
    animal: str,
    *,
    edition: str = EDITIONS[0],
    level: float = 0.95,
    as_of: Any = None,
) -> Kidney:
    """Return what is recorded of an animal's kidneys, and in which stage its values lie.

    Parameters
    ----------
    records : Records
        As `bpvet.read` gives them.
    animal : str
        Its id, or an unambiguous name.
    edition : str
        Whose bounds: ``iris2019``, or ``iris2017`` for reading letters of 2017 and before.
    level : float
        Probability that intervals hold.
    as_of : date or None
        The date to speak for; by default that of the records.

    Returns
    -------
    Kidney

    Raises
    ------
    CallError
        For an unknown animal or edition, or a level outside 0 to 1.
    RecordsError
        Where the records have findings that stop the work.

    Notes
    -----
    Source: the bounds of `bpvet.facts.stages.staging`; the usual value as `bpvet.fit_trend` has
    it. A marker is staged from two values on that are `project.kidney.stage_apart` days apart, the
    newest of the last 24 months.
    """
    if as_of is not None:
        records = records.speaking_on(as_of)
    records.require_usable()
    key = records.animal(animal)
    sessions, treatments = animal_sessions(records, key), courses(records, key)
    found = animal_record(records, key, sessions, treatments)
    try:
        trend: Trend | None = fit_trend(records, key)
    except (CallError, FitError):
        trend = None
    known = kidney_of(records, found, trend, edition=edition, level=level)
    return replace(known, records=records)


def kidney_of(
    records: Records,
    found: AnimalRecord,
    trend: Trend | None,
    *,
    edition: str = EDITIONS[0],
    level: float = 0.95,
) -> Kidney:
    """Return the same from what is known already.

    Parameters
    ----------
    records : Records
    found : AnimalRecord
        The animal's signs, changes of treatment and laboratory values.
    trend : Trend or None
        Its systolic trend; None where none can be fitted.
    edition, level
        As `kidney` takes them.
    """
    if edition not in EDITIONS:
        raise CallError(f"no edition is called {edition!r}; there are {', '.join(EDITIONS)}.")
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    kidneys, species = found.kidneys, found.seen.species
    markers = tuple(
        _marker(records, found, marker, trend, edition, level)
        for marker in MARKERS
        if kidneys.history.analytes.get(marker)
    )
    acute = kidneys.acute is not None
    if acute:
        markers = tuple(replace(marker, withheld=reason("kidney.acute")) for marker in markers)
    staged = [marker for marker in markers if marker.withheld is None]
    withheld = None
    if not staged:
        withheld = markers[0].withheld if markers else reason("kidney.no_marker")
    diagnosis, undecided = diagnosis_of(found)
    written = found.seen.written
    dates = [stage.newest.date for stage in staged if stage.newest is not None]
    return Kidney(
        animal=found.animal,
        species=species,
        species_written=written,
        as_of=records.as_of,
        edition=edition,
        level=level,
        diagnosis=diagnosis,
        undecided=undecided,
        left=left_of(records, found.animal, staged),
        markers=markers,
        combined=_higher(staged),
        withheld=withheld,
        proteinuria=_proteinuria(records, found, trend, level),
        pressure=_pressure(trend, edition),
        damage=damage_of(found),
        missing=_missing(diagnosis is not None, stable=bool(staged) and not _reacting(found)),
        dehydrated=noted_near(found, ("dehydration",), dates),
        reaction=kidneys.reactions,
    )


def _marker(
    records: Records,
    found: AnimalRecord,
    marker: str,
    pressure: Trend | None,
    edition: str,
    level: float,
) -> MarkerStage:
    """Return the probability of each stage by one marker, or why none is given."""
    history, species, as_of = found.kidneys.history, found.seen.species, records.as_of
    known = history.of(marker, as_of)
    blank = MarkerStage(marker, unit=known[-1].unit if known else "")
    withheld = _values_withheld(history, marker, as_of) or _bounds_withheld(found, known, edition)
    if withheld is not None:
        return replace(blank, withheld=withheld)
    bounds = staging(marker, species, known[-1].unit, edition)
    assert bounds is not None
    try:
        trend = _fitted(records, found.animal, marker, pressure)
    except FitError as error:
        return replace(blank, withheld=str(error))
    newest = known[-1]
    scale = factor(marker, newest.unit) or 1.0
    used = [lab_value for lab_value in known if not lab_value.bound]
    stage_index = bounds.place_of(newest.value)
    return replace(
        blank,
        usual=_usual(trend, scale, newest.unit, level),
        values=len(used),
        first=used[0].date,
        newest=newest,
        apart=_apart_on_a_day(used),
        units=tuple(dict.fromkeys(lab_value.unit for lab_value in used)),
        probability=_probability(trend, bounds, scale),
        rate=rate_of(trend, level),
        printed_by=bounds.edition,
        between_ranges=newest.value
        if bounds.stages[stage_index].beyond_print(newest.value)
        else None,
    )


def _fitted(records: Records, animal: str, quantity: str, pressure: Trend | None) -> Trend:
    """Return the trend of a laboratory value, beside that of the pressure where there is one."""
    if pressure is None:
        return fit_trend(records, animal, quantity=quantity)
    return fit_beside(pressure, quantity)


def _values_withheld(history: LabHistory, marker: str, as_of: np.datetime64) -> str | None:
    """Return why the values of a marker do not suffice for a stage, or None where they do."""
    name, known = QUANTITY_WORDS[marker], history.of(marker, as_of)
    memory = number_of("project.kidney.stage_memory")
    apart = int(number_of("project.kidney.stage_apart"))
    if not known:
        return reason("kidney.unread_unit", name=name)
    if days_between(known[-1].date, as_of) > memory:
        return reason("kidney.old", name=name)
    if any(lab_value.bound for lab_value in known if lab_value.date == known[-1].date):
        return reason("kidney.bound", name=name)
    dates = [
        lab_value.date
        for lab_value in known
        if not lab_value.bound and days_between(lab_value.date, as_of) <= memory
    ]
    if days_between(dates[0], dates[-1]) < apart:
        return reason("kidney.close", name=name, days=apart)
    return None


def _apart_on_a_day(used: Sequence[LabValue]) -> tuple[LabValue, LabValue] | None:
    """Return the newest two values of one day that differ by more than two samples do."""
    share = 1 + number_of("project.kidney.acute_share") / 100
    for earlier, later in reversed(list(pairwise(used))):
        low, high = sorted((earlier.modelled or earlier.value, later.modelled or later.value))
        if earlier.date == later.date and high > low * share:
            return earlier, later
    return None


def _bounds_withheld(found: AnimalRecord, known: Sequence[LabValue], edition: str) -> str | None:
    species = found.seen.species
    if found.seen.written:
        return reason("kidney.species", species=found.seen.written)
    if species not in SPECIES:
        return reason("kidney.no_species")
    newest = known[-1]
    if staging(newest.analyte, species, newest.unit, edition) is None:
        name = QUANTITY_WORDS[newest.analyte]
        return reason("kidney.unit", name=name, unit=newest.unit)
    return None


def _usual(trend: Trend, scale: float, unit: str, level: float) -> Usual:
    """Return the usual value, in the unit whose values are so many times those of the trend."""
    lower, upper = trend.latest.interval(level)
    value, low, high = (float(end) / scale for end in (trend.latest.mean, lower, upper))
    return Usual(trend.latest_date, Estimate(value, low, high, unit=unit, level=level))


def _probability(trend: Trend, bounds: Staging, scale: float) -> dict[str, float]:
    """Return the probability of each stage, the bounds being in the unit as given."""
    ends = [float(trend.latest.below(stage.low * scale)) for stage in bounds.stages[1:]]
    return _shares([stage.name for stage in bounds.stages], ends)


def _shares(names: Sequence[str], ends: Sequence[float]) -> dict[str, float]:
    shares = np.maximum(np.diff([0.0, *ends, 1.0]), 0.0)
    return dict(zip(names, (float(share) for share in shares), strict=True))


def _higher(staged: Sequence[MarkerStage]) -> dict[str, float] | None:
    """Return the probability of each stage by the higher of the markers.

    The errors of the two are taken as independent: the higher of two uncertain stages is then
    rather too high than too low.
    """
    tables = [stage.probability for stage in staged if stage.probability is not None]
    if not tables:
        return None
    at_most = np.prod([np.cumsum(list(probabilities.values())) for probabilities in tables], axis=0)
    return _shares(list(tables[0]), [float(share) for share in at_most[:-1]])


def _proteinuria(
    records: Records, found: AnimalRecord, pressure: Trend | None, level: float
) -> Proteinuria:
    """Return the substage by protein in the urine, or why none is given."""
    history, species, as_of = found.kidneys.history, found.seen.species, records.as_of
    known = history.of("upc", as_of)
    memory = number_of("project.kidney.stage_memory")
    recent = [lab_value for lab_value in known if days_between(lab_value.date, as_of) <= memory]
    used = _persistent(
        [lab_value for lab_value in recent if not lab_value.bound and lab_value.value > 0]
    )
    blank = Proteinuria(
        samples=len(used), newest=known[-1] if known else None, change=ratio_change(known)
    )
    if not known:
        return replace(blank, withheld=reason("kidney.no_ratio"))
    span = 0 if not used else days_between(used[0].date, used[-1].date)
    blank = replace(blank, days=span)
    withheld = _upc_withheld(known, span, as_of) or _bounds_withheld(found, known, EDITIONS[0])
    if withheld is not None:
        return replace(blank, withheld=withheld)
    blank = replace(
        blank,
        geometric_mean=float(np.exp(np.mean([np.log(lab_value.value) for lab_value in used]))),
    )
    urine = noted_near(found, _URINE, [lab_value.date for lab_value in used])
    if urine is not None:
        why = reason("kidney.urine", text=urine.text)
        return replace(blank, withheld=why, urine=urine)
    bounds = staging("upc", species, known[-1].unit)
    assert bounds is not None
    trend = _fitted(records, found.animal, "upc", pressure)
    return replace(
        blank,
        usual=_usual(trend, 1.0, known[-1].unit, level),
        probability=_probability(trend, bounds, 1.0),
        printed_by=bounds.edition,
    )


def _persistent(known: Sequence[LabValue]) -> list[LabValue]:
    """Return the newest samples that show what persists, in order of date.

    As many as the guideline asks for at most (three), or more where fewer do not span two weeks.
    """
    samples = fact("iris.upc.persistent.samples").high
    assert samples is not None
    kept: list[LabValue] = []
    for lab_value in reversed(known):
        if len(kept) >= samples and days_between(kept[-1].date, kept[0].date) >= _upc_span():
            break
        kept.append(lab_value)
    return kept[::-1]


def _upc_span() -> int:
    return int(fact("iris.upc.persistent.span").days())


def _upc_withheld(known: Sequence[LabValue], span: int, as_of: np.datetime64) -> str | None:
    if days_between(known[-1].date, as_of) > number_of("project.kidney.stage_memory"):
        return reason("kidney.ratio_old")
    if any(
        lab_value.bound or lab_value.value <= 0
        for lab_value in known
        if lab_value.date == known[-1].date
    ):
        return reason("kidney.ratio_bound")
    if span < _upc_span():
        return reason("kidney.ratio_close", days=_upc_span())
    return None


def _pressure(trend: Trend | None, edition: str) -> PressureSubstage:
    """Return the substage by pressure from the usual pressure; one visit gives none."""
    bounds = pressure_substages(edition)
    blank = PressureSubstage(edition, printed_by=bounds.edition)
    if trend is None:
        return replace(blank, withheld=reason("kidney.no_pressure"))
    blank = replace(blank, date=trend.latest_date)
    withheld = category_withheld(trend)
    if withheld is None and np.unique(trend.series.date).size < 2:
        withheld = reason("kidney.one_visit")
    below = below_judged(trend)
    if withheld is None and below(number_of("iris.floor")) >= 0.5:
        withheld = reason("kidney.low")
    if withheld is not None:
        return replace(blank, withheld=withheld)
    ends = [below(stage.low) for stage in bounds.stages[1:]]
    return replace(blank, probability=_shares([stage.name for stage in bounds.stages], ends))


def _missing(diagnosed: bool, *, stable: bool) -> tuple[str, ...]:
    """Return what a stage asks for and no record here says."""
    absent = {"fasting": True, "hydrated": True, "stable": not stable, "diagnosis": not diagnosed}
    return tuple(name for name, missing in absent.items() if missing)


def _reacting(found: AnimalRecord) -> bool:
    """Return whether a marker rose lately after a change of drug, beyond what is tolerated."""
    days = number_of("project.urgent.reaction_days")
    return any(
        reaction.is_reaction and reaction.beyond and reaction.age_days <= days
        for reaction in found.kidneys.reactions
    )
