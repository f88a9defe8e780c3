"""Units of laboratory values and weights, and what turns them into the one that is modelled."""

from __future__ import annotations

from bpvet.facts.sources import fact
from bpvet.facts.words import UNITS

#: Spellings of a unit, without case, spaces and signs, and the fact that converts it (1 if none).
_SPELLINGS: dict[str, dict[str, str]] = {
    "creatinine": {"umol/l": "", "mg/dl": "unit.creatinine"},
    "sdma": {"ug/dl": "", "umol/l": "unit.sdma.inverse"},
    "upc": {"": "", "1": "", "ratio": ""},
    "phosphate": {"mmol/l": "", "mg/dl": "unit.phosphate"},
    "weight": {"kg": "", "g": "unit.gram", "lb": "unit.pound"},
}


def _plain(unit: str) -> str:
    """Return a unit without case and spaces, and with one sign for micro."""
    return "".join(unit.split()).casefold().replace("µ", "u").replace("μ", "u")


#: Units as they are commonly printed, by the spelling without case, spaces and signs.
_PRINTED = {
    _plain(one): one
    for one in ("µmol/L", "mmol/L", "mg/dL", "µg/dL", "mEq/L", "kg", "g", "lb", "ratio")
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
        One of `bpvet.facts.words.LAB_QUANTITIES`.
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
    spellings = _SPELLINGS[analyte]
    if plain not in spellings:
        return None
    return float(fact(spellings[plain]).value or 0) if spellings[plain] else 1.0


def known_units(analyte: str) -> tuple[str, ...]:
    """Return the units in which values of `analyte` are read, the modelled one first."""
    others = [unit for unit, how in _SPELLINGS[analyte].items() if how]
    return (UNITS[analyte], *others)
