"""A stage is called one only where kidney disease is recorded; what is told of the rest."""

from __future__ import annotations

import bpvet
from bpvet.wording.en.kidney.stage import kidney_stage_statements, stage_in_short
from tests.models.kidney_records import CKD, creatinine, lab, sdma, upc, with_labs
from tests.models.small_records import sign

STEADY = [262.0, 268.0, 265.0, 270.0, 266.0]


def _told(labs, *observations, quiet=False, **more):
    found = bpvet.kidney(with_labs(labs, observations, **more), "A1")
    return {one.key: one.text for one in kidney_stage_statements(found, quiet=quiet)}, found


def test_without_the_diagnosis_the_sentence_is_conditional():
    told, found = _told(creatinine(STEADY))
    assert told["kidney.stage"].startswith("If kidney disease is diagnosed, these values would")
    assert stage_in_short(found).startswith("If diagnosed, stage 3: ")
    told, found = _told(creatinine(STEADY), CKD)
    assert told["kidney.stage"].startswith("Kidney disease is recorded (“CKD”, 10 January 2026)")
    assert stage_in_short(found).startswith("Stage 3: ")
    assert "is not recorded" in told["kidney.stage"]


def test_a_probability_is_of_what_the_sentence_says():
    told, found = _told(creatinine(STEADY) + sdma([20, 21, 20, 22, 21]), CKD)
    share = round(100 * found.combined[found.stage])
    assert f"{found.stage} ({share} %" in told["kidney.stage"]
    assert (
        "Creatinine points to stage 3 and SDMA points to stage 2: the higher counts."
        in (told["kidney.stage"])
    )


def test_where_no_stage_is_given_it_is_said_only_of_kidney_disease():
    assert "kidney.no_stage" not in _told(creatinine([262]))[0]
    told, _ = _told(creatinine([262]), CKD)
    assert "at least 14 days apart" in told["kidney.no_stage"]
    assert "stage 3" not in told["kidney.no_stage"]


def test_what_bears_on_a_value_is_named():
    labs = [*creatinine([225, 230]), lab("2026-05-02", "creatinine", 2.85, "mg/dL")]
    text = _told(labs, sign("2026-05-01", "dehydrated", ""))[0]["kidney.stage"]
    assert "2.85 mg/dL lies between two printed ranges" in text
    assert "they were given in µmol/L and mg/dL" in text
    assert "“dehydrated” was noted on 1 May 2026" in text


def test_a_withheld_substage_of_protein_names_the_urine():
    told, _ = _told(upc([0.6] * 5), sign("2026-08-01", "blood in urine", ""))
    assert "“blood in urine” was noted" in told["kidney.no_protein"]
    told, _ = _told(upc([0.6] * 5))
    assert (
        "the geometric mean of the newest three samples, over 140 days, is 0.60"
        in (told["kidney.upc"])
    )


def test_what_is_urgent_withholds_the_substage_by_pressure():
    told, _ = _told(creatinine(STEADY), CKD)
    assert "no examination of the eyes is recorded" in told["kidney.pressure"]
    told, _ = _told(creatinine(STEADY), CKD, quiet=True)
    assert "kidney.pressure" not in told
    assert "no examination of the eyes is recorded" in told["kidney.damage"]
    assert "kidney.pressure" not in _told(creatinine(STEADY))[0]


def test_the_newest_value_alone_is_told_where_it_lies_higher():
    labs = [*creatinine([190, 192, 188, 191]), lab("2026-10-20", "creatinine", 256, "umol/L")]
    answer = bpvet.fit_trend(with_labs(labs, [CKD]), "A1").answer()
    told = {one.key: one.text for one in answer.statements}
    assert answer.kidney.stage == "stage 2"
    assert "256 µmol/L (20 October 2026), lies in the range of stage 3" in told["kidney.range"]
