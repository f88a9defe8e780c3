"""The answers of a clinic's cohort: every number plain, and no sentence that blames a drug."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

import bpvet
from bpvet.answers.clinic.cohort import CohortAnswer, cohort_answer
from bpvet.errors import CallError
from bpvet.models.clinic.grid import Effect
from bpvet.printing import number
from bpvet.wording.en.clinic import NOT_CAUSAL, at_month, over_months
from tests.answers.statements import assert_statements
from tests.models.small_clinic import AS_OF, write_clinic

#: Words that would make a difference the work of a drug.
CAUSAL = re.compile(
    r"lowers|lowered|reduc|because of the drug|due to|caus|works|benefi|response to"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_clinic(tmp_path_factory.mktemp("cohort") / "small")


@pytest.fixture(scope="module")
def answer(folder: Path) -> CohortAnswer:
    return cohort_answer(bpvet.clinic_cohort(bpvet.read(folder, as_of=AS_OF)), 0.9)


def test_json_is_plain_and_names_what_the_library_names(answer: CohortAnswer) -> None:
    held = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    cohort = answer.study.cohort
    assert [row["term"] for row in held["fixed"]] == list(cohort.terms)
    assert set(held["fixed"][0]) == {"term", *cohort.fixed.columns}
    assert held["criterion"] == cohort.criterion
    assert held["log_likelihood"] == -cohort.criterion / 2
    assert [row["component"] for row in held["variance"]] == list(cohort.variance["component"])
    assert {row["animal"] for row in held["animals"]} == set(cohort.animals.index)
    assert len(held["sessions"]) == cohort.n_sessions
    row = held["sessions"][3]
    assert row["residual"] == pytest.approx((row["mean"] - row["fitted"]) / row["noise_sd"])
    assert held["grid"]["rows"][0]["treated"] == held["effects"]["treated"]
    assert held["flow"]["animals"] == held["n_animals"] == 8
    assert held["as_of"] == AS_OF
    assert held["level"] == 0.9
    assert held["source"] == answer.study.source != ""
    assert_statements(held, {"cohort.counted", "cohort.months", "cohort.scatter"})


def test_a_number_that_is_not_given_has_its_reason(folder: Path) -> None:
    records = bpvet.read(folder, as_of=AS_OF)
    held = cohort_answer(bpvet.clinic_cohort(records, pseudonyms=True)).to_dict()
    assert held["data_digest"] is None
    assert "pseudonyms" in held["data_digest_reason"]
    for row in held["grid"]["rows"]:
        for name in ("months", "months_treated", "treated", "oscillometric"):
            assert (row[name]["estimate"] is None) == (row[name]["reason"] is not None)
    text = json.dumps(held)
    assert not re.search(r"K\d", text)
    assert "Name of" not in text


def test_intervals_are_at_the_level_asked_for(answer: CohortAnswer) -> None:
    fixed = answer.fixed
    wide = answer.study.cohort.fixed
    np.testing.assert_array_equal(fixed["estimate"], wide["estimate"])
    assert (fixed["lower"] > wide["lower"]).all()
    assert any("90 % interval" in said for said in answer.sentences)
    assert not any("95 % interval" in said for said in answer.sentences)


def test_no_sentence_blames_a_drug(answer: CohortAnswer) -> None:
    for said in (*answer.sentences, *answer.cautions):
        assert not CAUSAL.search(said), said
    assert answer.cautions[0] == NOT_CAUSAL
    with_drug = [said for said in answer.sentences if "sessions on a pressure-acting" in said]
    assert with_drug
    assert all("That is not a drug's effect" in said for said in with_drug)


def test_sentences_give_the_answers_numbers(answer: CohortAnswer) -> None:
    said = " ".join(answer.sentences)
    assert "covers 38 of 42 sessions, 8 of 10 animals" in said
    effect = answer.effects["treated"]
    assert f"{number(abs(effect.estimate), 0)} mmHg" in said
    sds = {one.component: one.estimate for one in answer.components}
    assert f"by an SD of {number(sds['animal'], 0)} mmHg at their first session" in said


def test_rising_falling_or_not_told(answer: CohortAnswer) -> None:
    def said(estimate: float, lower: float, upper: float) -> str:
        return over_months(answer.study, Effect(estimate, lower, upper, 0.1, None), 0.95)

    assert said(1.2, 0.4, 2.0) == (
        "Without a pressure-acting drug, systolic pressure rises by 1.2 mmHg a month on average "
        "(95 % interval 0.4 to 2.0)."
    )
    assert "falls by 1.2" in said(-1.2, -2.0, -0.4)
    assert "not clear whether systolic pressure rises or falls over months" in said(1, -1, 3)
    unknown = over_months(answer.study, Effect(None, None, None, None, "no month"), 0.95)
    assert unknown == "The change over months is not known: no month."
    assert at_month(0) == "at the first session"


def test_without_treatments_or_a_second_method_that_is_said(tmp_path: Path) -> None:
    folder = write_clinic(tmp_path, treated=False, method="doppler")
    held = cohort_answer(bpvet.clinic_cohort(bpvet.read(folder, as_of=AS_OF)))
    said = " ".join(held.sentences)
    assert "cannot be compared: no session is on a pressure-acting drug" in said
    assert "every session is by one method (Doppler)" in said
    assert NOT_CAUSAL not in held.cautions
    assert "Without a pressure-acting drug" not in said


@pytest.mark.parametrize("level", [0.0, 1.0, 95])
def test_a_level_that_is_none_is_refused(answer: CohortAnswer, level: float) -> None:
    with pytest.raises(CallError, match="between 0 and 1"):
        cohort_answer(answer.study, level)
