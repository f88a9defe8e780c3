"""The guidelines as named sets: categories, raised range, target and floor.

The numbers stand in the facts that ``guidelines.toml`` names; here they are only laid together.
"""

from __future__ import annotations

import math
from functools import cache

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.sources import Fact, fact, source, table
from bpvet.facts.species import all_species, judged
from bpvet.frozen import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

DEFAULT = "acvim2018"


@dataclass(frozen=True, eq=False, repr=False)
class Category(Content):
    """A risk category: pressures from `low` up to, not including, `high`, in mmHg.

    `low` is −inf in the first and `high` is inf in the last; `risk` is the guideline's word for
    the risk of further organ damage.
    """

    name: str
    low: float
    high: float
    risk: str
    fact_id: str


@dataclass(frozen=True, eq=False, repr=False)
class Threshold(Content):
    """A bound of a guideline, mmHg, with the fact that it comes from."""

    value: float
    fact: Fact


@dataclass(frozen=True, eq=False, repr=False)
class Guideline(Content):
    """A guideline as one set.

    Parameters
    ----------
    key, name, year
        How it is asked for, how a report names it, and its year.
    species : tuple of str
        The species that it speaks of.
    categories : tuple of Category
        From the lowest to the highest; together they hold every pressure once.
    categories_from : str
        Key of the guideline that the categories are of; it differs from `key` where the
        guideline has none of its own.
    raised, target, floor : Threshold
        Lower bound of the raised range, goal of treatment, and the pressure below which
        weakness may mean too low.
    source : str
        Key of the source.
    """

    key: str
    name: str
    year: int
    species: tuple[str, ...]
    categories: tuple[Category, ...]
    categories_from: str
    raised: Threshold
    target: Threshold
    floor: Threshold
    source: str

    @property
    def remembered(self) -> bool:
        """Whether any bound is from memory and unchecked, so that a report says so."""
        stated = [self.raised.fact, self.target.fact, self.floor.fact]
        stated += [fact(category.fact_id) for category in self.categories]
        return any(bound.remembered for bound in stated)

    def category_of(self, value: float) -> Category:
        """Return the category of a pressure, mmHg, without rounding it first.

        Examples
        --------
        >>> guideline().category_of(139.96).name
        'normotensive'
        """
        for category in self.categories:
            if category.low <= value < category.high:
                return category
        raise CallError(f"{value} mmHg has no category: it is not a finite number.")


def guidelines() -> tuple[str, ...]:
    """Return the keys of the known guidelines, the default first."""
    return tuple(table("guidelines"))


def guideline(key: str = DEFAULT, species: str | None = None) -> Guideline:
    """Return the guideline of this key.

    Parameters
    ----------
    key : str
        One of `guidelines`.
    species : str, optional
        The animal's species; a blank or missing one is not held against the guideline, nor is one
        that no guideline speaks of: what would be judged of it is withheld where it is judged.

    Raises
    ------
    CallError
        If there is no such guideline, or it does not speak of this species.
    """
    if key not in guidelines():
        raise CallError(f"No guideline is called {key!r}; there are {', '.join(guidelines())}.")
    found = _guideline(key, species or "")
    unheard = species in all_species() and not judged(species or "")
    if species and species not in found.species and not unheard:
        fitting = [known for known in guidelines() if species in _guideline(known, species).species]
        hint = f"; for a {species} there are {', '.join(fitting)}" if fitting else ""
        raise CallError(
            f"{found.name} speaks of the {' and the '.join(found.species)}, "
            f"not of the {species}{hint}."
        )
    return found


@cache
def _guideline(key: str, species: str) -> Guideline:
    entry = table("guidelines")[key]
    # A target may be sourced apart for one species: the number and its grade are then its own.
    target = entry.get(f"target_{species}", entry["target"])
    return Guideline(
        key=key,
        name=source(entry["source"]).name,
        year=entry["year"],
        species=tuple(entry["species"]),
        categories=_categories(entry["categories_from"]),
        categories_from=entry["categories_from"],
        raised=_threshold(entry["raised"]),
        target=_threshold(target),
        floor=_threshold(entry["floor"]),
        source=entry["source"],
    )


def _categories(key: str) -> tuple[Category, ...]:
    def category(entry: Mapping[str, Any]) -> Category:
        bounds = fact(entry["fact"])
        low = -math.inf if bounds.low is None else bounds.low
        high = math.inf if bounds.high is None else bounds.high
        return Category(entry["name"], low, high, entry["risk"], bounds.id)

    return tuple(category(entry) for entry in table("guidelines")[key]["categories"])


def _threshold(id: str) -> Threshold:
    found = fact(id)
    if found.value is None:
        raise ValueError(f"{id} cannot be a threshold: it has no single value")
    return Threshold(found.value, found)
