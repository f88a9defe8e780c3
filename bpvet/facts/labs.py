"""Units of laboratory values and weights, what turns them into one, and what cannot be.

Nothing is converted but to compare or to model; what is shown stands in the unit as given.
"""

from __future__ import annotations

from functools import cache

from bpvet.facts.protocol import Limits, limits_of
from bpvet.facts.sources import fact
from bpvet.facts.words import SPECIES, UNITS

#: Spellings of a unit, without case, spaces and signs, and the fact that converts it (1 if none).
_SPELLINGS: dict[str, dict[str, str]] = {
    "creatinine": {"umol/l": "", "mg/dl": "unit.creatinine"},
    "sdma": {"ug/dl": "", "umol/l": "unit.sdma.inverse"},
    "upc": {"": "", "1": "", "ratio": "", "mg/mg": "", "g/g": ""},
    "potassium": {"mmol/l": "", "meq/l": ""},
    "phosphate": {"mmol/l": "", "mg/dl": "unit.phosphate"},
    "weight": {"kg": "", "g": "unit.gram", "lb": "unit.pound"},
}

#: The unit that values are turned into; potassium is compared and not modelled.
MODELLED_UNITS = {analyte: UNITS.get(analyte, "mmol/L") for analyte in _SPELLINGS}

#: The facts with the limits of each analyte, by unit as `unit_as_given` spells it. Where the unit
#: is none of these, values are not judged.
_LIMITS = {
    ("creatinine", "µmol/L"): "limits.creatinine.umol",
    ("creatinine", "mg/dL"): "limits.creatinine.mg",
    ("sdma", "µg/dL"): "limits.sdma.ug",
    ("sdma", "µmol/L"): "limits.sdma.umol",
    ("upc", "ratio"): "limits.upc",
    ("potassium", "mmol/L"): "limits.potassium",
    ("potassium", "mEq/L"): "limits.potassium",
    ("phosphate", "mmol/L"): "limits.phosphate.mmol",
    ("phosphate", "mg/dL"): "limits.phosphate.mg",
}


def _plain(unit: str) -> str:
    """Return a unit without case and spaces, and with one sign for micro."""
    return "".join(unit.split()).casefold().replace("µ", "u").replace("μ", "u")


#: Units as they are commonly printed, by the spelling without case, spaces and signs.
_PRINTED = {
    _plain(one): one
    for one in ("µmol/L", "mmol/L", "mg/dL", "µg/dL", "mEq/L", "nmol/L", "kg", "g", "lb", "ratio")
}
#: Analytes and weight in the order in which a figure and a table show them, with their names.
ANALYTES = {
    "creatinine": "creatinine",
    "sdma": "SDMA",
    "upc": "urine protein to creatinine ratio",
    "potassium": "potassium",
    "phosphate": "phosphate",
    "weight": "weight",
}
#: What a figure draws: the same, and what is drawn in any unit and never judged.
DRAWN = ANALYTES | {"total_t4": "total T4"}


def unit_as_given(analyte: str, unit: str) -> str:
    """Return the unit of a value as it is commonly spelled; no value is converted.

    Parameters
    ----------
    analyte : str
        As in the records.
    unit : str
        As written; one that is not known stays as it is.

    Examples
    --------
    >>> unit_as_given("creatinine", "umol/l"), unit_as_given("upc", ""), unit_as_given("sdma", "x")
    ('µmol/L', 'ratio', 'x')
    """
    plain = _plain(unit)
    if analyte == "upc" and plain in _SPELLINGS["upc"]:
        return "ratio"
    return _PRINTED.get(plain, " ".join(unit.split()))


def factor(analyte: str, unit: str) -> float | None:
    """Return what a value in `unit` is multiplied by to be in the unit that is modelled.

    Parameters
    ----------
    analyte : str
        As in the records; None for one that is not known here.
    unit : str
        As written; case, spaces and the two signs for micro are forgiven.

    Returns
    -------
    float or None
        None where the unit is not known for this analyte: nothing is guessed.

    Examples
    --------
    >>> factor("creatinine", "mg/dL"), factor("creatinine", "µmol/l"), factor("upc", "g/L")
    (88.4, 1.0, None)
    """
    plain = _plain(unit)
    spellings = _SPELLINGS.get(analyte, {})
    if plain not in spellings:
        return None
    return float(fact(spellings[plain]).value or 0) if spellings[plain] else 1.0


def known_units(analyte: str) -> tuple[str, ...]:
    """Return the units in which values of `analyte` are read, the modelled one first."""
    written = dict.fromkeys(unit_as_given(analyte, one) for one in _SPELLINGS[analyte])
    return tuple(dict.fromkeys((MODELLED_UNITS[analyte], *written)))


@cache
def lab_limits(analyte: str, unit: str, species: str = "") -> Limits | None:
    """Return the limits of an analyte in a unit; None where it has none.

    Parameters
    ----------
    analyte : str
        As in the records.
    unit : str
        As `unit_as_given` spells it; a weight has limits in kg alone.
    species : str
        ``cat``, ``dog``, or anything else for unknown: then the widest.

    Examples
    --------
    >>> lab_limits("creatinine", "µmol/L").sets_aside(1.8)
    True
    >>> lab_limits("creatinine", "g/L") is None
    True
    """
    if (analyte, unit) == ("weight", "kg"):
        kinds = (species,) if species in SPECIES else SPECIES
        return limits_of([f"limits.weight.{kind}" for kind in kinds])
    found = _LIMITS.get((analyte, unit))
    return None if found is None else limits_of([found])


def other_units(analyte: str, unit: str, value: float) -> tuple[str, ...]:
    """Return the units of an analyte, but for `unit`, in which a value would be plausible.

    Examples
    --------
    >>> other_units("creatinine", "µmol/L", 1.8), other_units("potassium", "mg/dL", 4.2)
    (('mg/dL',), ('mmol/L', 'mEq/L'))
    """
    known = known_units(analyte) if analyte in _SPELLINGS else ()
    fits = {one: lab_limits(analyte, one) for one in known if one != unit}
    return tuple(
        one
        for one, found in fits.items()
        if found is not None and not found.sets_aside(value) and not found.notes(value)
    )
