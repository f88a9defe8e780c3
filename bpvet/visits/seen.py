"""What an animal's records say beside its sessions: signs, changes of treatment, kidney values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from weakref import WeakKeyDictionary

import numpy as np

from bpvet.facts.species import species_of
from bpvet.facts.words import SPECIES
from bpvet.frozen import dataclass, replace
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.labs.events import (
    AcuteRise,
    KidneyStage,
    MissingKidneyValues,
    PotassiumAlarm,
    WeightLoss,
    acute_kidney,
    kidney_stage_now,
    missing_kidney_values,
    potassium_alarm,
    upc_above,
    weight_loss,
)
from bpvet.visits.labs.history import LabHistory, LabValue, all_lab_histories, lab_history
from bpvet.visits.labs.kidney_reaction import KidneyReaction, kidney_reactions
from bpvet.visits.latest_date import latest_date
from bpvet.visits.session_columns import SessionTable
from bpvet.visits.signs.signs import Sign, all_signs, animal_signs
from bpvet.visits.signs.states import SignState, sign_states
from bpvet.visits.treatments.changes import Change, changes
from bpvet.visits.treatments.courses import Treatments
from bpvet.visits.uncounted.uncounted import Uncounted, UncountedRows
from bpvet.visits.urgency import Seen, on_at

#: What makes an animal without a drug one that is seen sooner.
RISKS = ("kidney", "thyroid", "adrenal", "diabetes", "damage", "longstanding", "raising_drug")
#: Stages from which a treated animal, and an animal without a drug, is at risk.
_LATE, _EARLY = 3, 2
#: Terms of the list of signs that are a risk by themselves.
_RISK_TERMS = {
    "hyperthyroidism": "thyroid",
    "adrenal disease": "adrenal",
    "diabetes": "diabetes",
}
#: Kinds of drug that tell of a disease.
_RISK_DRUGS = {"thiamazole": "thyroid", "carbimazole": "thyroid", "insulin": "diabetes"}


@dataclass(frozen=True, eq=False)
class Kidneys:
    """What the laboratory values and weights say, as `bpvet.visits.labs.events` finds it."""

    history: LabHistory
    acute: AcuteRise | None
    potassium: PotassiumAlarm | None
    reactions: tuple[KidneyReaction, ...]
    stage: KidneyStage
    weight: WeightLoss | None
    protein: tuple[LabValue, LabValue] | None
    missing: MissingKidneyValues | None


@dataclass(frozen=True, eq=False)
class AnimalRecord:
    """What an animal's records say beside its sessions.

    Parameters
    ----------
    animal : str
        Its id.
    seen : Seen
        What urgency is judged on.
    rows : tuple of Sign
        Its signs, a row each, notes included.
    changes : tuple of Change
        Changes of treatment, in order of date.
    kidneys : Kidneys
    at_risk, risks : tuple of str
        What makes a treated animal one at risk: ``stage``, ``reaction``, ``weight`` or
        ``protein``; and what of `RISKS` an animal has.
    uncounted : Uncounted
        What is on record and not counted.
    """

    animal: str
    seen: Seen
    rows: tuple[Sign, ...]
    changes: tuple[Change, ...]
    kidneys: Kidneys
    at_risk: tuple[str, ...]
    risks: tuple[str, ...]
    uncounted: Uncounted


@dataclass(frozen=True, eq=False)
class Gathered:
    """What the records say of every animal beside its sessions, read once.

    Parameters
    ----------
    signs : mapping of str to tuple of Sign
        By animal, as `bpvet.visits.signs.signs.animal_signs` gives them; animals without any are
        not in it.
    labs : mapping of str to LabHistory
        By animal; likewise.
    uncounted : UncountedRows
    """

    signs: Mapping[str, tuple[Sign, ...]]
    labs: Mapping[str, LabHistory]
    uncounted: UncountedRows

    @classmethod
    def of(cls, records: Records) -> Gathered:
        """Return those of all animals of some records; they are kept as long as the records."""
        if records not in _KNOWN:
            _KNOWN[records] = cls._read(records)
        return _KNOWN[records]

    @classmethod
    def _read(cls, records: Records) -> Gathered:
        signs: dict[str, list[Sign]] = {}
        for sign in all_signs(records):
            signs.setdefault(sign.animal, []).append(sign)
        fixed = {animal: tuple(rows) for animal, rows in signs.items()}
        return cls(fixed, all_lab_histories(records), UncountedRows.read(records))


#: What was read of all animals: who asks for them one after another then reads none again.
_KNOWN: WeakKeyDictionary[Records, Gathered] = WeakKeyDictionary()


def animal_record(
    records: Records,
    animal: str,
    sessions: SessionTable,
    treatments: Treatments,
    gathered: Gathered | None = None,
) -> AnimalRecord:
    """Return what one animal's records say beside its sessions.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    sessions : DataFrame or SessionColumns
        Its sessions, as `bpvet.sessions` gives them.
    treatments : Treatments
        Its courses and other drugs.
    gathered : Gathered, optional
        What is read of all animals at once; by default what of these records was.
    """
    gathered = gathered or _KNOWN.get(records)
    as_of = records.as_of
    row = animal_rows(records)[animal]
    if gathered is None:
        rows_of_signs, history = animal_signs(records, animal), lab_history(records, animal)
        uncounted = UncountedRows.read(records, animal)
    else:
        rows_of_signs = gathered.signs.get(animal, ())
        history = gathered.labs.get(animal) or LabHistory(animal, row.species)
        uncounted = gathered.uncounted
    changed = changes(records, animal, treatments)
    kidneys = kidneys_of(history, as_of, changed, treatments)
    signs = sign_states(rows_of_signs)
    latest = latest_date(sessions)
    reference = as_of if latest is None else latest.date
    seen = Seen(
        animal=animal,
        species=row.species,
        written=row.species_written,
        as_of=as_of,
        left=row.left(as_of),
        latest=latest,
        signs=signs,
        on_drug=on_at(treatments.courses, treatments.others, reference),
        acute_kidney=kidneys.acute,
        potassium=kidneys.potassium,
        reactions=kidneys.reactions,
    )
    return AnimalRecord(
        animal=animal,
        seen=seen,
        rows=rows_of_signs,
        changes=changed,
        kidneys=kidneys,
        at_risk=tuple(_at_risk(kidneys)),
        risks=_risks(signs, kidneys, treatments, as_of),
        uncounted=uncounted.of(seen),
    )


def kidneys_of(
    history: LabHistory, as_of: np.datetime64, changed: Sequence[Change], treatments: Treatments
) -> Kidneys:
    """Return what one animal's laboratory values and weights say."""
    if not history.analytes:
        return replace(_without_values(), history=history)
    reactions = kidney_reactions(history, changed, as_of, treatments.spans)
    return Kidneys(
        history=history,
        acute=acute_kidney(history, as_of),
        potassium=potassium_alarm(history, as_of),
        # The newest first: that is the one to look at.
        reactions=tuple(sorted(reactions, key=lambda reaction: reaction.after.date, reverse=True)),
        stage=kidney_stage_now(history, history.species or species_of("").name, as_of),
        weight=weight_loss(history, as_of),
        protein=upc_above(history, history.species),
        missing=missing_kidney_values(history, as_of),
    )


