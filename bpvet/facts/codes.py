"""Codes of open standards by which blood pressures travel, and the words where there is no code.

The codes are facts (``code.toml``, each with its source and grade). One that could not be
confirmed is not sent: a plain text stands in its place.
"""

from __future__ import annotations

from functools import cache

from bpvet.facts.analytes import all_analytes
from bpvet.facts.sources import fact

#: What the standards call themselves.
LOINC = "http://loinc.org"
SNOMED = "http://snomed.info/sct"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"

#: Panels of blood pressure; the first is the one that is sent.
PANELS = ("panel", "panel_older", "panel_short")
#: Our columns for which FHIR has no place, sent as an extension of this name and the column's.
EXTENSION = "urn:x-bpvet:"
TEXT_EXTENSIONS = (
    *("session", "side", "posture", "demeanour", "setting", "state", "excluded", "instrument"),
)
TIME_EXTENSION = f"{EXTENSION}local-time"
#: Which of several readings that are equal in all that is sent; they would look like copies.
EQUALS_EXTENSION = f"{EXTENSION}one-of-equals"
ANIMAL_EXTENSIONS = ("measured_before", "target_systolic", "clinic", "left_on", "left_reason")
#: Numbers beside a reading that are sent as components with a text for a code, with their units.
BESIDE = {
    "counted_pulse": ("counted pulse", "/min"),
    "cuff_width_cm": ("cuff width", "cm"),
    "limb_circumference_cm": ("limb circumference", "cm"),
    "cuff_above_heart_cm": ("cuff above heart", "cm"),
}
READING_COUNT = "number of readings"
READING_SPREAD = "standard deviation of the readings"
NO_SOUND = "no sound"
#: How a note begins that says why the clinic does not count a reading.
EXCLUDED = "Excluded by the clinic: "

#: What each unit of ours is in UCUM, as far as it is known here; those of analytes are in theirs.
_UCUM_FACTS = {
    "mmHg": "code.ucum.mmHg",
    "/min": "code.ucum.per_minute",
    "cm": "code.ucum.cm",
}
#: Other ways in which programs write the units that are taken in.
SAME_UNIT = {
    "mmHg": ("mm[Hg]", "mmHg", "mm Hg"),
    "/min": ("/min", "{beats}/min", "beats/min", "beats/minute", "bpm", "1/min"),
    "cm": ("cm",),
    "": ("", "1"),
}


@cache
def loinc(quantity: str) -> str:
    """Return the LOINC code of a quantity of a reading, or of a panel.

    Examples
    --------
    >>> loinc("systolic"), loinc("panel")
    ('8480-6', '85354-9')
    """
    return fact(f"code.loinc.{quantity}").text


@cache
def loinc_of_mean(quantity: str) -> str:
    """Return the LOINC code of the mean of a session's readings, or of their panel.

    Examples
    --------
    >>> loinc_of_mean("systolic")
    '96608-5'
    """
    return fact(f"code.loinc.session.{quantity}").text


@cache
def ucum(unit: str) -> str:
    """Return a unit's code in UCUM, or "" where it is not known here.

    Examples
    --------
    >>> ucum("mmHg"), ucum("cups")
    ('mm[Hg]', '')
    """
    known = dict(_UCUM_FACTS)
    for analyte in all_analytes().values():
        for name, entry in analyte.units.items():
            for spelling in (name, name.replace("µ", "u")) if "ucum" in entry else ():
                known.setdefault(spelling, entry["ucum"])
    return fact(known[unit]).text if unit in known else ""


@cache
def fhir(name: str) -> str:
    """Return a text that FHIR lays down, such as the address of its extension for animals."""
    return fact(f"code.fhir.{name}").text
