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
        *(Column(_PLACES[place].capitalize(), True) for place in PLACES),
        Column("At target, of those measured", True),
    )
    rows = [_row(one) for one in found.shares]
    return Table(caption, heads, rows, notes=tuple(_notes(found)))


def _row(one: ShareAt) -> tuple[str, ...]:
    share = NONE
    if one.share is not None and one.lower is not None and one.upper is not None:
        ends = f"{number(100 * one.lower, 0)} to {number(100 * one.upper, 0)} %"
        share = f"{number(100 * one.share, 0)} % ({ends})"
    places = (_FEW if one.counts[place] is None else str(one.counts[place]) for place in PLACES)
    begun = _FEW if one.started is None else str(one.started)
    return (f"{_WORDS[one.horizon]}, {one.drug_class or 'all'}", begun, *places, share)


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
    for one in found.incidence:
        if one.share is None or (one.share == 0 and one.event != "at target"):
            continue
        ends = ""
        if one.lower is not None and one.upper is not None:
            ends = f" (95 % interval {probability(one.lower)} to {probability(one.upper)})"
        yield f"By day {one.day}, {probability(one.share)} {words[one.event]}{ends}."
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
