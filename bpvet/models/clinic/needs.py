"""In which order a clinic's animals need a look: urgent first, then farthest from target."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bpvet.models.safety.clinic import AnimalSafety, clinic_safety
from bpvet.models.trend.outlook import category_withheld
from bpvet.records.records import Records
from bpvet.visits.urgency import RULES


@dataclass(frozen=True)
class Need:
    """How an animal stands, by its systolic pressure and its signs.

    Parameters
    ----------
    animal : str
    urgent : bool
        Whether anything is urgent of it.
    left : bool
        Whether it has left the clinic: nothing is judged of it.
    kind : str
        What `target` is: ``own`` (the animal's), ``target`` (the guideline's, on a drug),
        ``raised`` (the bound from which pressure is called raised, without a drug); blank for none.
    target, floor : float or None
        mmHg; None for a species without facts, where no category can be named (a sighthound, an
        animal under a year) and no drug or own target says otherwise, and where it has left.
    """

    animal: str
    urgent: bool = False
    left: bool = False
    kind: str = ""
    target: float | None = None
    floor: float | None = None


def needs_of(records: Records, rule: str, called: Mapping[str, str]) -> tuple[Need, ...]:
    """Return every animal of the records, the one that needs a look most first.

    Urgent ones in the order of their rules, then by how far the usual pressure at the latest
    session lies above the target or below the floor. What is not known counts as on the verge, so
    that it stands before whatever is known to be in order; those that left come last.

    Parameters
    ----------
    records : Records
    rule : str
        As `bpvet.fit_trends` takes it.
    called : mapping of str to str
        What each animal is called, by its id.
    """
    found = clinic_safety(records, rule=rule)
    order = sorted(found, key=lambda one: (*_key(one), called[one.row.animal]))
    here = [_need(one, called[one.row.animal]) for one in order]
    known = {one.animal for one in here}
    gone = sorted(name for name in called.values() if name not in known)
    return (*here, *(Need(name, left=True) for name in gone))


def _key(one: AnimalSafety) -> tuple[int, float]:
    first = min((RULES.index(line.rule) for line in one.safety.lines), default=len(RULES))
    return first, -_beyond(one)


def _beyond(one: AnimalSafety) -> float:
    """Return how far the usual pressure lies outside floor and target, mmHg; within: below 0."""
    need = _need(one, "")
    if one.trend is None or need.target is None or need.floor is None:
        return 0.0
    usual = float(one.trend.latest.mean)
    return max(usual - need.target, need.floor - usual)


def _need(one: AnimalSafety, name: str) -> Need:
    urgent = bool(one.safety.lines)
    if not one.safety.found.seen.has_facts:
        return Need(name, urgent)
    own, floor = one.row.target_systolic, one.guideline.floor.value
    if own:
        return Need(name, urgent, kind="own", target=own, floor=floor)
    treated = one.safety.standing.treated
    if not treated and one.trend is not None and category_withheld(one.trend):
        return Need(name, urgent)
    held = one.guideline.target if treated else one.guideline.raised
    return Need(
        name, urgent, kind="target" if treated else "raised", target=held.value, floor=floor
    )
