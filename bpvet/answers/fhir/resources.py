"""Parts of FHIR resources, as plain dictionaries."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from bpvet.facts.codes import (
    BESIDE,
    CATEGORY,
    EXCLUDED,
    EXTENSION,
    LOINC,
    NO_SOUND,
    READING_COUNT,
    READING_SPREAD,
    SNOMED,
    TEXT_EXTENSIONS,
    TIME_EXTENSION,
    UCUM,
    loinc,
    loinc_of_mean,
    ucum,
)
from bpvet.facts.sources import fact
from bpvet.facts.words import QUANTITY_WORDS, READING_QUANTITIES, UNITS, Bound

#: A row of a table, by the names of its columns.
Row = Mapping[str, Any]

#: In the place of a reason of which FHIR takes no letter.
UNWRITABLE = "reason that cannot be written"
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NOTHING: tuple[Any, ...] = ("", None, [], {})
_COMPARATORS: dict[str, str] = {Bound.AT_LEAST: ">=", Bound.AT_MOST: "<="}


def bundled(entries: Sequence[dict[str, Any]]) -> tuple[dict[str, Any], dict[str, int]]:
    """Return entries as a bundle, and how many resources there are of each kind."""
    counts = Counter(entry["resource"]["resourceType"] for entry in entries)
    return {"resourceType": "Bundle", "type": "collection", "entry": list(entries)}, dict(counts)


def without_blanks(content: Any) -> Any:
    """Return a value without the parts that say nothing, which FHIR does not allow."""
    if isinstance(content, str):
        # FHIR takes no control characters but tabs and line breaks, and no white space alone.
        return _CONTROL.sub(" ", content).strip()
    if isinstance(content, dict):
        plain = {name: without_blanks(value) for name, value in content.items()}
        return {name: value for name, value in plain.items() if value not in _NOTHING}
    if isinstance(content, list):
        return [value for member in content if (value := without_blanks(member)) not in _NOTHING]
    return content


def concept(text: str, system: str = "", code: str = "") -> dict[str, Any]:
    """Return a concept from its words, with a code where there is one; empty without either."""
    coding = [{"system": CATEGORY if system == "category" else system, "code": code}]
    return {**({"coding": coding} if code else {}), **({"text": text} if text.strip() else {})}


def loinc_concept(code: str, text: str) -> dict[str, Any]:
    """Return a concept with its code of LOINC."""
    return concept(text, LOINC, code)


def extension(name: str, value: Any) -> dict[str, Any]:
    """Return one of our columns as an extension, empty where it says nothing."""
    address = EXTENSION + name
    if isinstance(value, pd.Timestamp):
        return {"url": address, "valueDate": value.date().isoformat()}
    if isinstance(value, str):
        return {"url": address, "valueString": value} if value.strip() else {}
    plain = number(value)
    return {} if plain is None else {"url": address, "valueDecimal": plain}


def number(value: Any) -> int | float | None:
    """Return a number as JSON holds it, whole where it is whole; None for none."""
    try:
        plain = float(value)
    except (TypeError, ValueError):
        return None
    if not math.isfinite(plain):
        return None
    return int(plain) if plain.is_integer() and abs(plain) < 2**53 else plain


def quantity(value: Any, unit: str, bound: str = "") -> dict[str, Any] | None:
    """Return a quantity, with its code of UCUM where that is known; None without a value."""
    plain = number(value)
    if plain is None:
        return None
    code = ucum(unit)
    return {
        "value": plain,
        "comparator": _COMPARATORS.get(bound, ""),
        "unit": unit,
        "system": UCUM if code else "",
        "code": code,
    }


def circumstances(row: Row, subject: dict[str, str]) -> dict[str, Any]:
    """Return what every Observation of a pressure has: category, subject, time, method and more.

    Parameters
    ----------
    row : mapping of str to value
        A row of the readings used, or the part of one that there is.
    subject : dict
        A reference to the animal.
    """
    timed = bool(row.get("timed", False))
    extensions = {name: row.get(name, "") for name in TEXT_EXTENSIONS if name != "session"}
    extensions["session"] = row.get("label", "")
    extensions["reading"] = row.get("reading")
    excluded = str(row.get("excluded", ""))
    if excluded and not without_blanks(excluded):
        # Control characters alone, which FHIR does not take; it is excluded all the same.
        excluded = extensions["excluded"] = UNWRITABLE
    # FHIR takes a time of day only with its zone, which records do not have.
    clock = pd.Timestamp(row["taken_at"]).time().isoformat() if timed else ""
    time = {"url": TIME_EXTENSION, "valueTime": clock} if clock else {}
    return {
        "extension": [time, *(extension(name, value) for name, value in extensions.items())],
        "category": [concept("", CATEGORY, "vital-signs")],
        "subject": subject,
        "effectiveDateTime": pd.Timestamp(row["date"]).date().isoformat(),
        "method": concept(row["method"]),
        "bodySite": concept(row.get("site", "")),
        "performer": [{"display": row.get("operator", "")}],
        "note": [
            {"text": f"{EXCLUDED}{excluded}" if excluded else ""},
            {"text": row.get("note", "")},
        ],
    }


def reading_values(reading: Row, aside: bool) -> dict[str, Any]:
    """Return the code and the values of one reading.

    A reading of systolic pressure alone is a plain Observation of it; one of several quantities
    is a panel with a component for each.

    Parameters
    ----------
    reading : mapping of str to value
        A row of the readings used.
    aside : bool
        Whether it is set aside, so that its numbers are not told.
    """
    given = {
        name: _value(reading, name)
        for name in READING_QUANTITIES
        if not aside and (pd.notna(reading[name]) or reading[f"{name}_bound"])
    }
    parts = [
        {"code": concept(text), "valueQuantity": quantity(reading[name], unit)}
        for name, (text, unit) in BESIDE.items()
        if pd.notna(reading[name]) and not aside
    ]
    if set(given) <= {"systolic"}:
        reason = {
            "dataAbsentReason": concept(f"set aside: {reading['set_aside']}" if aside else "")
        }
        code = loinc_concept(loinc("systolic"), QUANTITY_WORDS["systolic"])
        return {"code": code, **given.get("systolic", reason), "component": parts}
    components = [
        {"code": loinc_concept(loinc(name), QUANTITY_WORDS[name]), **value}
        for name, value in given.items()
    ]
    return {
        "code": loinc_concept(loinc("panel"), "blood pressure"),
        "component": [*components, *parts],
    }


def mean_components(
    means: Mapping[str, Any], count: int, spread: float | None, snomed: bool
) -> list[dict[str, Any]]:
    """Return the components of a session's mean: the means, the count, and the SD if given."""
    parts: list[dict[str, Any]] = [
        {
            "code": loinc_concept(loinc_of_mean(name), f"mean {QUANTITY_WORDS[name]}"),
            **_mean(means, name),
        }
        for name in ("systolic", "diastolic")
        if _mean(means, name)
    ]
    code = (SNOMED, fact("code.snomed.readings").text) if snomed else ()
    parts.append({"code": concept(READING_COUNT, *code), "valueInteger": count})
    if number(spread) is not None:
        parts.append({"code": concept(READING_SPREAD), "valueQuantity": quantity(spread, "mmHg")})
    return parts


def _mean(means: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Return the value of a mean, blank where there is none."""
    bound = str(means.get(f"{name}_bound", ""))
    if bound == NO_SOUND:
        return {"dataAbsentReason": concept(NO_SOUND)}
    if number(means.get(name)) is None:
        return {}
    return {"valueQuantity": quantity(means[name], "mmHg", bound)}


def _value(reading: Row, name: str) -> dict[str, Any]:
    bound = str(reading[f"{name}_bound"])
    if bound == NO_SOUND:
        return {"dataAbsentReason": concept(NO_SOUND)}
    return {"valueQuantity": quantity(reading[name], UNITS[name], bound)}
