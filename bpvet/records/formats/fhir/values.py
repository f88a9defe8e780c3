"""The datatypes of FHIR as plain text; anything of another shape than it should have is blank."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bpvet.facts.codes import SAME_UNIT
from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.reasons import reason
from bpvet.records.cells import cell_text

#: What stands before a value that is a bound, as we write it.
_COMPARATORS = {"<": "<", "<=": "<=", ">": ">", ">=": ">="}


def text_at(element: object, name: str) -> str:
    """Return what stands under a name as text, "" where it is no plain value."""
    value = element.get(name) if isinstance(element, Mapping) else None
    return "" if isinstance(value, Mapping | list) else cell_text(value)


def objects_in(element: object) -> list[dict[str, Any]]:
    """Return the objects in a list."""
    return (
        [member for member in element if isinstance(member, dict)]
        if isinstance(element, list)
        else []
    )


def first(element: object) -> dict[str, Any]:
    """Return the first object of a list, or an empty one."""
    return next(iter(objects_in(element)), {})


def codes(concept: object, system: str = "") -> set[str]:
    """Return the codes of a concept in a system, or in any.

    Examples
    --------
    >>> codes({"coding": [{"system": "http://loinc.org", "code": "8480-6"}]}, "http://loinc.org")
    {'8480-6'}
    """
    coding = concept.get("coding") if isinstance(concept, dict) else None
    return {
        text_at(code, "code")
        for code in objects_in(coding)
        if not system or text_at(code, "system") == system
    } - {""}


def concept_text(concept: object) -> str:
    """Return how a concept is put in words: its text, else what its first code displays."""
    if not isinstance(concept, dict):
        return ""
    return text_at(concept, "text") or text_at(first(concept.get("coding")), "display")


def label(concept: object) -> str:
    """Return a concept's words, else its first code."""
    coding = concept.get("coding") if isinstance(concept, dict) else None
    return concept_text(concept) or text_at(first(coding), "code")


def notes(resource: Mapping[str, Any], without: str = "") -> str:
    """Return the notes of a resource, a line each, but for one that says what is known."""
    texts = (text_at(note, "text") for note in objects_in(resource.get("note")))
    return "\n".join(text for text in texts if text not in ("", without))


def moment(resource: Mapping[str, Any]) -> str:
    """Return when something was observed, as it is written."""
    period = resource.get("effectivePeriod")
    return (
        text_at(resource, "effectiveDateTime")
        or text_at(resource, "effectiveInstant")
        or text_at(period, "start")
    )


def day_of(moment: str) -> str:
    """Return the local date of a moment: what stands before its time of day.

    Examples
    --------
    >>> day_of("2025-01-01T23:30:00-05:00")
    '2025-01-01'
    """
    return moment.partition("T")[0]


def extensions(resource: Mapping[str, Any]) -> dict[str, str]:
    """Return the plain values of a resource's extensions by their addresses."""
    found = {}
    for extension in objects_in(resource.get("extension")):
        value = next((key for key in extension if key.startswith("value")), "")
        found[text_at(extension, "url")] = text_at(extension, value)
    return found


def from_quantity(quantity: object) -> tuple[str, str]:
    """Return the value of a quantity, with its bound before it, and the unit as it is written."""
    value = text_at(quantity, "value")
    bound = _COMPARATORS.get(text_at(quantity, "comparator"), "")
    return (f"{bound}{value}" if value else ""), text_at(quantity, "unit") or text_at(
        quantity, "code"
    )


def in_kilopascal(quantity: object) -> bool:
    """Return whether a quantity is a pressure in kPa, by its code, or by its unit without one."""
    return (text_at(quantity, "code") or text_at(quantity, "unit")) == "kPa"


def quantity_text(quantity: object, name: str, our_unit: str) -> tuple[str, str]:
    """Return the value of a quantity, and why it cannot be used, or "".

    A pressure in kPa comes back in mmHg: its code says the unit, so that nothing is guessed.

    Parameters
    ----------
    quantity : object
        A quantity of FHIR, or nothing.
    name : str
        What it is, for the words.
    our_unit : str
        The unit that it must have, as we write it.
    """
    units = SAME_UNIT[our_unit]
    value, unit = from_quantity(quantity)
    coded = text_at(quantity, "code")
    if not value or coded in units or (not coded and unit in units):
        return value, ""
    if our_unit == "mmHg" and in_kilopascal(quantity) and text_at(quantity, "value"):
        digits = text_at(quantity, "value")
        try:
            pressure = float(digits) * MMHG_PER_KPA
        except ValueError:
            return value, reason("row.no_number")
        return value.removesuffix(digits) + cell_text(pressure), ""
    if not unit:
        return value, reason("row.no_unit", name=name)
    return f"{value} {unit}", reason("row.other_unit", name=name, unit=unit[:20], own=our_unit)
