"""HL7 FHIR resources to cells: readings, session means, animals, treatments, labs and signs.

A bundle is a claim like any other file. What it says becomes the text that a CSV file would
hold, with its unit looked at, and goes through the same checks; what is not understood is said.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa

from bpvet.facts.codes import EXTENSION, LOINC, loinc_of_mean
from bpvet.facts.words import READING_QUANTITIES
from bpvet.reasons import reason
from bpvet.records.cells import TEXT, RawSheet
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable, shown
from bpvet.records.formats.fhir.gathered import Found, Rows, join_single_values, report_resources
from bpvet.records.formats.fhir.patients import References, animal_row, contained_animals
from bpvet.records.formats.fhir.readings import (
    ONE_OF_EQUALS,
    has_kilopascal,
    mean_cells,
    only_gathers,
    reading_cells,
    reading_codes,
    single_quantity,
    timed,
)
from bpvet.records.formats.fhir.values import (
    codes,
    concept_text,
    day_of,
    extensions,
    first,
    from_quantity,
    label,
    moment,
    notes,
    objects_in,
    text_at,
)
from bpvet.records.formats.json_lines import Document, objects
from bpvet.records.tables import SUMMARY, column_names

#: Statuses of an observation whose numbers are not to be used, or may still change.
_VOID = ("entered-in-error", "cancelled")
_EARLY = ("registered", "preliminary")
#: Statuses of a medication that was not given, or that is given no more.
_NOT_GIVEN = ("entered-in-error", "not-taken", "intended", "draft")
_ENDED = ("completed", "stopped", "on-hold")


def holds_resources(document: Document) -> bool:
    """Return whether a document is of FHIR: its first object names the type of a resource."""
    return next(
        (isinstance(resource.get("resourceType"), str) for _, resource in objects(document)), False
    )


def fhir_sheets(file: str, document: Document, findings: list[Finding]) -> list[RawSheet]:
    """Return the tables that a bundle, or lines of resources, hold.

    Parameters
    ----------
    file : str
        Name of the file.
    document : Document
        A bundle, or a resource a line.
    findings : list of Finding
        What is not understood is said here.
    """
    bundled, resources = _resources(document)
    references = References.among(resources)
    found = Found()
    for line, _, resource in resources:
        _take(found, line, resource, references)
    join_single_values(found)
    source = f"{file}, entries" if bundled else file
    report_resources(source, found, findings)
    if not found.rows["readings"].lines and not found.rows["means"].lines:
        findings.append(finding_of(Code.NO_PRESSURES, source, stops=True))
    sheets = [_sheet(source, "readings", found.rows["readings"], column_names("readings"))]
    means = [name for name in column_names("readings") if name not in READING_QUANTITIES]
    sheets.append(_sheet(f"{source} (means)", "readings", found.rows["means"], (*means, *SUMMARY)))
    for table in ("animals", "treatments", "labs", "observations"):
        sheets.append(_sheet(source, table, found.rows[table], column_names(table)))
    return [sheet for sheet in sheets if len(sheet.lines)]


def _resources(document: Document) -> tuple[bool, list[tuple[int, str, dict[str, Any]]]]:
    """Return whether the resources stand in a bundle, and (place, address, resource) of each."""
    bundled = False
    resources: list[tuple[int, str, dict[str, Any]]] = []
    for line, found in objects(document):
        if found.get("resourceType") != "Bundle":
            resources.append((line, "", found))
            continue
        bundled = True
        for entry in objects_in(found.get("entry")):
            resource = entry.get("resource")
            at = len(resources) + 1
            plain = resource if isinstance(resource, dict) else {}
            resources.append((at, text_at(entry, "fullUrl"), plain))
    return bundled, resources


def _take(found: Found, line: int, resource: dict[str, Any], references: References) -> None:
    """Put one resource into the rows of its table."""
    kind = text_at(resource, "resourceType")
    for animal in contained_animals(resource):
        if tuple(animal.items()) not in found.contained:
            found.contained.add(tuple(animal.items()))
            found.rows["animals"].add(line, animal)
    if kind == "Patient":
        found.rows["animals"].add(line, animal_row(resource))
    elif kind == "MedicationStatement":
        found.rows["treatments"].add(line, *_treatment(resource, references))
    elif kind == "Observation":
        _take_observation(found, line, resource, references.animal(resource))
    elif kind != "Medication":
        found.strange[kind or reason("fhir.no_type")] += 1


def _take_observation(found: Found, line: int, resource: dict[str, Any], animal: str) -> None:
    code = resource.get("code")
    coded = codes(code, LOINC)
    kinds = {kind for concept in objects_in(resource.get("category")) for kind in codes(concept)}
    cells = {"animal": animal, "note": notes(resource)}
    status, day = text_at(resource, "status"), day_of(moment(resource))
    panel = loinc_of_mean("panel") in coded
    void = reason("row.marked", status=status) if status in _VOID else ""
    if void:
        found.lines[Code.VOID].append(line)
    elif status in _EARLY:
        found.lines[Code.NOT_FINAL].append(line)
    if panel or coded & reading_codes():
        _take_pressure(found, line, resource, cells, panel, bool(void))
    elif "laboratory" in kinds:
        value, unit = from_quantity(resource.get("valueQuantity"))
        lab = {"sampled_on": day, "analyte": label(code), "value": value, "unit": unit}
        found.rows["labs"].add(line, cells | lab, void, label(code))
    elif "exam" in kinds:
        state = text_at(resource, "valueString") or concept_text(
            resource.get("valueCodeableConcept")
        )
        sign = {"seen_on": day, "sign": label(code), "status": state}
        found.rows["observations"].add(line, cells | sign, void, label(code))
    else:
        found.strange[f"Observation {shown(printable(label(code)), 40)}"] += 1


def _take_pressure(
    found: Found,
    line: int,
    resource: dict[str, Any],
    cells: dict[str, str],
    panel: bool,
    void: bool,
) -> None:
    """Put an observation of pressure into the rows of readings, or of means of readings."""
    cells = cells | {"taken_at": timed(resource, moment(resource))}
    if only_gathers(resource):
        found.lines[Code.DERIVED_MEANS].append(line)
        return
    unused = [resource.get(name) for name in ("component", "valueQuantity")] if void else []
    if void:
        # It was taken, and counts as taken; its numbers are not used.
        resource = {**resource, "component": [], "valueQuantity": None}
    rows = found.rows["means" if panel else "readings"]
    taken, why, text = (mean_cells if panel else reading_cells)(resource, cells)
    if any(unused):
        # Two that differ in a number are two, though neither number is used.
        taken[ONE_OF_EQUALS] += json.dumps(unused, sort_keys=True)
    rows.add(line, taken, why, text, "" if panel else single_quantity(resource))
    if not why and has_kilopascal(resource):
        found.lines[Code.KPA_BY_CODE].append(line)


def _treatment(resource: dict[str, Any], references: References) -> tuple[dict[str, str], str, str]:
    """Return the cells of a treatment, and why it is none and its name, or two blanks."""
    # The name of the medication: R4 and R5 have it in places of their own.
    either = resource.get("medication")
    newer: Mapping[str, Any] = either if isinstance(either, dict) else {}
    concept = resource.get("medicationCodeableConcept") or newer.get("concept")
    reference = resource.get("medicationReference") or newer.get("reference")
    drug = label(concept) or label(references.target(reference, resource).get("code"))
    status = text_at(resource, "status")
    period = resource.get("effectivePeriod")
    start = text_at(period, "start") or text_at(resource, "effectiveDateTime")
    stop = day_of(text_at(period, "end"))
    if status in _NOT_GIVEN:
        return {}, reason("row.marked", status=status), drug
    if status in _ENDED and not stop:
        return {}, reason("row.ended_undated", status=status), drug
    dosage = first(resource.get("dosage"))
    value, unit = from_quantity(first(dosage.get("doseAndRate")).get("doseQuantity"))
    newest = first(resource.get("reason"))
    cells = {
        "animal": references.animal(resource),
        "drug": drug,
        "started_on": day_of(start),
        "stopped_on": stop,
        "dose": value or text_at(dosage, "text"),
        "dose_unit": unit,
        "product": extensions(resource).get(f"{EXTENSION}product", ""),
        "purpose": concept_text(first(resource.get("reasonCode")) or newest.get("concept")),
        "note": notes(resource),
    }
    return cells, "", ""


def _sheet(source: str, table: str, rows: Rows, names: tuple[str, ...]) -> RawSheet:
    """Return rows as cells; columns that are nowhere filled are left out unless needed."""
    filled = {name for row in rows.cells for name, cell in row.items() if cell}
    always = {"animal", "species", "taken_at", "method", "systolic", "started_on", "drug", "unit"}
    always |= {"sampled_on", "analyte", "value", "seen_on", "sign", *SUMMARY[:2]}
    kept = [name for name in names if name in filled or name in always]
    columns = [[row.get(name, "") for row in rows.cells] for name in kept]
    return RawSheet(
        source,
        table,
        tuple(kept),
        tuple(pa.array(column, TEXT) for column in columns),
        np.array(rows.lines, dtype=np.int64),
        rows.broken,
        separator="",
        encoding="",
        header_line=None,
        distinguishing=pa.array([row.get(ONE_OF_EQUALS, "") for row in rows.cells], TEXT),
    )
