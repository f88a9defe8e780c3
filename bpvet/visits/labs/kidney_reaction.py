"""Whether creatinine or SDMA rose after a pressure drug was started or changed.

Two values and a change between them, laid beside the tolerances by name. Whether a drug stays is
the vet's decision; nothing here says so or speaks of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from bpvet.facts.sources import fact, source
from bpvet.frozen import dataclass
from bpvet.visits.labs.events import MARKERS, number_of, stage_of
from bpvet.visits.labs.history import Change, LabHistory, LabValue, change, days_between

#: Kinds of change that may move kidney values; a stop is none.
REACTING = ("start", "dose", "product")


class DrugChange(Protocol):
    """A dated change of a drug: what is asked of `bpvet.visits.treatments.changes`."""

    @property
    def date(self) -> np.datetime64:
        """The day of the change."""

    @property
    def kind(self) -> str:
        """``start``, ``stop``, ``dose`` or ``product``."""

    @property
    def drug(self) -> str:
        """The drug as written."""

    @property
    def modelled(self) -> bool:
        """Whether it is a pressure drug."""


class DrugSpan(Protocol):
    """A row of treatment as `bpvet.visits.treatments.courses.Span` has it."""

    @property
    def drug(self) -> str:
        """Generic name where it is known."""

    @property
    def started_on(self) -> np.datetime64:
        """First day."""

    @property
    def stopped_on(self) -> np.datetime64:
        """Last day; NaT while it is ongoing."""

    @property
    def renin(self) -> bool:
        """Whether it acts on the renin–angiotensin system."""

    @property
    def nsaid(self) -> bool:
        """Whether it is a non-steroidal anti-inflammatory drug."""


@dataclass(frozen=True)
class Tolerance:
    """One tolerated rise, by name.

    Parameters
    ----------
    fact_id, name : str
        The fact, and whose tolerance it is.
    limit : float
        In `unit`.
    unit : str
        Of the marker, or ``%``.
    strict : bool
        Whether a rise of the limit itself is beyond it ("less than 45"), or not ("up to 30 %").
    stage : int or None
        The stage that it is of.
    beyond : bool
        Whether the rise is beyond it.
    """

    fact_id: str
    name: str
    limit: float
    unit: str
    strict: bool
    stage: int | None
    beyond: bool


@dataclass(frozen=True)
class KidneyReaction:
    """A marker before and after a change of a pressure drug.

    Parameters
    ----------
    drug, kind : str
        The drug as written, and what was changed: ``start``, ``dose`` or ``product``.
    changed_on : datetime64[D]
        When.
    before, after : LabValue
        The baseline, and the first value 3 to 30 days after the change.
    change : Change
        Between the two, in the unit of the later one.
    days : int
        From the change to the later value.
    tolerances : tuple of Tolerance
        The kidney society's, and of dogs that of glomerular disease.
    beyond : bool
        Whether the rise is beyond the kidney society's tolerance.
    is_reaction : bool
        Whether it is to be called a reaction; below `project.kidney.reaction_share` it is not.
    urgent_size : bool
        Creatinine: beyond the kidney society's tolerance and `project.kidney.reaction_share`, or
        beyond `project.kidney.urgent_share`. SDMA: beyond the latter.
    age_days : int
        Age of the later value.
    anti_inflammatory : tuple of str
        Anti-inflammatory drugs on between the change and the later value.
    renin : tuple of str
        Drugs of the renin group on then, where they are two or more.
    """

    drug: str
    kind: str
    changed_on: np.datetime64
    before: LabValue
    after: LabValue
    change: Change
    days: int
    tolerances: tuple[Tolerance, ...]
    beyond: bool
    is_reaction: bool
    urgent_size: bool
    age_days: int
    anti_inflammatory: tuple[str, ...] = ()
    renin: tuple[str, ...] = ()


def kidney_reactions(
    history: LabHistory,
    changes: Sequence[DrugChange],
    as_of: np.datetime64,
    spans: Sequence[DrugSpan] = (),
) -> tuple[KidneyReaction, ...]:
    """Return creatinine and SDMA before and after each start or change of a pressure drug.

    The baseline is the latest value up to `project.kidney.baseline` days before (the day itself
    counts: its sample comes before the first dose); the answer is the first value
    `project.kidney.response` days after. Of two values of one day the lower is the baseline and the
    higher the answer. A bound that proves no rise is passed over.

    Parameters
    ----------
    history : LabHistory
        Its species decides whether the tolerances of dogs are told.
    changes : sequence of DrugChange
        In any order; stops and drugs that are not of pressure are passed over.
    as_of : datetime64[D]
        Later changes and values are left out.
    spans : sequence of DrugSpan
        What was given, to name drugs that bear on the kidneys.

    Returns
    -------
    tuple of KidneyReaction
        By date of the change, then creatinine before SDMA; falls and small rises too, with
        `is_reaction` False.
    """
    if not any(marker in history.analytes for marker in MARKERS):
        return ()
    found = []
    wanted = [
        drug_change
        for drug_change in changes
        if drug_change.modelled and drug_change.kind in REACTING and drug_change.date <= as_of
    ]
    for drug_change in sorted(wanted, key=lambda drug_change: drug_change.date):
        for marker in MARKERS:
            pair = _pair(history, marker, drug_change.date, as_of)
            if pair is not None:
                found.append(_reaction(history.species, drug_change, *pair, as_of, spans))
    return tuple(found)


def _pair(
    history: LabHistory, marker: str, changed: np.datetime64, as_of: np.datetime64
) -> tuple[LabValue, LabValue] | None:
    response = fact("project.kidney.response")
    assert response.low is not None
    assert response.high is not None
    memory = number_of("project.kidney.baseline")
    before = after = None
    for day in history.days(marker, as_of):
        gap = days_between(changed, day[0].date)
        if response.low <= gap <= response.high:
            known = [value for value in day if value.floor is not None]
            after = max(known, key=lambda value: value.floor or 0.0) if known else after
        elif -memory <= gap <= 0 and before is None:
            known = [value for value in day if value.ceiling is not None]
            before = min(known, key=lambda value: value.ceiling or 0.0) if known else None
    return None if before is None or after is None else (before, after)


def _reaction(
    species: str,
    changed: DrugChange,
    before: LabValue,
    after: LabValue,
    as_of: np.datetime64,
    spans: Sequence[DrugSpan],
) -> KidneyReaction:
    step = change(before, after)
    tolerances = _tolerances(species, before, after, step)
    beyond = tolerances[0].beyond
    called = step.percent >= number_of("project.kidney.reaction_share")
    large = step.percent > number_of("project.kidney.urgent_share")
    both = after.analyte == "creatinine" and beyond and called
    on = _on(spans, changed.date, after.date)
    renin = _named([span for span in on if span.renin])
    return KidneyReaction(
        drug=changed.drug,
        kind=changed.kind,
        changed_on=changed.date,
        before=before,
        after=after,
        change=step,
        days=days_between(changed.date, after.date),
        tolerances=tolerances,
        beyond=beyond,
        is_reaction=called,
        urgent_size=both or large,
        age_days=after.age(as_of),
        anti_inflammatory=_named([span for span in on if span.nsaid]),
        renin=renin if len(renin) > 1 else (),
    )


def _tolerances(
    species: str, before: LabValue, after: LabValue, step: Change
) -> tuple[Tolerance, ...]:
    found = [_society(before, after, step)]
    stage = stage_of(before, species)
    stated = None if stage is None else fact(f"kidney.rise.glomerular.{stage}")
    if stated is not None and (species, after.analyte) == (stated.species, stated.quantity):
        limit = number_of(stated.id)
        name = source(stated.source).name
        over = step.percent > limit
        found.append(Tolerance(stated.id, name, limit, "%", False, stage, over))
    return tuple(found)


def _society(before: LabValue, after: LabValue, step: Change) -> Tolerance:
    """Return the kidney society's tolerance in the unit of the later value, where it has one."""
    if after.analyte == "sdma":
        id = "iris.sdma_rise"
    else:
        id = "iris.creatinine_rise.mg" if after.unit == "mg/dL" else "iris.creatinine_rise.umol"
    stated = fact(id)
    limit, rise, unit = number_of(id), step.absolute, stated.unit
    if after.unit != unit:
        # No tolerance is printed in this unit: both are laid beside it in the unit that is.
        assert before.modelled is not None
        assert after.modelled is not None
        rise = round(after.modelled - before.modelled, 9)
    return Tolerance(id, source(stated.source).name, limit, unit, True, None, rise >= limit)


def _on(
    spans: Sequence[DrugSpan], first: np.datetime64, last: np.datetime64
) -> tuple[DrugSpan, ...]:
    """Return what was on at any time between two days, both included."""
    return tuple(
        span
        for span in spans
        if span.started_on <= last and (np.isnat(span.stopped_on) or span.stopped_on >= first)
    )


def _named(spans: Sequence[DrugSpan]) -> tuple[str, ...]:
    """Return the names of drugs, each once."""
    return tuple(dict.fromkeys(span.drug for span in spans))
