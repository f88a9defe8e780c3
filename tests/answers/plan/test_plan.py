"""Plans as answers and sentences: what is said to be reached is reached."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from bpvet.answers.plan.plan import further_answer, plan_answer
from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.plan import plan
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.settling import settling, slope_asked
from bpvet.wording.en.plan import up, visits_of
from bpvet.wording.en.trend.settle import settle_words
from tests.answers.statements import assert_statements
from tests.models.small_records import drug, records, rows, steady

CAT = Priors.default("cat", "doppler")
DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]


@pytest.fixture(scope="module")
def answer():
    held = plan(CAT, 7)
    return plan_answer(held, "cat", "doppler", within=15.0, study=held.study(15.0))


def test_the_first_sentence_says_what_the_visits_come_to(answer):
    assert answer.sentences[0] == (
        "A new cat measured by Doppler: after seven weekly visits of five readings the usual "
        "systolic pressure would be known to within ±14 mmHg (95 %) on the day of the last; in a "
        "cat of ordinary scatter to within ±12 mmHg."
    )
    assert answer.sentences[1] == "For ±15 mmHg, six weekly visits of five readings are enough."


def test_what_is_out_of_reach_is_said():
    said = plan_answer(plan(CAT), "cat", "doppler", within=10.0).sentences[1]
    assert said.startswith("±10 mmHg is out of reach: 60 weekly visits would leave ±12 mmHg")


def test_half_widths_are_never_rounded_down(answer):
    for held in (answer.usual, answer.ordinary, answer.effect):
        shown = int(up(held.half_width))
        assert shown - 1 < held.half_width <= shown
    said = [int(one) for one in re.findall(r"±(\d+) mmHg", answer.sentences[0])]
    assert said == [14, 12]


def test_drugs_and_slopes(answer):
    said = " ".join(answer.sentences)
    assert "If a drug is started after three visits, its full effect would be known to" in said
    assert f"A true fall of {answer.fall_seen:.0f} mmHg would be recognised" in said
    assert "They say almost nothing about a slow rise or fall: ±3.9 mmHg a month" in said
    named = plan_answer(plan(CAT, 7), "cat", "doppler", drug="amlodipine").sentences
    assert any("If amlodipine is started" in one for one in named)
    one = plan_answer(plan(CAT, 1), "cat", "doppler")
    assert any(part.startswith("One visit says nothing about a drug") for part in one.sentences)
    assert one.table[0].effect is None


def test_studies(answer):
    said, study = answer.sentences[-1], answer.study
    low, high = study.animals_range
    assert "differ by 15 mmHg with probability 90 %" in said
    assert f"needs {study.animals} animals per arm" in said
    assert f"simulated, {low} to {high} with the error of the simulation" in said
    assert said.endswith(f"it needs {study.formula.animals}.")
    held = plan(CAT, 7)
    given = plan_answer(held, "cat", "doppler", study=held.study(15.0, animals=20))
    assert given.study.wanted is None
    assert "A study of 20 animals per arm would distinguish two arms" in given.sentences[-1]
    assert "standard error 0.7 %" in given.sentences[-1]


def test_whom_it_speaks_of():
    used = plan_answer(plan(replace(CAT, first_visit=None)), "cat", "doppler")
    assert used.sentences[0].startswith("A cat used to being measured, by Doppler: ")
    assert used.used_to_it
    unknown = plan_answer(
        plan(Priors.default("", "oscillometric", "heart_rate"), unit="/min"),
        "", "oscillometric", "heart_rate",
    )  # fmt: skip
    assert unknown.sentences[0].startswith(
        "A new animal of unknown species measured by the oscillometric method: "
    )
    assert "the usual heart rate" in unknown.sentences[0]
    assert "mmHg" not in " ".join(unknown.sentences)


def test_readings_are_counted_after_the_first_is_left_out(answer):
    assert "so that five readings take 6" in answer.notes[0]
    few = plan_answer(plan(CAT, 4, 2), "cat", "doppler")
    assert "left out" not in few.notes[0]


def test_the_json_holds_every_number_and_no_nan(answer):
    held = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    assert held["usual"]["sd"] == answer.usual.sd
    assert_statements(held, {"plan.usual", "plan.effect", "plan.study"})
    assert held["priors"]["sv"] == [11.0, 0.5]
    assert held["priors"]["tau_days"]["amlodipine"] == 3.0
    assert held["study"]["formula"]["animals"] == answer.study.formula.animals
    visits = [row["visits"] for row in held["table"]]
    assert visits == [1, 2, 3, 4, 6, 7, 8, 12]
    assert held["table"][5]["usual"]["5"] == pytest.approx(answer.usual.half_width)
    assert held["table"][5]["effect"] == pytest.approx(answer.effect.half_width)


def test_visits_in_words():
    assert visits_of(3, 1) == "three daily visits"
    assert visits_of(12, 14) == "12 fortnightly visits"
    assert visits_of(2, 30) == "two visits every 30 days"
    assert visits_of(1, 30) == "one visit"


def _trend(treatments=(), **more):
    return fit_trend(records(rows(steady(150, DATES)), list(treatments), **more), "A1")


def test_an_animal_already_measured():
    answer = further_answer(_trend([drug("2026-03-14")], name="Pilchard"), 3, within=9.0)
    said = answer.sentences
    assert said[0] == (
        f"Pilchard (A1), by Doppler, in the clinic, awake: the usual systolic pressure is known "
        f"to within ±{up(answer.now)} mmHg (95 %) on 1 August 2026, from five sessions."
    )
    assert said[1].startswith("After three further weekly visits of five readings it would be")
    assert any(one.startswith("Amlodipine from 14 March 2026: its full effect") for one in said)
    held = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    assert_statements(held, {"plan.known", "plan.further", "plan.fewest", "plan.drug"})
    assert held["effects"][0]["started_on"] == "2026-03-14"
    assert held["usual"]["half_width"] == answer.usual.half_width


def test_open_questions_are_told_with_the_chance_of_the_very_visits():
    trend = _trend([drug("2026-03-14")])
    answer = further_answer(trend, 3, 4, 10)
    names = [one.question for one in answer.open_questions]
    assert "slope" in names
    for one in answer.open_questions:
        held = one.settle
        assert (held.visits, held.readings, held.gap_days) == (3, 4, 10)
        assert settle_words([held])[0] in " ".join(answer.sentences)
    slope = answer.open_questions[names.index("slope")].settle
    ((same,),) = settling(trend, [slope_asked(trend)], (3,), 10, 4)
    assert slope.chance == same.chance


def test_a_question_that_is_settled_is_not_open():
    at_target = fit_trend(records(rows(steady(110, DATES))), "A1")
    assert "target" not in [one.question for one in further_answer(at_target, 1).open_questions]


def test_a_drug_without_a_visit_before_it_is_not_helped_by_more():
    answer = further_answer(_trend([drug("2026-01-01")]))
    assert any("further visits cannot make up for that" in one for one in answer.sentences)


@pytest.mark.parametrize(
    ("within", "words"),
    [(60.0, "It is known to ±60 mmHg already."), (1.0, "±1 mmHg is out of reach of 60 weekly")],
)
def test_how_many_further_visits(within, words):
    said = further_answer(_trend(), within=within).sentences
    assert any(one.startswith(words) for one in said)


def test_one_further_visit():
    said = further_answer(_trend(), 1).sentences
    assert said[1].startswith("After one further visit of five readings")
