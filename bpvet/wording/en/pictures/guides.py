"""What the lines across a picture are: target, floor, and whose levels they stand among."""

from __future__ import annotations

from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.sources import fact, marked, source
from bpvet.printing import number


def floor_words(chosen: Guideline, lower: float, reached: bool) -> str:
    """Return what the floor is.

    Parameters
    ----------
    chosen : Guideline
    lower : float
        By how much it lies lower than the guideline's, for home and calmed series.
    reached : bool
        Whether the floor names the range under it, as where sessions lie there.
    """
    floor = marked(_bound(chosen.floor.value, lower), chosen.floor.fact.remembered)
    return f"below the floor, {floor}" if reached else f"floor {floor}"


def own_target_words(value: float, lower: float) -> str:
    """Return the target that is set for the animal."""
    return f"target {_bound(value, lower)}, set for this animal"


def target_words(chosen: Guideline, value: float, lower: float) -> str:
    """Return the guideline's target."""
    words = f"target {_bound(value, lower)}, of the guideline"
    return marked(words, chosen.target.fact.remembered)


def lower_words(lower: float, unit: str) -> str:
    """Return why everything across lies lower than in the clinic."""
    return (
        f"Levels, target and floor lie {number(lower, 0)} {unit} lower than in the clinic, "
        "because such sessions are judged on so much more than was measured."
    )


def whose_levels(chosen: Guideline) -> str:
    """Return whose the bounds are: a set may take them from another edition."""
    bounds = [fact(category.fact_id) for category in guideline(chosen.categories_from).categories]
    named = dict.fromkeys(source(bound.source).name for bound in bounds)
    return marked(" and ".join(named), any(bound.remembered for bound in bounds))


def _bound(value: float, lower: float) -> str:
    """Return a bound as written: of home and calmed series the clinic's, and what it is here."""
    return f"{number(value, 0)}, here {number(value - lower, 0)}" if lower else number(value, 0)
