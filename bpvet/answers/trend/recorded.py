"""What is recorded beside a series, as frozen answers: drugs, context, kidneys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.answers.statement import Statement
from bpvet.equality import Content
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.maths.estimate import Number
from bpvet.models.kidney.result import Kidney
from bpvet.models.safety.safety import Safety
from bpvet.models.trend.trend import Trend
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.context import ContextChange, context_changes, swings
from bpvet.visits.latest_date import latest_date
from bpvet.visits.treatments.courses import OtherDrug, Treatments
from bpvet.visits.treatments.missed import MissedDoses, missed_rows
from bpvet.visits.uncounted.uncounted import Uncounted
from bpvet.visits.urgency import UrgentRule

_DAY = np.timedelta64(1, "D")
_YEAR = 365
_NOT_READ = (Code.NAMED_OTHERWISE, Code.OTHER_FORM, Code.FOLDER_INSIDE, Code.SHEETS_NOT_READ)
_LOW_RULES = {UrgentRule.LOW, UrgentRule.LOW_ON_TREATMENT}


@dataclass(frozen=True, eq=False)
class NotUsed(Content):
    """A row of the records that no sentence of the answer speaks of, and why."""

    table: str
    date: np.datetime64
    text: str
    reason: str


@dataclass(frozen=True, eq=False)
class PressureStep(Content):
    """The session means on either side of a change of drug, mmHg."""

    before: float
    after: float


@dataclass(frozen=True, eq=False)
class DrugRow(Content):
    """A drug as recorded: generic name where it is known, and its days."""

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64


@dataclass(frozen=True, eq=False)
class SinceChange(Content):
    """Plain means of the shown series before and after the last change of a pressure drug."""

    kind: str
    drug: str
    date: np.datetime64
    before_mean: float
    before_sessions: int
    after_mean: float
    after_sessions: int


@dataclass(frozen=True, eq=False)
class HomeClinic(Content):
    """Plain means of home (or calmed) and clinic sessions of one method within a year."""

    condition: str
    mean: float
    sessions: int
    clinic_mean: float
    clinic_sessions: int


@dataclass(frozen=True, eq=False)
class RecordedAnswer(Content):
    """What is recorded beside the series, and bears on how its numbers are read.

    Parameters
    ----------
    treatments_table : bool
        Whether there is a table of treatments at all.
    unlisted, raising, others : tuple of DrugRow
        Drugs off the list; drugs known to raise pressure; other drugs that may move it.
    pregnant_renin : tuple of str
        Drugs of the renin group on beside a recorded pregnancy.
    since_change : SinceChange or None
    home_clinic : tuple of HomeClinic
    below_floor : float or None
        Latest session mean, where it lies from 100 mmHg to the floor on a drug.
    context : tuple of ContextChange
    swings : bool
        Whether sessions swing far more than visits usually do.
    missed : tuple of str
        Missed or late doses, as recorded.
    uncounted : Uncounted
        What is on record and not counted.
    unread_files : tuple of str
        Files and sheets beside the records that are not read.
    """

    treatments_table: bool
    unlisted: tuple[DrugRow, ...]
    raising: tuple[DrugRow, ...]
    others: tuple[DrugRow, ...]
    pregnant_renin: tuple[str, ...]
    since_change: SinceChange | None
    home_clinic: tuple[HomeClinic, ...]
    below_floor: Number
    context: tuple[ContextChange, ...]
    swings: bool
    missed: tuple[str, ...]
    uncounted: Uncounted
    unread_files: tuple[str, ...]


def recorded_answer(
    records: Records,
    animal: str,
    sessions: pd.DataFrame,
    treatments: Treatments,
    found: Safety,
    trend: Trend | None,
) -> RecordedAnswer:
    """Return what is recorded beside the series, and bears on how its numbers are read.

    Parameters
    ----------
    records, animal, sessions, treatments
        As `bpvet.models.safety.safety` takes them.
    found : Safety
    trend : Trend or None
        The shown trend; None where none can be fitted.
    """
    others = treatments.others
    unlisted = [drug for drug in others if not drug.known]
    raising = [drug for drug in others if drug.known and drug.raises]
    moving = [drug for drug in others if drug.known and drug.moves_pressure and not drug.raises]
    pressure = trend is not None and not trend.logarithmic
    shown = trend if pressure else None
    return RecordedAnswer(
        treatments_table="treatments" in records.understood["tables"],
        unlisted=_rows(unlisted),
        raising=_rows(raising),
        others=_rows(moving),
        pregnant_renin=_pregnant(found, treatments, records.as_of),
        since_change=None if shown is None else _since_change(shown, found),
        home_clinic=() if shown is None else tuple(_home_clinic(sessions, shown)),
        below_floor=_below_floor(sessions, found),
        context=() if shown is None else context_changes(sessions, shown.series.session.tolist()),
        swings=shown is not None and _swings(shown),
        missed=tuple(_missed(rows) for rows in missed_rows(records, animal).get(animal, ())),
        uncounted=found.found.uncounted,
        unread_files=unread_files(records),
    )


def unread_files(records: Records) -> tuple[str, ...]:
    """Return the files, folders and workbooks with sheets beside the records that are not read."""
    found = records.findings.by_code(*_NOT_READ)
    return tuple(dict.fromkeys(finding.file for finding in found))


def _rows(drugs: Sequence[OtherDrug]) -> tuple[DrugRow, ...]:
    return tuple(DrugRow(drug.drug, drug.started_on, drug.stopped_on) for drug in drugs)


def _pregnant(found: Safety, treatments: Treatments, as_of: np.datetime64) -> tuple[str, ...]:
    # "Pregnant, maybe" is asked about, and the drug is named all the same.
    pregnant = any(
        sign.term == "pregnancy"
        and not sign.asked_only
        and sign.reading in ("present", "other", "unclear")
        for sign in found.found.seen.signs
    )
    if not pregnant:
        return ()
    on = [
        span.drug
        for span in treatments.spans
        if span.renin and (np.isnat(span.stopped_on) or span.stopped_on >= as_of)
    ]
    return tuple(dict.fromkeys(on))


def _since_change(trend: Trend, found: Safety) -> SinceChange | None:
    """Return plain means about the last change of a pressure drug, back to the change before."""
    # A session with a reading beyond the gauge has no mean.
    plain = trend.series.plain
    dates, means = trend.series.date[plain], trend.series.y[plain]
    changes = [change for change in found.found.changes if change.modelled]
    for index in range(len(changes) - 1, -1, -1):
        change = changes[index]
        after = dates > change.date
        before = dates <= change.date
        if index and changes[index - 1].date < change.date:
            before &= dates > changes[index - 1].date
        if after.any() and before.any():
            return SinceChange(
                kind=change.kind,
                drug=change.drug,
                date=change.date,
                before_mean=float(means[before].mean()),
                before_sessions=int(before.sum()),
                after_mean=float(means[after].mean()),
                after_sessions=int(after.sum()),
            )
        if after.any():
            return None
    return None


def _home_clinic(sessions: pd.DataFrame, trend: Trend) -> Iterator[HomeClinic]:
    """Yield home and calmed sessions of the last year beside those in the clinic, by method."""
    quantity = trend.series.quantity
    # A bound is no mean.
    value = sessions[quantity].to_numpy(dtype=float)
    known = ~np.isnan(value) & (sessions[f"{quantity}_bound"] == "").to_numpy(dtype=bool)
    known &= (sessions["method"] == trend.series.method).to_numpy(dtype=bool)
    if not known.any():
        return
    day = sessions["date"].to_numpy(dtype="datetime64[D]")
    known &= day > day[known].max() - _YEAR * _DAY
    where = sessions["condition"].to_numpy(dtype=object)
    clinic = value[known & (where == "clinic")]
    for condition in ("home", "calmed"):
        of_condition = value[known & (where == condition)]
        if len(of_condition) and len(clinic) and not trend.bridged:
            yield HomeClinic(
                condition,
                float(of_condition.mean()),
                len(of_condition),
                float(clinic.mean()),
                len(clinic),
            )


def _below_floor(sessions: pd.DataFrame, found: Safety) -> float | None:
    standing = found.standing
    rules = {line.rule for line in found.lines}
    day = latest_date(sessions, TREND_CONDITIONS)
    if day is None or standing.written or not standing.on_drug or rules & _LOW_RULES:
        return None
    low = standing.lowest
    least = float(fact("project.urgent.low_on_drug").value or 0)
    within = low is not None and least <= low < standing.floor
    return day.lowest_measured if within else None


def _swings(trend: Trend) -> bool:
    series, priors = trend.series, trend.priors
    # A session with a reading beyond the gauge lies no known way off.
    plain = series.plain
    if not plain.any():
        return False
    # About the fit of each session's own series, site and so on; first visits count as swings.
    columns = trend.columns
    rows = columns.sessions().copy()
    rows[:, [i for i, name in enumerate(columns.terms) if name == "first_visit"]] = 0.0
    rest = (series.y - trend.posterior.usual(rows, columns.day).mean)[plain]
    dates = series.date[plain]
    found = swings(rest, series.k[plain], priors.sv[0], priors.sr[0], priors.sw[0], dates=dates)
    return found is not None and found.far


def _missed(missed: MissedDoses) -> str:
    from bpvet.wording.en.trend.recorded import missed_text

    return missed_text(missed)


def kidney_told(found: Safety, sessions: pd.DataFrame, staged: Kidney) -> tuple[Statement, ...]:
    """Return what the laboratory values say, with what pressure did meanwhile.

    Parameters
    ----------
    found : Safety
        What comes before any trend: laboratory values, and what is urgent.
    sessions : DataFrame
        The animal's sessions, as `bpvet.sessions` gives them.
    staged : Kidney
        Its stage and substages.
    """
    from bpvet.wording.en.kidney.events import kidney_told

    return kidney_told(found, staged, _steps(found, sessions))


def _steps(found: Safety, sessions: pd.DataFrame) -> dict[str, PressureStep]:
    """Return what pressure did about each kidney reaction, by the date of its later value."""
    rows = sessions[sessions["condition"].isin(TREND_CONDITIONS) & sessions["systolic"].notna()]
    day = rows["date"].to_numpy(dtype="datetime64[D]")
    means = rows["systolic"].to_numpy(dtype=float)
    steps = {}
    for reaction in found.found.kidneys.reactions:
        before = np.flatnonzero(day <= reaction.changed_on)
        after = np.flatnonzero(
            (day > reaction.changed_on) & (day <= reaction.after.date + 14 * _DAY)
        )
        if before.size and after.size:
            # The session nearest to the value: later ones may follow another change of drug.
            near = after[np.argmin(np.abs(day[after] - reaction.after.date))]
            steps[str(reaction.after.date)] = PressureStep(
                float(means[before[-1]]), float(means[near])
            )
    return steps
