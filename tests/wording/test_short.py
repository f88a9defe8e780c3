"""Five lines: nothing urgent and no sign is left out of them, and nothing reassures beside it."""

import pytest

import bpvet
from bpvet.answers.trend.unseen import unseen_answer
from bpvet.wording.en.trend.short import short_statements
from tests.answers.due.test_due import DRUG, records
from tests.models import small_records as clinic


def told(held, animal="A", **options):
    answer = bpvet.fit_trend(held, animal).answer(**options)
    return {one.key: one.text for one in short_statements(answer)}, answer


def test_a_steady_animal_has_four_lines_and_no_first():
    said, answer = told(records())
    assert list(said) == ["short.number", "short.change", "short.kidney", "short.recheck"]
    assert said["short.number"].startswith("150 mmHg on 20 May 2026; usual ")
    assert "No change" in said["short.change"]
    assert "No creatinine" in said["short.kidney"]
    assert said["short.recheck"] in answer.sentences


@pytest.mark.parametrize(("value", "drugs"), [(195.0, ()), (97.0, (DRUG,)), (84.0, ())])
def test_every_urgent_line_is_first_and_nothing_reassures_beside_it(value, drugs):
    tables = {"treatments": list(drugs)} if drugs else {}
    said, answer = told(records([("A", "2026-05-20", value)], **tables))
    first = next(iter(said))
    assert first == "short.urgent"
    assert all(one.text in said[first] for one in answer.urgent)
    assert "at or below" not in said["short.number"]


def test_a_sign_is_never_silent():
    for sign in ("blind OS", "zzgrmpf", "head tilt?"):
        seen = [{"animal": "A", "seen_on": "2026-05-20", "sign": sign}]
        said, _ = told(records(observations=seen))
        assert sign.rstrip("?") in next(iter(said.values()))


def test_the_last_change_of_a_drug():
    rows = [("A", "2025-01-05", 190.0), ("A", "2026-05-20", 150.0)]
    said, answer = told(records(rows, treatments=[DRUG]))
    assert said["short.change"].startswith("Amlodipine began on 10 January 2025: 190 before")
    assert answer.treated
    only, _ = told(records(rows[1:], treatments=[DRUG]))
    assert "10 January 2025 (amlodipine)" in only["short.change"]


def test_an_animal_without_a_session():
    labs = [
        {
            "animal": "B",
            "sampled_on": "2026-05-30",
            "analyte": "potassium",
            "value": 6.6,
            "unit": "mmol/L",
        }
    ]
    held = records(labs=labs)
    said = [one.text for one in short_statements(unseen_answer(held, "B", "No session."))]
    assert said[0].startswith("Urgent: ")
    assert "No usual pressure can be given: No session." in said


def test_a_bound_is_no_usual_pressure_and_the_number_speaks_of_its_date():
    readings = clinic.rows([(date, [">300"] * 3) for date in ("2026-09-01", "2026-10-01")])
    answer = bpvet.fit_trend(clinic.records(readings), "A1").answer()
    (told,) = [one.text for one in short_statements(answer) if one.key == "short.number"]
    assert told.startswith("at least 300 mmHg on 1 October 2026; usual then at least ")
    assert "interval" not in told
