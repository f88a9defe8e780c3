"""Records to FHIR and back: valid by an outside library's models, and no reading is lost."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from fhir.resources.R4B.bundle import Bundle
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from bpvet.answers.fhir.fhir import FhirBundle, fhir_bundle
from bpvet.answers.fhir.resources import number
from bpvet.facts.codes import EQUALS_EXTENSION
from bpvet.records.example import write_example
from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.visits.readings import accounting, readings_used
from bpvet.visits.sessions import sessions

HEADER = (
    "animal,taken_at,method,systolic,diastolic,mean,heart_rate,counted_pulse,session,reading,"
    "excluded,setting,state,site,side,cuff_width_cm,limb_circumference_cm,cuff_above_heart_cm,"
    "posture,demeanour,operator,instrument,note"
)
PLACE = ["file", "line", "set_aside"]


def again(bundle: FhirBundle, folder: Path) -> Records:
    """Return the records that a bundle holds, after an outside library has taken it."""
    Bundle.model_validate(bundle.resource)
    file = folder / "bundle.json"
    file.write_text(bundle.to_json(), encoding="utf-8")
    return read(file, as_of="2026-11-01")


def same(found: Records, given: Records) -> None:
    """Assert that both hold the same readings, fates, sessions and other tables."""
    mine = given.readings[~given.readings["duplicate"]].reset_index(drop=True)
    theirs = found.readings
    usable = (mine["set_aside"] == "").to_numpy()
    assert ((theirs["set_aside"] == "").to_numpy() == usable).all()
    pd.testing.assert_frame_equal(
        theirs[usable].drop(columns=PLACE), mine[usable].drop(columns=PLACE)
    )
    counts = accounting(readings_used(given))
    copies = len(given.readings) - len(mine)
    counts |= {"in": counts["in"] - copies, "set_aside": counts["set_aside"] - copies}
    assert accounting(readings_used(found)) == counts
    columns = ["animal", "date", "method", "condition", "n_taken", "systolic", "systolic_n"]
    columns += ["systolic_ss", "systolic_bound", "flags"]
    pd.testing.assert_frame_equal(sessions(found)[columns], sessions(given)[columns])
    for table in ("animals", "treatments", "labs", "observations"):
        one, two = getattr(found, table), getattr(given, table)
        two = two[two["set_aside"] == ""] if "set_aside" in two else two
        dropped = [*PLACE, "future"]
        pd.testing.assert_frame_equal(
            one.drop(columns=dropped, errors="ignore"),
            two.drop(columns=dropped, errors="ignore").reset_index(drop=True),
        )


def test_the_example_records_go_there_and_back(tmp_path: Path) -> None:
    write_example(tmp_path / "clinic")
    given = read(tmp_path / "clinic", as_of="2026-11-01")
    bundle = fhir_bundle(given)
    assert bundle.counts["Patient"] == len(given.animals)
    same(again(bundle, tmp_path), given)
    assert fhir_bundle(given).to_json() == bundle.to_json()


def test_bounds_of_laboratory_values_go_there_and_back(tmp_path: Path) -> None:
    folder = tmp_path / "clinic"
    folder.mkdir()
    (folder / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA1,2026-01-01,doppler,150\n", encoding="utf-8"
    )
    (folder / "labs.csv").write_text(
        "animal,sampled_on,analyte,value,unit\nA1,2026-01-01,upc,<0.1,ratio\n"
        "A1,2026-01-01,creatinine,>13.6,mg/dL\nA1,2026-01-01,sdma,14,ug/dL\n",
        encoding="utf-8",
    )
    found = again(fhir_bundle(read(folder, as_of="2026-11-01")), tmp_path).labs
    assert found["value_bound"].tolist() == ["at most", "at least", ""]
    assert found["value"].tolist() == [0.1, 13.6, 14.0]


WORDS = st.sampled_from(["", "x", "a, b", "é 😀", "<b>", "=1+1", "a  b"])
NUMBERS = st.sampled_from(["", "150", "148.5", "120", "> 300", "< 60", "no sound", "1650", "x"])
SIZES = st.sampled_from(["", "2.5", "10"])
ROW = st.tuples(
    st.sampled_from(["A1", "B 2", "=C3", ""]),
    st.sampled_from(
        ["2025-01-01", "2025-01-01T10:30", "2025-01-02T09:30:15", "soon", "2031-01-01"]
    ),
    st.sampled_from(["doppler", "oscillometric", "oscillometric", "osc"]),
    NUMBERS,
    st.sampled_from(["", "90", "88.5"]),
    st.sampled_from(["", "110"]),
    st.sampled_from(["", "180"]),
    st.sampled_from(["", "176"]),
    st.sampled_from(["", "1", "two"]),
    st.sampled_from(["", "1", "2"]),
    st.sampled_from(["", "moved", "no"]),
    st.sampled_from(["", "home", "clinic"]),
    st.sampled_from(["", "calmed", "sedated"]),
    *[WORDS] * 2,
    *[SIZES] * 2,
    st.sampled_from(["", "-3", "12"]),
    *[WORDS] * 5,
)


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(st.lists(ROW, min_size=1, max_size=8))
def test_any_readings_go_there_and_back(tmp_path: Path, rows: list[tuple[str, ...]]) -> None:
    quoted = [",".join('"' + cell + '"' for cell in row) for row in rows]
    file = tmp_path / "readings.csv"
    file.write_text("\n".join([HEADER, *quoted]) + "\n", encoding="utf-8")
    given = read(file, as_of="2026-11-01")
    bundle = fhir_bundle(given)
    found = again(bundle, tmp_path)
    kept = readings_used(given)
    left = sum(bundle.left_behind.values())
    assert len(found.readings) == len(given.readings) - left
    mine = given.readings
    placed = (mine["animal"] != "") & (mine["method"] != "") & mine["date"].notna()
    gone = mine["duplicate"] | mine["future"] | ~placed
    assert left == int(gone.sum())
    mine, theirs = mine[~gone].reset_index(drop=True), found.readings
    usable = (mine["set_aside"] == "").to_numpy()
    pd.testing.assert_frame_equal(
        theirs[usable].drop(columns=PLACE), mine[usable].drop(columns=PLACE)
    )
    used = readings_used(found)
    assert used.loc[usable, "fate"].tolist() == kept[~gone.to_numpy()][usable]["fate"].tolist()


def test_an_impossible_reading_that_was_excluded_comes_back_set_aside(tmp_path: Path) -> None:
    rows = "".join(f"A,2026-01-05,doppler,{end}\n" for end in ("20.5,moved", "150,moved", "151,"))
    (tmp_path / "readings.csv").write_text(f"animal,taken_at,method,systolic,excluded\n{rows}")
    given = read(tmp_path / "readings.csv", as_of="2026-11-01")
    counts = accounting(readings_used(given))
    assert (counts["set_aside"], counts["excluded"]) == (1, 1)
    assert accounting(readings_used(again(fhir_bundle(given), tmp_path))) == counts


def test_the_product_of_a_treatment_comes_back(tmp_path: Path) -> None:
    folder = tmp_path / "clinic"
    folder.mkdir()
    (folder / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA,2026-01-05,doppler,150\n", encoding="utf-8"
    )
    (folder / "treatments.csv").write_text(
        "animal,drug,started_on,dose,dose_unit,product\n"
        "A,amlodipine,2026-01-05,1,mg,practice suspension\nA,amlodipine,2026-02-05,2,mg,\n",
        encoding="utf-8",
    )
    found = again(fhir_bundle(read(folder, as_of="2026-11-01")), tmp_path)
    assert found.treatments["product"].tolist() == ["practice suspension", ""]


def test_a_line_of_another_date_does_not_come_back_as_taken_in_its_rows_session(
    tmp_path: Path,
) -> None:
    line = "2025-03-01 Systolic 200 mmHg (Doppler, mean of 4 of 4 readings; 201, 199, 101, 195)"
    file = tmp_path / "readings.csv"
    file.write_text(
        "animal,taken_at,chart_line\n"
        'A1,2025-01-08,"Systolic 150 mmHg (Doppler, mean of 1 of 1 reading; 150)"\n'
        f'A1,2025-01-08,"{line}"\n'
    )
    was = read(file, as_of="2025-12-31")
    for records in (was, again(fhir_bundle(was), tmp_path)):
        (session,) = sessions(records).query("n_used > 0").to_dict("records")
        assert (session["systolic"], session["n_taken"]) == (150.0, 1)


def test_a_session_known_by_its_mean_stays_one(tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(
        "animal,taken_at,method,systolic_mean,systolic_n,systolic_sd,setting\n"
        "A1,2025-01-01,doppler,152.4,5,6.5,home\nA1,2025-02-01,doppler,> 300,3,,home\n"
    )
    given = read(file, as_of="2026-11-01")
    bundle = fhir_bundle(given)
    found = again(bundle, tmp_path)
    columns = ["animal", "date", "systolic", "systolic_bound", "summary_n", "summary_sd", "setting"]
    pd.testing.assert_frame_equal(found.readings[columns], given.readings[columns])
    assert not found.stopping


def test_a_session_without_a_sound_known_by_its_count_comes_back(tmp_path: Path) -> None:
    text = "animal,taken_at,method,systolic_mean,systolic_n\nA,2026-01-05,doppler,no sound,3\n"
    (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
    given = read(tmp_path / "readings.csv", as_of="2026-11-01")
    found = again(fhir_bundle(given), tmp_path)
    assert found.readings["systolic_bound"].tolist() == ["no sound"]
    assert found.readings["summary_n"].tolist() == [3]
    assert readings_used(found)["fate"].tolist() == ["no sound"]


def test_an_exclusion_is_kept_though_its_reason_cannot_be_written(tmp_path: Path) -> None:
    text = "animal,taken_at,method,systolic,excluded\nA,2026-01-05,doppler,150,\x1b\x07\n"
    (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
    given = read(tmp_path / "readings.csv", as_of="2026-11-01")
    found = again(fhir_bundle(given), tmp_path)
    assert readings_used(given)["fate"].tolist() == ["excluded"]
    assert readings_used(found)["fate"].tolist() == ["excluded"]
    assert found.readings["excluded"].tolist() == ["reason that cannot be written"]


@pytest.mark.parametrize(
    ("header", "line"),
    [
        # Equal and untimed, in two files; and taken at one time, but no number to be told.
        ("systolic_1,systolic_2", "A,2026-01-05,doppler,150,"),
        ("systolic,note", "A,2026-01-05T10:00,doppler,1{n}0x,"),
    ],
)
def test_equal_readings_come_back_as_many(tmp_path: Path, header: str, line: str) -> None:
    folder = tmp_path / "clinic"
    folder.mkdir()
    for n in range(3):
        other = f"B{n},2026-01-05,doppler,150,"
        text = f"animal,taken_at,method,{header}\n{line.format(n=n)}\n{other}\n"
        (folder / f"readings{n}.csv").write_text(text, encoding="utf-8")
    given = read(folder, as_of="2026-11-01")
    found = again(fhir_bundle(given), tmp_path)
    assert not given.readings["duplicate"].any()
    assert not found.readings["duplicate"].any()
    assert len(found.readings) == 6
    assert accounting(readings_used(found)) == accounting(readings_used(given))


def test_readings_set_aside_that_differ_are_not_called_equal(tmp_path: Path) -> None:
    row = "A,2026-01-05T10:00,doppler,1x0,"
    text = f"animal,taken_at,method,systolic,site\n{row}tail\n{row}left forelimb\n"
    (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
    bundle = fhir_bundle(read(tmp_path / "readings.csv", as_of="2026-11-01"))
    one, two = observations(bundle)
    assert {one["status"], two["status"]} == {"entered-in-error"}
    assert one["bodySite"] != two["bodySite"]
    assert EQUALS_EXTENSION not in json.dumps([one, two])


def observations(bundle: FhirBundle) -> list[dict[str, Any]]:
    entries = [entry["resource"] for entry in bundle.resource["entry"]]
    return [one for one in entries if one["resourceType"] == "Observation"]


def written(tmp_path: Path, *rows: str) -> Records:
    file = tmp_path / "readings.csv"
    file.write_text("\n".join(["animal,taken_at,method,systolic,diastolic,excluded", *rows]) + "\n")
    return read(file, as_of="2026-11-01")


def test_doppler_is_a_plain_observation_and_oscillometry_a_panel(tmp_path: Path) -> None:
    records = written(
        tmp_path, "A1,2025-01-01,doppler,150,,", "A1,2025-01-02,oscillometric,150,90,"
    )
    plain, panel, mean, _ = observations(fhir_bundle(records, snomed=True))
    assert plain["code"]["coding"][0]["code"] == "8480-6"
    assert plain["valueQuantity"]["code"] == "mm[Hg]"
    assert [part["code"]["coding"][0]["code"] for part in panel["component"]] == [
        "8480-6",
        "8462-4",
    ]
    # US Core's example of an average has these codes.
    assert mean["code"]["coding"][0]["code"] == "96607-7"
    assert mean["component"][0]["code"]["coding"][0]["code"] == "96608-5"
    assert mean["component"][-1]["code"]["coding"][0]["code"] == "246432004"
    assert len(mean["derivedFrom"]) == 1
    text = fhir_bundle(records).to_json()
    assert "snomed" not in text
    assert "interpretation" not in text
    assert "referenceRange" not in text


def test_what_may_not_be_used_is_marked(tmp_path: Path) -> None:
    records = written(
        tmp_path,
        "A1,2025-01-01,doppler,1650,,",
        "A1,2025-01-01,doppler,150,,moved",
        "A1,soon,doppler,150,,",
    )
    bundle = fhir_bundle(records)
    aside, excluded = observations(bundle)
    assert aside["status"] == "entered-in-error"
    assert "valueQuantity" not in aside
    assert excluded["note"] == [{"text": "Excluded by the clinic: moved"}]
    assert bundle.left_behind == {"set aside": 1}


def resource(**parts: Any) -> dict[str, Any]:
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": "http://loinc.org", "code": "8480-6"}]},
        "subject": {"reference": "Patient/p1"},
        "effectiveDateTime": "2025-01-01T10:30:00+01:00",
        "method": {"text": "Doppler ultrasound"},
        "valueQuantity": {"value": 150, "unit": "mmHg", "code": "mm[Hg]"},
        **parts,
    }


PATIENT = {
    "resourceType": "Patient",
    "id": "p1",
    "extension": [
        {
            "url": "http://hl7.org/fhir/StructureDefinition/patient-animal",
            "extension": [
                {
                    "url": "species",
                    "valueCodeableConcept": {
                        "coding": [
                            {"system": "http://hl7.org/fhir/animal-species", "code": "canislf"}
                        ]
                    },
                },
                {
                    "url": "genderStatus",
                    "valueCodeableConcept": {"coding": [{"code": "neutered"}]},
                },
            ],
        }
    ],
    "name": [{"given": ["Rex"], "family": "Nobody"}],
    "birthDate": "2015-02-03",
}


def test_another_programs_resources_are_read_a_line_each(tmp_path: Path) -> None:
    lines = [
        PATIENT,
        resource(),
        resource(valueQuantity={"value": 20, "unit": "kPa", "code": "kPa"}),
        resource(valueQuantity={"value": 150}),
        resource(effectiveDateTime="2025-03"),
        resource(method=None),
        resource(code={"text": "Body temperature"}),
        {"resourceType": "Encounter"},
        resource(
            component=[
                {
                    "code": {"coding": [{"system": "http://loinc.org", "code": "8480-6"}]},
                    "valueQuantity": {"value": 151, "code": "mm[Hg]"},
                }
            ]
        ),
        resource(component=7, note="x", subject=[], extension={"url": 1}, performer=[None]),
    ]
    file = tmp_path / "x.ndjson"
    file.write_text("".join(json.dumps(line) + "\n" for line in lines))
    found = read(file, as_of="2026-11-01")
    frame = found.readings
    assert frame["line"].tolist() == [2, 3, 4, 5, 6, 9, 10]
    usable = frame[frame["set_aside"] == ""]
    assert usable[["animal", "method", "systolic", "timed"]].values.tolist() == [
        ["p1", "doppler", 150.0, True],
        ["p1", "doppler", pytest.approx(150.01, abs=0.01), True],
    ]
    why = dict(zip(frame["line"], frame["set_aside"], strict=True))
    assert why[3] == ""
    assert "without a unit" in why[4]
    assert "taken_at" in why[5]
    assert "method" in why[6]
    assert "twice" in why[9]
    said = [finding.reason for finding in found.findings if finding.kind == "resource not read"]
    assert said == [
        'Resources that are not understood are not read: 1 Encounter, 1 Observation "Body '
        'temperature".'
    ]
    animal = found.animals[found.animals["animal"] == "p1"].iloc[0]
    assert (animal["species"], animal["name"], animal["neutered"]) == ("dog", "Rex Nobody", "yes")


@pytest.mark.parametrize("entry", [[], None, 7, [None, {"resource": 7}, {"resource": {}}]])
def test_a_bundle_without_readings_stops(tmp_path: Path, entry: Any) -> None:
    file = tmp_path / "x.json"
    file.write_text(json.dumps({"resourceType": "Bundle", "entry": entry}, indent=2))
    assert "no blood pressure" in read(file).stopping[0].reason


def test_a_number_is_whole_where_a_float_can_hold_every_whole_one() -> None:
    # 2^53 is the least float whose next whole number it cannot hold.
    assert [type(number(value)) for value in (120.0, 2.0**53 - 1, 2.0**53, -(2.0**53), 1.5)] == [
        int,
        int,
        float,
        float,
        float,
    ]
    assert [number(value) for value in ("", "none", float("nan"), None)] == [None] * 4