@cache
def _without_values() -> Kidneys:
    """Return what no laboratory value and no weight say: the same of every animal, on any day."""
    nothing, day = LabHistory(""), np.datetime64(0, "D")
    stage, missing = kidney_stage_now(nothing, SPECIES[0], day), missing_kidney_values(nothing, day)
    return Kidneys(nothing, None, None, (), stage, None, None, missing)


def _at_risk(kidneys: Kidneys) -> list[str]:
    found = []
    if kidneys.stage.stage is not None and kidneys.stage.stage >= _LATE:
        found.append("stage")
    # Of the newest values: creatinine and SDMA of one day are both looked at.
    newest = kidneys.reactions[0].after.date if kidneys.reactions else None
    now = [reaction for reaction in kidneys.reactions if reaction.after.date == newest]
    if any(reaction.is_reaction and reaction.beyond for reaction in now):
        found.append("reaction")
    if kidneys.weight is not None:
        found.append("weight")
    if kidneys.protein is not None:
        found.append("protein")
    return found


def _risks(
    signs: Sequence[SignState], kidneys: Kidneys, treatments: Treatments, as_of: np.datetime64
) -> tuple[str, ...]:
    found: set[str] = set()
    if kidneys.stage.stage is not None and kidneys.stage.stage >= _EARLY:
        found.add("kidney")
    for sign in signs:
        if sign.asked_only or sign.reading not in ("present", "other", "unclear"):
            continue
        # What is understood and never urgent reads as other, present or not denied; a disease
        # that may be there is looked after as one that is.
        if sign.term in _RISK_TERMS:
            found.add(_RISK_TERMS[sign.term])
        if sign.reading != "present":
            continue
        if sign.longstanding:
            found.add("longstanding")
        if sign.group == "kidney":
            found.add("kidney")
        if sign.group in ("eye", "brain", "brain_other", "look", "heart"):
            found.add("damage")
    for drug in treatments.others:
        if np.isnat(drug.stopped_on) or drug.stopped_on >= as_of:
            if drug.raises:
                found.add("raising_drug")
            if drug.drug in _RISK_DRUGS:
                found.add(_RISK_DRUGS[drug.drug])
    return tuple(name for name in RISKS if name in found)
