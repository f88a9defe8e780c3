"""Observations of blood pressure to the cells of readings, and of means of readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from bpvet.facts.codes import (
    BESIDE,
    EQUALS_EXTENSION,
    EXCLUDED,
    EXTENSION,
    LOINC,
    NO_SOUND,
    PANELS,
    READING_COUNT,
    READING_SPREAD,
    TEXT_EXTENSIONS,
    TIME_EXTENSION,
    loinc,
    loinc_of_mean,
)
from bpvet.facts.words import METHODS, READING_QUANTITIES, UNITS
from bpvet.reasons import reason
from bpvet.records.formats.fhir.values import (
    codes,
    concept_text,
    extensions,
    first,
    in_kilopascal,
    label,
    notes,
    objects_in,
    quantity_text,
    text_at,
)

#: The cell that says which of several equal readings one is; no column of a table.
ONE_OF_EQUALS = "one_of_equals"


def reading_codes() -> set[str]:
    """Return the LOINC codes of what is a reading: the panels and the single quantities."""
    return {loinc(name) for name in (*PANELS, *READING_QUANTITIES)}


def only_gathers(resource: Mapping[str, Any]) -> bool:
    """Return whether a resource only gathers observations that stand on their own."""
    members = bool(resource.get("derivedFrom") or resource.get("hasMember"))
    mean = loinc_of_mean("panel") in codes(resource.get("code"), LOINC)
    return members and (
        mean or not any("valueQuantity" in component for _, _, component in _parts(resource))
    )


def single_quantity(resource: Mapping[str, Any]) -> str:
    """Return the quantity that a resource alone is about, "" where it is about more, or a panel."""
    if resource.get("component") or not resource.get("valueQuantity"):
        return ""
    coded = codes(resource.get("code"), LOINC)
    mine = [name for name in READING_QUANTITIES if loinc(name) in coded]
    return mine[0] if len(mine) == 1 else ""


def has_kilopascal(resource: Mapping[str, Any]) -> bool:
    """Return whether a resource gives a pressure in kPa."""
    return any(
        in_kilopascal(component.get("valueQuantity")) for _, _, component in _parts(resource)
    )


def timed(resource: Mapping[str, Any], day: str) -> str:
    """Return a date with the local time that stands beside it, if one does."""
    time = extensions(resource).get(TIME_EXTENSION, "")
    return f"{day}T{time}" if time and "T" not in day else day


def _circumstances(resource: dict[str, Any]) -> dict[str, str]:
    """Return the columns that a reading and a mean of readings share."""
    beside = extensions(resource)
    cells = {name: beside.get(EXTENSION + name, "") for name in (*TEXT_EXTENSIONS, "reading")}
    cells[ONE_OF_EQUALS] = beside.get(EQUALS_EXTENSION, "")
    method = concept_text(resource.get("method"))
    # The words of the field are found in longer ones; anything else stays as it stands.
    known = [word for word in METHODS if word[:10] in method.casefold()]
    cells["method"] = known[0] if len(known) == 1 else method
    if cells["excluded"]:
        cells["note"] = notes(resource, without=f"{EXCLUDED}{cells['excluded']}")
    cells["site"] = concept_text(resource.get("bodySite"))
    cells["operator"] = text_at(first(resource.get("performer")), "display")
    return cells


def _parts(resource: Mapping[str, Any]) -> Iterator[tuple[set[str], str, Mapping[str, Any]]]:
    """Yield the LOINC codes, the text and the value of a resource and of each of its components."""
    for component in (resource, *objects_in(resource.get("component"))):
        yield (
            codes(component.get("code"), LOINC),
            label(component.get("code")).casefold(),
            component,
        )


def _silent(component: Mapping[str, Any]) -> bool:
    """Whether a value is absent because no sound was heard."""
    return concept_text(component.get("dataAbsentReason")).casefold() == NO_SOUND


def reading_cells(
    resource: dict[str, Any], cells: dict[str, str]
) -> tuple[dict[str, str], str, str]:
    """Return the cells of a reading, and why it cannot be used and a text of it, or two blanks."""
    cells |= _circumstances(resource)
    wanted = {loinc(name): (name, UNITS[name]) for name in READING_QUANTITIES}
    by_text = {text: (name, unit) for name, (text, unit) in BESIDE.items()}
    for coded, text, component in _parts(resource):
        for name, unit in [wanted[code] for code in coded if code in wanted] or (
            [by_text[text]] if text in by_text and not coded else []
        ):
            value, why = quantity_text(component.get("valueQuantity"), name, unit)
            if why:
                return cells, why, f"{label(component.get('code'))} {value}"
            if value and cells.get(name):
                return cells, reason("row.twice", name=name), f"{cells[name]}, {value}"
            cells[name] = value or (NO_SOUND if _silent(component) else cells.get(name, ""))
    return cells, "", ""


def mean_cells(resource: dict[str, Any], cells: dict[str, str]) -> tuple[dict[str, str], str, str]:
    """Return the cells of a session known by its mean; as `reading_cells`."""
    cells |= _circumstances(resource)
    for coded, text, component in _parts(resource):
        name = {READING_COUNT: "systolic_n", READING_SPREAD: "systolic_sd"}.get(text, "")
        name = "systolic_mean" if loinc_of_mean("systolic") in coded else name
        if not name:
            continue
        unit = "" if name == "systolic_n" else "mmHg"
        quantity = component.get("valueQuantity") or {"value": component.get("valueInteger")}
        value, why = quantity_text(quantity, name, unit)
        if why:
            return cells, why, f"{label(component.get('code'))} {value}"
        cells[name] = value or (NO_SOUND if _silent(component) else "")
    return cells, "", ""
