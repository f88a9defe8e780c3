"""The analytes, and weight, known by name: each is read from its block of ``analytes.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from bpvet.facts.blocks import read_blocks
from bpvet.facts.species import all_species
from bpvet.frozen import dataclass, field

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_UNIT_KEYS = {"factor", "limits", "stages", "written", "ucum", "decimals"}


@dataclass(frozen=True, eq=False)
class Analyte:
    """What is known of an analyte by name; ``analytes.toml`` says what each field is.

    Parameters
    ----------
    name, short : str
        In prose, and in narrow places; a blank `short` is the name.
    units : mapping of str to mapping
        What is known of each unit; the first is the one that values are turned into.
    priors : mapping
        Its row of priors; empty where it has none, or where the species have their own.
    decimals : int
        Of a value in prose.
    other_words, never, shown_in : tuple of str
        Short names that are met; units in which nobody gives it; units that are spelled so.
    staged_as, worse : str
        ``stage`` or ``substage``; ``rise`` or ``fall``.
    in_letter, joint : bool
        Whether the letter's figure has a row of it; whether it is fitted beside the pressure.
    """

    name: str
    short: str = ""
    units: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    priors: Mapping[str, Any] = field(default_factory=dict)
    decimals: int = 0
    other_words: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    shown_in: tuple[str, ...] = ()
    staged_as: str = "stage"
    worse: str = "rise"
    in_letter: bool = False
    joint: bool = False

    def __post_init__(self) -> None:
        strange = sorted({key for unit in self.units.values() for key in unit} - _UNIT_KEYS)
        if strange:
            raise ValueError(f"analytes: {self.name}: {strange[0]!r} is not known of a unit")
        if self.priors and not self.units:
            raise ValueError(f"analytes: {self.name}: priors without a unit that they are in")

    @property
    def unit(self) -> str:
        """The unit that values are turned into; blank where there is none."""
        return next(iter(self.units), "")


@cache
def all_analytes() -> Mapping[str, Analyte]:
    """Return every analyte by what records write for it, in the order of the file."""
    return MappingProxyType(read_blocks("analytes", Analyte))


@cache
def modelled_analytes() -> Mapping[str, Analyte]:
    """Return the analytes that have a trend: those with priors, or with a species' own.

    Examples
    --------
    >>> list(modelled_analytes())
    ['creatinine', 'sdma', 'upc', 'phosphate', 'weight']
    """
    of_species = set().union(*(species.priors for species in all_species().values()))
    return MappingProxyType(
        {key: known for key, known in all_analytes().items() if known.priors or key in of_species}
    )


def recorded_only() -> tuple[str, ...]:
    """Return the analytes that are drawn as recorded, and have no trend.

    Examples
    --------
    >>> recorded_only()
    ('potassium', 'total_t4')
    """
    return tuple(key for key in all_analytes() if key not in modelled_analytes())


def analyte(key: str) -> Analyte:
    """Return an analyte; one that is not known is called what it is written.

    Examples
    --------
    >>> analyte("sdma").name, analyte("bile_acids").name
    ('SDMA', 'bile_acids')
    """
    return all_analytes().get(key) or Analyte(key)


def short_name(key: str) -> str:
    """Return what a vet calls an analyte for short.

    Examples
    --------
    >>> short_name("upc"), short_name("sdma"), short_name("creatinine")
    ('UPC', 'SDMA', 'creatinine')
    """
    found = analyte(key)
    return found.short or found.name


def decimals(key: str, unit: str = "") -> int:
    """Return the decimals of a value in prose, in a unit as `facts.labs.unit_as_given` spells it.

    Examples
    --------
    >>> decimals("creatinine", "µmol/L"), decimals("creatinine", "mg/dL"), decimals("upc")
    (0, 2, 2)
    """
    found = analyte(key)
    return int(found.units.get(unit, {}).get("decimals", found.decimals))
