"""What simulated animals came to: chances stated beside verdicts seen, overall and by eighths."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from reference_checks.settle.calibration import Outcome
from reference_checks.settle.worlds import WORLDS

EIGHTHS = 8
#: Goals where animals are drawn from the priors.
OVERALL, BY_EIGHTHS = 0.05, 0.08
#: Standard errors by which an eighth may lie beyond its goal: seventy of them are looked at.
ERRORS = 2.5
_WORDS = {"usual": "usual pressure at target", "drug": "has the drug lowered it", "slope": "slope"}


@dataclass(frozen=True)
class Line:
    """One question after one number of visits, in one world.

    Parameters
    ----------
    world, question, visits : str, str, int
    animals : int
        Animals whose question was open.
    stated, seen : float
        Mean chance stated, and share that got a verdict.
    sides_stated, sides_seen : (float, float)
        Of the verdicts at or below, and above.
    eighths : list of (float, float)
        Mean stated and share seen in eighths of the animals by the chance stated.
    """

    world: str
    question: str
    visits: int
    animals: int
    stated: float
    seen: float
    sides_stated: list[float]
    sides_seen: list[float]
    eighths: list[list[float]]


def lines(by_world: dict[str, list[Outcome]]) -> list[Line]:
    """Return the lines of all worlds, in their order."""
    found = []
    for world in WORLDS:
        held = by_world[world.key]
        kinds = sorted({(one.question, one.visits) for one in held}, key=_order)
        for question, visits in kinds:
            own = [one for one in held if (one.question, one.visits) == (question, visits)]
            found.append(_line(world.key, question, visits, own))
    return found


def _order(kind: tuple[str, int]) -> tuple[int, int]:
    return list(_WORDS).index(kind[0]), kind[1]


def _line(world: str, question: str, visits: int, own: Sequence[Outcome]) -> Line:
    chance = np.array([one.chance for one in own])
    seen = np.array([one.seen for one in own])
    sides = np.array([one.sides for one in own])
    order = np.argsort(chance, kind="stable")
    parts = np.array_split(order, EIGHTHS)
    return Line(
        world=world,
        question=question,
        visits=visits,
        animals=len(own),
        stated=_short(chance.mean()),
        seen=_short(np.mean(seen != 0)),
        sides_stated=[_short(one) for one in sides.mean(axis=0)],
        sides_seen=[_short(np.mean(seen == 1)), _short(np.mean(seen == -1))],
        eighths=[[_short(chance[one].mean()), _short(np.mean(seen[one] != 0))] for one in parts],
    )


def _short(value: float) -> float:
    return round(float(value), 4)


def goals(held: Sequence[Line]) -> Iterator[tuple[str, float, float]]:
    """Yield each difference beside its goal, for the worlds that are drawn from the priors.

    An eighth holds some hundred animals: its own standard errors are allowed on top.
    """
    own = [one for one in held if one.world.startswith("own")]
    for kind in sorted({(one.question, one.visits) for one in own}):
        lines_of = [one for one in own if (one.question, one.visits) == kind]
        count = sum(one.animals for one in lines_of)
        off = sum(one.animals * (one.stated - one.seen) for one in lines_of) / count
        yield f"{kind[0]}, own worlds, overall", off, OVERALL
    for one in own:
        for stated, seen in one.eighths:
            error = np.sqrt(max(stated * (1 - stated), 0.01) / (one.animals / EIGHTHS))
            off = max(0.0, abs(stated - seen) - ERRORS * float(error))
            yield f"{one.question}, own worlds, by eighths beyond the error", off, BY_EIGHTHS


def page(held: Sequence[Line]) -> str:
    """Return the published page."""
    out = [
        "# The chance that more visits settle it: stated, and seen",
        "",
        "Simulated animals whose question was open: the chance stated, then the visits made, the",
        "record fitted anew, and whether a verdict could be given. In per cent, stated/seen; by",
        "eighths: the animals in eight equal parts by the chance stated. Cats by Doppler, one to",
        "eight sessions of five readings so far; usual pressure and drug after one, two and four",
        "more visits 14 days apart, slope after three, six and twelve 28 days apart.",
        "Goals, where animals are drawn from the priors: within 5 points overall, 8 by eighths.",
        "",
    ]
    for world in WORLDS:
        own = [one for one in held if one.world == world.key]
        out += [f"## {world.key}", "", f"{world.words[0].upper()}{world.words[1:]}.", ""]
        out += [
            "| question | visits | animals | stated | seen | at or below | above | by eighths |"
        ]
        out += ["|---|---|---|---|---|---|---|---|"]
        out += [_row(one) for one in own]
        out += [""]
    return "\n".join(out)


def _row(one: Line) -> str:
    sides = [
        f"{_cent(stated)}/{_cent(seen)}"
        for stated, seen in zip(one.sides_stated, one.sides_seen, strict=True)
    ]
    eighths = " ".join(f"{_cent(stated)}/{_cent(seen)}" for stated, seen in one.eighths)
    return (
        f"| {_WORDS[one.question]} | {one.visits} | {one.animals} | {_cent(one.stated)} | "
        f"{_cent(one.seen)} | {sides[0]} | {sides[1]} | {eighths} |"
    )


def _cent(value: float) -> str:
    return f"{100 * value:.0f}"
