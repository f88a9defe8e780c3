"""The words of the trade, said once: what is measured, how, under which condition, in which unit.

Standard library only: the in-room sum loads this and little else. What stands in the blocks of a
species or an analyte is read from there when it is first asked for.
"""

from __future__ import annotations

from enum import StrEnum

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    #: Species that are known, the one that stands in for a blank first.
    SPECIES: tuple[str, ...]
    #: Quantities of single values, one a sample, that run through the same engine on the log scale.
    LAB_QUANTITIES: tuple[str, ...]
    #: Units of quantities that have a trend.
    UNITS: dict[str, str]
    #: Decimals of a value in prose.
    DECIMALS: dict[str, int]
    #: Names of quantities that have a trend, in prose.
    QUANTITY_WORDS: dict[str, str]


class Word(StrEnum):
    """A word of the contract: decided on by its name, printed and stored as its value."""

    __repr__ = str.__repr__


class Bound(Word):
    """Which side of a number is open: of a reading beyond the gauge, or of a session's mean."""

    NONE = ""
    AT_LEAST = "at least"
    AT_MOST = "at most"
    BOTH = f"{AT_LEAST} and {AT_MOST}"


class Fate(Word):
    """What became of a reading."""

    USED = "used"
    LEFT_OUT = "left out"
    EXCLUDED = "excluded"
    NO_SOUND = "no sound"
    SET_ASIDE = "set aside"


METHODS = ("doppler", "oscillometric")
#: Quantities that a reading carries, and the one derived from two of them.
READING_QUANTITIES = ("systolic", "diastolic", "mean", "heart_rate")
QUANTITIES = (*READING_QUANTITIES, "pulse_pressure")
#: A Doppler flow detector gives systolic pressure and nothing else.
QUANTITIES_OF = {"doppler": ("systolic",), "oscillometric": QUANTITIES}

#: What stands in the place of a method for quantities of single values.
LAB_METHOD = "laboratory"

SETTINGS = ("clinic", "home", "hospital")
STATES = ("awake", "calmed", "sedated", "anaesthetised")
#: Conditions that may enter a trend, and those that are kept and listed but never do.
TREND_CONDITIONS = ("clinic", "home", "calmed")
KEPT_OUT_CONDITIONS = ("sedated", "anaesthetised")

#: Editions of the kidney stages, the default first; older ones are for reading old letters.
KIDNEY_EDITIONS = ("iris2019", "iris2017")

RULES = ("guideline", "all")
BOUNDS = ("at least", "at most")

#: Names that are read from the blocks when they are first asked for.
_FROM_BLOCKS = ("SPECIES", "LAB_QUANTITIES", "UNITS", "DECIMALS", "QUANTITY_WORDS")

#: Units of what a reading carries, in which no analyte's block has a say.
PRESSURE_UNITS = {
    "systolic": "mmHg",
    "diastolic": "mmHg",
    "mean": "mmHg",
    "pulse_pressure": "mmHg",
    "heart_rate": "/min",
}
_PRESSURE_WORDS = {
    "systolic": "systolic pressure",
    "diastolic": "diastolic pressure",
    "mean": "mean pressure",
    "pulse_pressure": "pulse pressure",
    "heart_rate": "heart rate",
}

METHOD_WORDS = {
    "doppler": "Doppler",
    "oscillometric": "oscillometric",
    LAB_METHOD: "single values as recorded",
}
#: What a measurement was taken by: "By …".
TAKEN_BY = {"doppler": "Doppler", "oscillometric": "the oscillometric method"}

CONDITION_WORDS = {
    "clinic": "in the clinic, awake",
    "home": "at home",
    "calmed": "after a calming drug",
    "sedated": "sedated",
    "anaesthetised": "under anaesthesia",
    "": "",
}


def condition_of(setting: str, state: str) -> str:
    """Return the condition of a reading from its setting and its state.

    Parameters
    ----------
    setting : str
        One of `SETTINGS`, or blank.
    state : str
        One of `STATES`, or blank.

    Returns
    -------
    str
        ``clinic`` (clinic, hospital or blank; awake or blank), ``home``, ``calmed`` (any
        setting: it wins over home), ``sedated`` or ``anaesthetised``.

    Examples
    --------
    >>> condition_of("home", "calmed")
    'calmed'
    >>> condition_of("hospital", "")
    'clinic'
    """
    if state in ("calmed", *KEPT_OUT_CONDITIONS):
        return state
    return "home" if setting == "home" else "clinic"


def __getattr__(name: str) -> Any:
    """Return what is read from the blocks; read once, and then a name like the others."""
    if name not in _FROM_BLOCKS:
        # Imports ask for names of their own: those read no block.
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if name == "SPECIES":
        from bpvet.facts.species import all_species

        globals()[name] = tuple(all_species())
        return globals()[name]
    from bpvet.facts.analytes import modelled_analytes

    read: dict[str, Callable[[], Any]] = {
        "LAB_QUANTITIES": lambda: tuple(modelled_analytes()),
        "UNITS": lambda: (
            PRESSURE_UNITS | {key: analyte.unit for key, analyte in modelled_analytes().items()}
        ),
        "DECIMALS": lambda: {key: analyte.decimals for key, analyte in modelled_analytes().items()},
        "QUANTITY_WORDS": lambda: (
            _PRESSURE_WORDS | {key: analyte.name for key, analyte in modelled_analytes().items()}
        ),
    }
    globals()[name] = read[name]()
    return globals()[name]
