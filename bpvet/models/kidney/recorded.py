"""What observations and the animal's own row say of its kidneys: diagnosis, damage, leaving.

Only chronic kidney disease by one of its names is a diagnosis of it. "Kidney failure", stones,
cysts or "CKD?" may stand beside it or not: they are told, and the diagnosis is then not known.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.models.kidney.result import Damage, DamageStatus, Leaving, MarkerStage, RecordedSign
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.visits.labs.events import number_of
from bpvet.visits.labs.history import days_between
from bpvet.visits.seen import AnimalRecord
from bpvet.visits.signs.states import sign_states

#: Groups of signs that may be damage that pressure did.
_DAMAGE = ("eye", "brain", "brain_other", "look", "heart")
#: How the signs of each status are read, the worse first.
_DAMAGE_READINGS = {
    DamageStatus.PRESENT: ("present",),
    DamageStatus.UNCLEAR: ("unclear", "unread"),
}
_DIAGNOSIS = "chronic kidney disease"
#: Terms that may mean it or not.
_MAY_BE = ("kidney failure", "other kidney disease")


def diagnosis_of(
    found: AnimalRecord,
) -> tuple[RecordedSign | None, tuple[RecordedSign, ...]]:
    """Return the observation that says that kidney disease is there, and those that leave it open.

    Parameters
    ----------
    found : AnimalRecord

    Returns
    -------
    diagnosis : RecordedSign or None
        The newest row of the disease, where that says that it is present. It lasts: "kidneys
        normal" at a later visit does not end it.
    undecided : tuple of RecordedSign
        What may mean it or not, the newest first; empty where there is a diagnosis, or where the
        newest row denies one.
    """
    diagnoses = [sign for sign in found.rows if sign.term == _DIAGNOSIS and not sign.is_note]
    state = next(iter(sign_states(diagnoses)), None)
    if state is not None and state.reading == "present":
        return RecordedSign(state.text, state.seen_on), ()
    if state is not None and state.reading == "denied":
        return None, ()
    open_ = [] if state is None or state.reading != "unclear" else [state]
    open_ += [
        sign
        for sign in found.seen.signs
        if sign.term in _MAY_BE and sign.reading in ("present", "unclear") and not sign.asked_only
    ]
    return None, tuple(RecordedSign(sign.text, sign.seen_on) for sign in open_)


def left_of(records: Records, animal: str, stages: Sequence[MarkerStage]) -> Leaving | None:
    """Return when an animal left, where values that count are newer than that."""
    row = animal_rows(records)[animal]
    newer = [
        marker.newest.date
        for marker in stages
        if marker.newest is not None and row.left_on < marker.newest.date
    ]
    return Leaving(row.left_on, len(newer)) if newer else None


def noted_near(
    found: AnimalRecord, terms: Sequence[str], dates: Sequence[np.datetime64]
) -> RecordedSign | None:
    """Return the newest row of such terms that lies near one of the dates, notes included."""
    within = number_of("project.kidney.near_sample")
    rows = [
        sign
        for sign in found.rows
        if sign.term in terms
        and sign.reading in ("present", "other", "unclear")
        and any(abs(days_between(sign.seen_on, day)) <= within for day in dates)
    ]
    if not rows:
        return None
    newest = max(rows, key=lambda sign: sign.seen_on)
    return RecordedSign(newest.text, newest.seen_on)


def damage_of(found: AnimalRecord) -> Damage:
    """Return whether damage that pressure may have done is recorded, denied, or not looked for."""
    signs = [sign for sign in found.seen.signs if sign.group in _DAMAGE and not sign.asked_only]
    for status, readings in _DAMAGE_READINGS.items():
        fitting = [sign for sign in signs if sign.reading in readings]
        if fitting:
            return Damage(
                status, max(sign.seen_on for sign in fitting), tuple(sign.text for sign in fitting)
            )
    looked = [
        sign.seen_on
        for sign in found.rows
        if sign.group in ("eye", "look") and sign.reading == "denied" and not sign.is_note
    ]
    if looked:
        return Damage(DamageStatus.NONE_FOUND, max(looked), ())
    return Damage(DamageStatus.NOT_LOOKED_FOR, None, ())
