"""In which order a clinic's animals need a look: urgent first, then farthest from target."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, overload

from bpvet.frozen import dataclass
from bpvet.models.safety.clinic import AnimalUrgency, Clinic, clinic_urgency
from bpvet.models.safety.standing import treated_on
from bpvet.models.trend.outlook import category_withheld
from bpvet.models.trend.trend import Trend
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


class Needs(Sequence[Need]):
    """Animals in the order in which they need a look, worked out as far as they are asked for.

    A page shows the most pressing of thousands, and what the others need no page waits for.
    Whoever asks for all, or pickles or compares them, has all worked out.

    Parameters
    ----------
    found : iterable of Need
        In order.
    count : int
        How many there will be.
    """

    def __init__(self, found: Iterable[Need], count: int) -> None:
        self._rest, self._known, self._count = iter(found), list[Need](), count

    def __iter__(self) -> Iterator[Need]:
        for index in range(self._count):
            if index == len(self._known):
                self._known.append(next(self._rest))
            yield self._known[index]

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, index: int) -> Need: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[Need, ...]: ...

    def __getitem__(self, index: int | slice) -> Need | tuple[Need, ...]:
        return tuple(self)[index]

    def __eq__(self, other: object) -> bool:
        return tuple(self) == tuple(other) if isinstance(other, Needs) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._count)

    def __reduce__(self) -> tuple[type[Needs], tuple[Any, ...]]:
        return Needs, (tuple(self), self._count)


def needs_of(records: Records, rule: str, called: Mapping[str, str]) -> Needs:
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

    Raises
    ------
    RecordsError
        Where the records have findings that stop the work.
    """
    clinic = Clinic.of(records, rule)
    return Needs(_in_order(clinic, called, clinic_urgency(clinic)), len(called))


def _in_order(
    clinic: Clinic, called: Mapping[str, str], found: Sequence[AnimalUrgency]
) -> Iterator[Need]:
    """Yield the animals in order; those of one rule are fitted once the first of them is due."""
    for rank in range(len(RULES) + 1):
        alike = [
            urgency
            for urgency in found
            if min((RULES.index(line.rule) for line in urgency.lines), default=len(RULES)) == rank
        ]
        trends = clinic.trends(urgency.row.animal for urgency in alike)

        def key(urgency: AnimalUrgency, trends: Mapping[str, Trend] = trends) -> tuple[float, str]:
            return -_beyond(urgency, trends.get(urgency.row.animal)), called[urgency.row.animal]

        for urgency in sorted(alike, key=key):
            animal = urgency.row.animal
            yield _need(urgency, trends.get(animal), called[animal])
    here = {called[urgency.row.animal] for urgency in found}
    yield from (Need(name, left=True) for name in sorted(called.values()) if name not in here)


def _beyond(urgency: AnimalUrgency, trend: Trend | None) -> float:
    """Return how far the usual pressure lies outside floor and target, mmHg; within: below 0."""
    need = _need(urgency, trend, "")
    if trend is None or need.target is None or need.floor is None:
        return 0.0
    usual = float(trend.latest.mean)
    return max(usual - need.target, need.floor - usual)


def _need(urgency: AnimalUrgency, trend: Trend | None, name: str) -> Need:
    urgent, seen = bool(urgency.lines), urgency.found.seen
    if not seen.has_facts:
        return Need(name, urgent)
    target, floor = urgency.row.target_systolic, urgency.guideline.floor.value
    if target:
        return Need(name, urgent, kind="own", target=target, floor=floor)
    treated = treated_on(urgency.treatments, seen.as_of)
    if not treated and trend is not None and category_withheld(trend):
        return Need(name, urgent)
    threshold = urgency.guideline.target if treated else urgency.guideline.raised
    return Need(
        name, urgent, kind="target" if treated else "raised", target=threshold.value, floor=floor
    )
