"""Bundles that other programs wrote: everything in them is read, or counted and said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from fhir.resources.bundle import Bundle as BundleR5
from fhir.resources.R4B.bundle import Bundle as BundleR4B

import bpvet
from bpvet.visits.readings import accounting, readings_used

AS_OF = "2026-11-01"
LOINC = "http://loinc.org"
SYSTOLIC, DIASTOLIC, MEAN, RATE, PANEL = "8480-6", "8462-4", "8478-0", "8867-4", "85354-9"
MORNING = "2025-01-01T10:30:00+01:00"


def coded(code: str, system: str = LOINC) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code}]}


def amount(value: float, code: str = "mm[Hg]") -> dict[str, Any]:
    return {"value": value, "system": "http://unitsofmeasure.org", "code": code}


def observation(code: str = SYSTOLIC, value: float | None = 150, **parts: Any) -> dict[str, Any]:
    unit = "/min" if code == RATE else "mm[Hg]"
    held = {
        "resourceType": "Observation",
        "status": "final",
        "code": coded(code),
        "subject": {"reference": "Patient/p1"},
        "effectiveDateTime": MORNING,
        "method": {"text": "Oscillometric"},
        "valueQuantity": None if value is None else amount(value, unit),
        **parts,
    }
    return {name: part for name, part in held.items() if part is not None}


def patient(id: str = "p1", identifier: str = "", **parts: Any) -> dict[str, Any]:
    species = {"url": "species", "valueCodeableConcept": {"text": "Feline"}}
    address = "http://hl7.org/fhir/StructureDefinition/patient-animal"
    held = {
        "resourceType": "Patient",
        "id": id,
        "extension": [{"url": address, "extension": [species]}],
        "identifier": [{"value": identifier}] if identifier else None,
        **parts,
    }
    return {name: part for name, part in held.items() if part is not None}


def given(**parts: Any) -> dict[str, Any]:
    return {
        "resourceType": "MedicationStatement",
        "status": "active",
        "medicationCodeableConcept": {"text": "amlodipine"},
        "subject": {"reference": "Patient/p1"},
        "effectivePeriod": {"start": "2025-01-02"},
        **parts,
    }


def read(folder: Path, *resources: dict[str, Any], check: Any = BundleR4B) -> bpvet.Records:
    """Return the records of a bundle, after an outside library has taken it as valid."""
    bundle = {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"resource": one} for one in resources],
    }
    if check is not None:
        check.model_validate(bundle)
    file = folder / "bundle.json"
    file.write_text(json.dumps(bundle), encoding="utf-8")
    found = bpvet.read(file, as_of=AS_OF)
    counts = accounting(readings_used(found))
    assert counts["in"] == sum(n for name, n in counts.items() if name != "in")
    return found


def kinds(found: bpvet.Records) -> dict[str, str]:
    return {one.kind: one.reason for one in found.findings}


@pytest.mark.parametrize("check", [BundleR4B, BundleR5])
def test_a_panel_with_a_component_for_each_quantity(tmp_path: Path, check: Any) -> None:
    values = {SYSTOLIC: 150, DIASTOLIC: 90, MEAN: 110, RATE: 180}
    parts = [
        {"code": coded(code), "valueQuantity": amount(n, "/min" if code == RATE else "mm[Hg]")}
        for code, n in values.items()
    ]
    found = read(tmp_path, patient(), observation(PANEL, None, component=parts), check=check)
    row = found.readings.iloc[0]
    assert [row[n] for n in ("systolic", "diastolic", "mean", "heart_rate")] == [150, 90, 110, 180]
    assert found.animals["species"].tolist() == ["cat"]


def test_missing_parts_are_blanks(tmp_path: Path) -> None:
    parts = [
        {"code": coded(SYSTOLIC), "valueQuantity": amount(150)},
        {"code": coded(DIASTOLIC), "dataAbsentReason": {"text": "not performed"}},
        {"code": {"text": "something else"}, "valueString": "x"},
    ]
    bare = observation(PANEL, None, component=parts)
    nothing = observation(PANEL, None, dataAbsentReason={"text": "error"})
    nobody = observation(SYSTOLIC, 151, subject=None)
    never = observation(SYSTOLIC, 152, effectiveDateTime=None)
    found = read(tmp_path, patient(), bare, nothing, nobody, never)
    assert len(found.readings) == 4
    assert (found.readings["set_aside"] != "").tolist() == [False, True, True, True]
    assert found.readings["diastolic"].isna().all()


def test_values_that_stand_alone_are_one_reading_where_the_moment_says_so(tmp_path: Path) -> None:
    later = "2025-01-01T10:32:00+01:00"
    found = read(
        tmp_path,
        patient(),
        observation(SYSTOLIC, 150, note=[{"text": "calm"}]),
        observation(DIASTOLIC, 90),
        observation(RATE, 180, note=[{"text": "purring"}]),
        observation(SYSTOLIC, 148, effectiveDateTime=later),
        observation(SYSTOLIC, 146, effectiveDateTime=later),
        observation(DIASTOLIC, 88, effectiveDateTime=later),
        observation(SYSTOLIC, 144, effectiveDateTime="2025-01-02"),
        observation(DIASTOLIC, 86, effectiveDateTime="2025-01-02"),
    )
    frame = found.readings
    # Two systolic pressures of one moment, or a date alone, do not say which belong together.
    assert frame["line"].tolist() == [2, 5, 6, 7, 8, 9]
    assert frame["diastolic"].fillna(0).tolist() == [90, 0, 0, 88, 0, 86]
    assert frame["heart_rate"].fillna(0).tolist() == [180, 0, 0, 0, 0, 0]
    assert frame["note"][0] == "calm\npurring"
    assert kinds(found)["single values"].startswith("Lines 3 and 4: single values")


def test_a_panel_that_gathers_members_is_not_a_reading_more(tmp_path: Path) -> None:
    members = [{"reference": "Observation/a"}, {"reference": "Observation/b"}]
    found = read(
        tmp_path,
        patient(),
        observation(PANEL, None, hasMember=members),
        observation(SYSTOLIC, 150, id="a"),
        observation(DIASTOLIC, 90, id="b"),
    )
    assert found.readings[["systolic", "diastolic"]].values.tolist() == [[150, 90]]
    assert "derived means" in kinds(found)


def test_kilopascal_by_its_code(tmp_path: Path) -> None:
    parts = [
        {"code": coded(SYSTOLIC), "valueQuantity": amount(20, "kPa")},
        {"code": coded(DIASTOLIC), "valueQuantity": amount(12, "kPa")},
    ]
    bound = {**amount(40, "kPa"), "comparator": ">"}
    found = read(
        tmp_path,
        patient(),
        observation(PANEL, None, component=parts),
        observation(SYSTOLIC, 150, effectiveDateTime="2025-02-01"),
        observation(SYSTOLIC, None, effectiveDateTime="2025-03-01", valueQuantity=bound),
        observation(RATE, None, effectiveDateTime="2025-04-01", valueQuantity=amount(20, "kPa")),
    )
    frame = found.readings
    assert frame["systolic"].round(1).tolist()[:3] == [150.0, 150.0, 300.0]
    assert frame["diastolic"].round(1)[0] == 90.0
    assert frame["systolic_bound"][2] == "at least"
    assert 'gives heart_rate in "kPa", not in /min' in frame["set_aside"][3]
    assert kinds(found)["kPa by its code"].startswith("Lines 2 and 4: pressures in kPa")


def test_status_says_what_may_be_used(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        patient(),
        observation(SYSTOLIC, 150, status="preliminary"),
        observation(SYSTOLIC, 250, status="entered-in-error", effectiveDateTime="2025-01-02"),
        observation(SYSTOLIC, 250, status="cancelled", effectiveDateTime="2025-01-03"),
        observation(SYSTOLIC, 152, status="amended", effectiveDateTime="2025-01-04"),
    )
    assert found.readings["systolic"].fillna(0).tolist() == [150, 0, 0, 152]
    assert (found.readings["set_aside"] != "").tolist() == [False, True, True, False]
    assert kinds(found)["not final"].startswith("Line 2: not final yet")
    assert "void" in kinds(found)


@pytest.mark.parametrize(("diastolic", "doubles"), [((90, 95), 0), ((90, 90), 1)])
def test_two_errors_that_differ_in_one_number_are_no_doubles(
    tmp_path: Path, diastolic: tuple[int, int], doubles: int
) -> None:
    """Their numbers are not used; that they differ says that two were taken."""
    panels = [
        observation(
            PANEL,
            None,
            status="entered-in-error",
            component=[
                {"code": coded(SYSTOLIC), "valueQuantity": amount(150)},
                {"code": coded(DIASTOLIC), "valueQuantity": amount(value)},
            ],
        )
        for value in diastolic
    ]
    found = read(tmp_path, patient(), *panels, observation(SYSTOLIC, 152))
    assert list(kinds(found)).count("exact duplicate") == doubles
    assert accounting(readings_used(found))["in"] == 3
    assert bpvet.sessions(found)["n_taken"].tolist() == [3 - doubles]


def test_an_error_is_no_sign_and_no_laboratory_value(tmp_path: Path) -> None:
    exam = [coded("exam", "http://terminology.hl7.org/CodeSystem/observation-category")]
    lab = [coded("laboratory", "http://terminology.hl7.org/CodeSystem/observation-category")]
    sign = observation(value=None, category=exam, valueString="present", method=None)
    sign["code"] = {"text": "seizure"}
    value = observation(category=lab, valueQuantity=amount(2, "mg/dL"))
    value["code"] = {"text": "creatinine"}
    error = {"status": "entered-in-error"}
    found = read(
        tmp_path,
        patient(),
        observation(),
        sign,
        sign | error,
        value | error,
    )
    assert (found.observations["set_aside"] == "").tolist() == [True, False]
    assert (found.labs["set_aside"] == "").tolist() == [False]


def test_a_drug_that_was_not_given_is_no_course(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        patient(),
        observation(),
        given(),
        given(status="not-taken"),
        given(status="intended"),
        given(status="entered-in-error"),
        given(status="stopped"),
        given(
            status="stopped",
            effectivePeriod={"start": "2025-01-02T10:00:00Z", "end": "2025-02-01T10:00:00Z"},
        ),
    )
    frame = found.treatments
    assert (frame["set_aside"] == "").tolist() == [True, False, False, False, False, True]
    assert "without the date of its end" in frame["set_aside"][4]


def test_a_medication_in_its_own_place(tmp_path: Path) -> None:
    drug = {"resourceType": "Medication", "id": "m", "code": {"text": "telmisartan"}}
    inner = given(medicationReference={"reference": "#m"}, contained=[drug])
    outer = given(medicationReference={"reference": "Medication/m"})
    for one in (inner, outer):
        del one["medicationCodeableConcept"]
    found = read(tmp_path, patient(), observation(), drug, inner, outer)
    assert found.treatments["drug"].tolist() == ["telmisartan"] * 2
    newer = given(
        medication={"concept": {"text": "benazepril"}},
        status="recorded",
        reason=[{"concept": {"text": "hypertension"}}],
    )
    del newer["medicationCodeableConcept"]
    found = read(tmp_path, patient(), observation(), newer, check=BundleR5)
    assert found.treatments[["drug", "purpose"]].values.tolist() == [["benazepril", "hypertension"]]


def test_patients_within_a_resource(tmp_path: Path) -> None:
    own = {"subject": {"reference": "#x"}}
    found = read(
        tmp_path,
        observation(contained=[patient("x", "A1")], **own),
        observation(DIASTOLIC, 90, contained=[patient("x", "A1")], **own),
        observation(SYSTOLIC, 160, contained=[patient("x", "B2")], **own),
        # Its id holds only within the resource, so that nobody knows which animal this is.
        observation(SYSTOLIC, 170, contained=[patient("x")], **own),
    )
    assert found.readings["animal"].tolist() == ["A1", "B2", ""]
    assert (found.readings["set_aside"] == "").tolist() == [True, True, False]
    assert found.animals["animal"].tolist() == ["A1", "B2"]
    assert found.animals["species"].tolist() == ["cat", "cat"]


@pytest.mark.parametrize("check", [BundleR4B, BundleR5])
def test_the_bundle_of_a_library_user(tmp_path: Path, check: Any) -> None:
    example = tmp_path / "clinic"
    bpvet_example(example)
    records = bpvet.read(example, as_of=AS_OF)
    bundle = bpvet.fhir_bundle(records)
    assert isinstance(bundle, bpvet.FhirBundle)
    entries = bundle.resource["entry"]
    if check is BundleR5:
        # Medications changed their shape between the releases; ours are of R4.
        entries = [e for e in entries if e["resource"]["resourceType"] != "MedicationStatement"]
    check.model_validate({**bundle.resource, "entry": entries})


def bpvet_example(folder: Path) -> None:
    from bpvet.records.example import write_example

    write_example(folder)
