"""Records as a bundle of HL7 FHIR R4 resources: plain dictionaries, and nothing worked out anew.

A reading is an Observation of its own, an animal a Patient with the extension for animals, a
course a MedicationStatement. A session's mean is an Observation derived from the readings that
it is the mean of. FHIR has no place for some columns: they go along as extensions, so that
reading the bundle gives the records again. No human interpretation or range is attached.
"""

from __future__ import annotations

import json
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping
from copy import deepcopy
from typing import Any

import pandas as pd

from bpvet.answers.fhir.resources import (
    Row,
    bundled,
    circumstances,
    concept,
    extension,
    loinc_concept,
    mean_components,
    number,
    quantity,
    reading_values,
    without_blanks,
)
from bpvet.equality import Content
from bpvet.facts.codes import ANIMAL_EXTENSIONS, EQUALS_EXTENSION, EXTENSION, fhir, loinc_of_mean
from bpvet.facts.sources import fact
from bpvet.facts.species import all_species
from bpvet.facts.words import Fate
from bpvet.frozen import dataclass
from bpvet.printing import Brief
from bpvet.records.records import Records
from bpvet.visits.readings import readings_used
from bpvet.visits.sessions import sessions

#: The means that have codes of their own.
_MEANS = ("systolic", "diastolic")
#: What a session is told by.
_SESSION = ("animal", "date", "method", "condition", "session")
#: What the mean of a session is called for people who read a bundle.
SESSION_MEAN = "mean of a session's readings"
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, EXTENSION)


