"""Units of laboratory values and weights, what turns them into one, and what cannot be.

Nothing is converted but to compare or to model; what is shown stands in the unit as given.
"""

from __future__ import annotations

from functools import cache

from bpvet.facts.analytes import all_analytes
from bpvet.facts.protocol import Limits, limits_of
from bpvet.facts.sources import fact
from bpvet.facts.words import SPECIES


def _plain(unit: str) -> str:
    """Return a unit without case and spaces, and with one sign for micro."""
    return "".join(unit.split()).casefold().replace("µ", "u").replace("μ", "u")


#: What records may hold, and figures and tables show in this order, with its name; values of those
#: that no unit is known of are shown in any unit and never judged.
DRAWN = {key: analyte.name for key, analyte in all_analytes().items()}
#: Analytes, and weight, whose values are read in units that are known.
ANALYTES = {key: analyte.name for key, analyte in all_analytes().items() if analyte.units}

#: Units of each analyte by their spellings without case, spaces and signs.
_SPELLINGS = {
    key: {
        _plain(spelling): unit
        for unit, known in analyte.units.items()
        for spelling in (unit, *known.get("written", ()))
    }
    for key, analyte in all_analytes().items()
}
#: Units as they are commonly printed, by the same spellings.
_PRINTED = {
    _plain(unit): unit
    for analyte in all_analytes().values()
    for unit in (*analyte.units, *analyte.shown_in)
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
    spelling = _SPELLINGS.get(analyte, {}).get(plain)
    return spelling or _PRINTED.get(plain, " ".join(unit.split()))


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
    found = _SPELLINGS.get(analyte, {}).get(_plain(unit))
    if found is None:
        return None
    id = all_analytes()[analyte].units[found].get("factor")
    return float(fact(id).value or 0) if id else 1.0


def known_units(analyte: str) -> tuple[str, ...]:
    """Return the units in which values of `analyte` are read; they are turned into the first."""
    return tuple(all_analytes()[analyte].units)


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
    found = _limits_id(analyte, unit)
    if not found:
        return None
    kinds = (species,) if species in SPECIES else SPECIES
    # Where they are the same for all species it is one fact.
    return limits_of(list(dict.fromkeys(found.format(species=kind) for kind in kinds)))


def limited_by_species(analyte: str) -> bool:
    """Return whether each species has limits of its own, in the unit that values are turned into.

    Examples
    --------
    >>> limited_by_species("weight"), limited_by_species("creatinine")
    (True, False)
    """
    return "{species}" in _limits_id(analyte, next(iter(known_units(analyte)), ""))


def _limits_id(analyte: str, unit: str) -> str:
    known = all_analytes().get(analyte)
    return "" if known is None else str(known.units.get(unit, {}).get("limits", ""))


def other_units(analyte: str, unit: str, value: float) -> tuple[str, ...]:
    """Return the units of an analyte, but for `unit`, in which a value would be plausible.

    Examples
    --------
    >>> other_units("creatinine", "µmol/L", 1.8), other_units("potassium", "mg/dL", 4.2)
    (('mg/dL',), ('mmol/L', 'mEq/L'))
    """
    known = known_units(analyte) if analyte in ANALYTES else ()
    fits = {
        other_unit: lab_limits(analyte, other_unit) for other_unit in known if other_unit != unit
    }
    return tuple(
        other_unit
        for other_unit, found in fits.items()
        if found is not None and not found.sets_aside(value) and not found.notes(value)
    )
