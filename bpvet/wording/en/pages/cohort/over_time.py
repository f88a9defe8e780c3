"""The treated animals of a clinic over time, as a cohort's page shows them."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.clinic.cohort import CohortAnswer
from bpvet.facts.categories import guideline
from bpvet.facts.sources import credit
from bpvet.models.clinic.over_time import PLACES, OverTime, ShareAt
from bpvet.printing import number, probability
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import counted

_PLACES = {
    "at target": "at target",
    "above": "above",
    "not measured": "not measured",
    "died": "died",
    "left": "left",
    "not yet due": "not yet due",
}
_FEW = "few"
_WORDS = {"three_months": "three months", "six_months": "six months"}


def over_time_table(answer: CohortAnswer) -> Table | str:
    """Return where the treated animals are at three and six months, or why nothing is told.

    Parameters
    ----------
    answer : CohortAnswer
    """
    found = answer.study.over_time
    if found is None or not found.started:
        why = "No animal in these records was begun on a pressure drug."
        if found is None:
            why = "Target is judged on systolic pressure only."
        return why
    caption = "Animals begun on a pressure drug, and where each is some months later"
    heads = (
        Column("After, drug begun first"),
        Column("Begun", True),
        *(Column(_PLACES[outcome].capitalize(), True) for outcome in PLACES),
        Column("At target, of those measured", True),
    )
    rows = [_row(share) for share in found.shares]
    return Table(caption, heads, rows, notes=tuple(_notes(found)))


def _row(at: ShareAt) -> tuple[str, ...]:
    share = NONE
    if at.share is not None and at.lower is not None and at.upper is not None:
        ends = f"{number(100 * at.lower, 0)} to {number(100 * at.upper, 0)} %"
        share = f"{number(100 * at.share, 0)} % ({ends})"
    places = (_FEW if at.counts[outcome] is None else str(at.counts[outcome]) for outcome in PLACES)
    begun = _FEW if at.started is None else str(at.started)
    return (f"{_WORDS[at.horizon]}, {at.drug_class or 'all'}", begun, *places, share)


def _notes(found: OverTime) -> Iterator[str]:
    target = credit(guideline(found.guideline).target.fact)
    yield (
        f"Target is the animal's own, else that of the {target}, at the session nearest to the "
        "day. Classes of drug are not compared: who was given which says more than the drug does."
    )
    if found.waited is not None and found.incidence:
        yield " ".join(_waiting(found, found.waited))
    if found.pseudonyms:
        yield "Numbers of fewer than five animals are not shown, nor what they could be had from."


def _waiting(found: OverTime, waited: int) -> Iterator[str]:
    """Yield how soon those above target were seen at it."""
    yield (
        f"Time to target, of {counted(waited, 'animal')} above it at the last session before the "
        "drug, death and leaving as competing events:"
    )
    words = {"at target": "had been at target", "died": "had died", "left": "had left"}
    for event in found.incidence:
        if event.share is None or (event.share == 0 and event.event != "at target"):
            continue
        ends = ""
        if event.lower is not None and event.upper is not None:
            ends = f" (95 % interval {probability(event.lower)} to {probability(event.upper)})"
        yield f"By day {event.day}, {probability(event.share)} {words[event.event]}{ends}."
    if found.median_days is not None:
        yield (
            "If none died or left, half would have been seen at target by day "
            f"{number(found.median_days, 0)} (Kaplan–Meier)."
        )
    if found.wide_days is not None:
        yield (
            "Target is seen at a session and was reached since the one before, here "
            f"{number(found.wide_days, 0)} days earlier in the middle: times are too long by up to "
            "that."
        )
