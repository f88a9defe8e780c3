"""The species that are known by name, each read from its block of ``species.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from bpvet.facts.blocks import read_blocks
from bpvet.facts.sources import table
from bpvet.frozen import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

#: Rows of priors that every species has.
_ROWS = ("systolic.doppler", "systolic.oscillometric", "heart_rate", "weight")


@dataclass(frozen=True, eq=False)
class Species:
    """What is known of a species by name; ``species.toml`` says what each field is.

    Parameters
    ----------
    name, plural : str
        What records write, and the word for several.
    priors : mapping
        Rows of priors by quantity, of systolic pressure by method, and what is added to them.
    other_words, latin : tuple of str
        What others write for it, and what FHIR resources do.
    fhir, snomed, cuff, fast_heart, screen, new_visits : str
        Ids of facts, and of `screen` a row of the recheck table; blank where there is none.
    """

    name: str
    priors: Mapping[str, Any]
    plural: str = ""
    other_words: tuple[str, ...] = ()
    latin: tuple[str, ...] = ()
    fhir: str = ""
    snomed: str = ""
    cuff: str = ""
    fast_heart: str = ""
    screen: str = ""
    new_visits: str = ""

    def __post_init__(self) -> None:
        rows = {key: cell for key, cell in self.priors.items() if isinstance(cell, Mapping)}
        rows |= {f"systolic.{key}": cell for key, cell in rows.pop("systolic", {}).items()}
        missing = [key for key in _ROWS if key not in rows]
        missing += [] if "first_visit" in self.priors else ["first_visit"]
        if missing:
            raise ValueError(f"species: {self.name}: priors of {missing[0]} are missing")


@cache
def all_species() -> Mapping[str, Species]:
    """Return every species by name, in the order of the file; the first stands in for a blank."""
    return MappingProxyType(read_blocks("species", Species))


@cache
def species_of(name: str) -> Species:
    """Return a species by name; where it is blank or not known, the one that stands in.

    Examples
    --------
    >>> species_of("dog").screen, species_of("").name
    ('screen.dog', 'cat')
    """
    known = all_species()
    return known[name if name in known else next(iter(known))]


def cuff_fact(name: str) -> str:
    """Return the id of the fact that advises how wide a cuff is for a species.

    Examples
    --------
    >>> cuff_fact("dog")
    'protocol.cuff_ratio.dog.2018'
    """
    return species_of(name).cuff or species_of("").cuff


def fast_heart_fact(name: str) -> str:
    """Return the id of the fact with the heart rate above which a species' heart is fast."""
    return species_of(name).fast_heart or species_of("").fast_heart


def plural_of(name: str) -> str:
    """Return the word for several animals of a species.

    Examples
    --------
    >>> plural_of("cat")
    'cats'
    """
    return species_of(name).plural or f"{species_of(name).name}s"


@cache
def judged(name: str) -> bool:
    """Return whether any guideline speaks of a species; a blank one is judged.

    Of a species that none speaks of, categories, targets and stages are withheld.

    Examples
    --------
    >>> judged("dog"), judged("rabbit"), judged("")
    (True, False, True)
    """
    return not name or any(name in entry["species"] for entry in table("guidelines").values())