@dataclass(frozen=True, eq=False, repr=False)
class FhirBundle(Brief, Content):
    """Records as a bundle of FHIR R4.

    Parameters
    ----------
    resource : dict
        The bundle, as plain JSON values.
    counts : dict of str to int
        How many resources there are of each kind.
    left_behind : dict of str to int
        Rows that are not in it, by the reason.
    """

    resource: dict[str, Any]
    counts: dict[str, int]
    left_behind: dict[str, int]

    def to_dict(self) -> dict[str, Any]:
        """Return the bundle as plain JSON values, a copy."""
        return deepcopy(self.resource)

    def to_json(self) -> str:
        """Return the bundle as text; the same records give the same text."""
        return json.dumps(self.resource, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def fhir_bundle(records: Records, rule: str = "guideline", *, snomed: bool = False) -> FhirBundle:
    """Return records as a bundle of HL7 FHIR R4 resources.

    Parameters
    ----------
    records : Records
    rule : str
        ``guideline`` or ``all``: the readings that the means of sessions are derived from.
    snomed : bool
        Whether the count of readings bears its code of SNOMED CT too, which needs a licence in
        some countries.

    Returns
    -------
    FhirBundle
        A reading that is set aside is in it as entered in error, without its numbers, where its
        animal, date and method are known: it was taken. Exact duplicates, other rows that are
        set aside, columns that are not ours, and doses that were missed and contacts with owners,
        for which the bundle has no place, stay behind and are counted.

    Raises
    ------
    CallError
        An unknown rule.
    """
    used = readings_used(records, rule)
    made = _Bundle(records)
    for _, animal in _rows(records.animals):
        made.add("Patient", str(animal["animal"]), _patient(animal))
    summaries = set[tuple[Any, ...]]()
    for label, reading in _rows(used):
        # A copy stays behind, and what cannot be told to be anybody's reading on any day.
        placed = reading["animal"] and reading["method"] and pd.notna(reading["date"])
        # What has no place in a session would come back as one that was taken in it.
        astray = bool(reading["set_aside"]) and reading["session"] == 0
        if reading["duplicate"] or reading["future"] or not placed or astray:
            made.leave("duplicate" if reading["duplicate"] else "set aside")
        elif reading["summary_n"] > 0 and not reading["set_aside"]:
            summaries.add(_session_of(reading))
            mean = _summary(reading, made, snomed)
            made.add("Observation", f"reading {label}", made.told_apart(mean))
        else:
            observation = _reading(reading, made)
            made.add("Observation", f"reading {label}", made.told_apart(observation))
    counted = used[used["fate"] == Fate.USED]
    members = counted.groupby([*_SESSION], sort=False).indices
    for _, session in _rows(sessions(records, rule)):
        key = _session_of(session)
        if key in members and key not in summaries:
            rows = counted.index[members[key]]
            sources = [made.reference("Observation", f"reading {row}") for row in rows]
            derived = _session(session, made, sources, snomed)
            made.add("Observation", f"session {key}", derived)
    _add_tables(records, made)
    return made.finished()


def _rows(frame: pd.DataFrame) -> Iterator[tuple[Any, Row]]:
    """Yield the rows of a frame with their places, as plain dictionaries."""
    columns = [frame[name].tolist() for name in frame]
    names = [str(name) for name in frame]
    for label, *cells in zip(frame.index, *columns, strict=True):
        yield label, dict(zip(names, cells, strict=True))


def _session_of(row: Row) -> tuple[Any, ...]:
    return tuple(row[name] for name in _SESSION)


class _Bundle:
    """The resources so far, each under an address that the records' digest and its key give."""

    def __init__(self, records: Records) -> None:
        self._digest = records.digest
        self._entries: list[dict[str, Any]] = []
        self._left: dict[str, int] = {}
        self._equals: Counter[str] = Counter()

    def reference(self, kind: str, key: str) -> dict[str, str]:
        """Return a reference to a resource."""
        return {"reference": uuid.uuid5(_NAMESPACE, f"{self._digest} {kind} {key}").urn}

    def add(self, kind: str, key: str, resource: Mapping[str, Any]) -> None:
        """Add a resource; blank parts of it are left out."""
        address = self.reference(kind, key)["reference"]
        plain = {
            "resourceType": kind,
            "id": address.removeprefix("urn:uuid:"),
            **without_blanks(resource),
        }
        self._entries.append({"fullUrl": address, "resource": plain})

    def told_apart(self, resource: dict[str, Any]) -> dict[str, Any]:
        """Return a reading; of several that are equal, each but the first says which it is."""
        # Why a reading is set aside is for people, and is not read again.
        void = resource["status"] == "entered-in-error"
        read = {k: value for k, value in resource.items() if k != "dataAbsentReason" or not void}
        text = json.dumps(read, sort_keys=True)
        self._equals[text] += 1
        if self._equals[text] == 1:
            return resource
        which = {"url": EQUALS_EXTENSION, "valueInteger": self._equals[text]}
        return {**resource, "extension": [*resource["extension"], which]}

    def leave(self, why: str) -> None:
        """Count a row that stays behind."""
        self._left[why] = self._left.get(why, 0) + 1

    def finished(self) -> FhirBundle:
        """Return the bundle."""
        resource, counts = bundled(self._entries)
        return FhirBundle(resource, counts, dict(self._left))


def _patient(animal: Row) -> dict[str, Any]:
    known = all_species().get(animal["species"])
    coded = (fhir("species_system"), fact(known.fhir).text) if known and known.fhir else ()
    species = concept(animal["species"], *coded)
    neutered = str(animal["neutered"])
    coded = fhir("gender_system"), fhir("neutered")
    status = concept(neutered, *(coded if neutered.casefold() == "yes" else ()))
    about = {"species": species, "breed": concept(animal["breed"]), "genderStatus": status}
    parts = [
        {"url": name, "valueCodeableConcept": coding} for name, coding in about.items() if coding
    ]
    plain = {name: animal[name] for name in ("sex", *ANIMAL_EXTENSIONS)}
    return {
        # The extension must say a species; without one it says nothing.
        "extension": [
            *([{"url": fhir("animal"), "extension": parts}] if species else []),
            *(extension(name, value) for name, value in plain.items()),
        ],
        "identifier": [{"value": animal["animal"]}],
        "name": [{"text": animal["name"]}],
        "gender": animal["sex"] if animal["sex"] in ("male", "female") else "",
        "birthDate": _day(animal["birth_date"]),
    }


def _day(value: Any) -> str:
    return "" if pd.isna(value) else pd.Timestamp(value).date().isoformat()


def _reading(reading: Row, made: _Bundle) -> dict[str, Any]:
    """Return a reading; one that is set aside was taken, and says no more than that."""
    aside = bool(reading["set_aside"])
    # With a reason for leaving it out it would come back as excluded, and the sums would differ.
    given = {**reading, "excluded": ""} if aside else reading
    return {
        **circumstances(given, made.reference("Patient", str(reading["animal"]))),
        "status": "entered-in-error" if aside else "final",
        **reading_values(reading, aside),
    }


def _summary(reading: Row, made: _Bundle, snomed: bool) -> dict[str, Any]:
    """Return a session that is known by its mean alone."""
    mean = {"systolic": reading["systolic"], "systolic_bound": reading["systolic_bound"]}
    parts = mean_components(mean, int(reading["summary_n"]), reading["summary_sd"], snomed)
    return {
        **circumstances(reading, made.reference("Patient", str(reading["animal"]))),
        "status": "final",
        "code": loinc_concept(loinc_of_mean("panel"), SESSION_MEAN),
        "component": parts,
    }


def _session(
    session: Row, made: _Bundle, sources: list[dict[str, str]], snomed: bool
) -> dict[str, Any]:
    """Return the mean of a session, derived from its readings."""
    means = {
        name: session[name]
        for mean in _MEANS
        for name in (mean, f"{mean}_bound")
        if name in session
    }
    parts = mean_components(means, int(session["systolic_n"]), None, snomed)
    blank = {name: session[name] for name in ("animal", "date", "method")}
    return {
        **circumstances(blank, made.reference("Patient", str(session["animal"]))),
        "status": "final",
        "code": loinc_concept(loinc_of_mean("panel"), SESSION_MEAN),
        "component": parts,
        "derivedFrom": sources,
    }


def _add_tables(records: Records, made: _Bundle) -> None:
    """Add treatments, laboratory values and signs."""
    tables = {
        "treatments": ("MedicationStatement", _treatment),
        "labs": ("Observation", _lab),
        "observations": ("Observation", _sign),
    }
    for table, (kind, make) in tables.items():
        for label, row in _rows(getattr(records, table)):
            if row["set_aside"]:
                made.leave(f"{table} set aside")
            else:
                subject = made.reference("Patient", str(row["animal"]))
                made.add(kind, f"{table} {label}", {"subject": subject, **make(row)})
    for _ in records.cancelled_rows:
        made.leave("cancelled")
    for table in ("missed", "contacts"):
        for _ in range(len(getattr(records, table))):
            made.leave(table)


def _treatment(row: Row) -> dict[str, Any]:
    dose = number(row["dose"])
    stated = quantity(dose, row["dose_unit"]) if dose is not None and row["dose_unit"] else None
    words = " ".join(filter(None, (row["dose"], row["dose_unit"])))
    return {
        "extension": [extension("product", row["product"])],
        "status": "active" if pd.isna(row["stopped_on"]) else "completed",
        "medicationCodeableConcept": concept(row["drug"]),
        "effectivePeriod": {"start": _day(row["started_on"]), "end": _day(row["stopped_on"])},
        "dosage": [{"text": words, "doseAndRate": [{"doseQuantity": stated}] if stated else []}],
        "reasonCode": [concept(row["purpose"])],
        "note": [{"text": row["note"]}],
    }


def _lab(row: Row) -> dict[str, Any]:
    return {
        "status": "final",
        "category": [concept("", "category", "laboratory")],
        "code": concept(row["analyte"]),
        "effectiveDateTime": _day(row["sampled_on"]),
        "valueQuantity": quantity(row["value"], row["unit"], row["value_bound"]),
    }


def _sign(row: Row) -> dict[str, Any]:
    return {
        "status": "final",
        "category": [concept("", "category", "exam")],
        "code": concept(row["sign"]),
        "effectiveDateTime": _day(row["seen_on"]),
        "valueString": row["status"],
        "note": [{"text": row["note"]}],
    }
