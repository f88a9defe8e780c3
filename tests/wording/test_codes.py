"""What is told is decided by codes and numbers, and by no English word (see `test_pseudo` too)."""

from __future__ import annotations

from dataclasses import replace

import pytest

import bpvet
from bpvet.facts.devices import device_criteria
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import MET, CriterionResult
from bpvet.visits.labs.history import lab_history
from bpvet.visits.seen import kidneys_of
from bpvet.visits.treatments.courses import courses
from bpvet.wording.en.agreement.agreement import _item
from bpvet.wording.en.kidney.events import kidney_statements
from tests.models.kidney_records import CKD, creatinine, lab, with_labs


@pytest.mark.parametrize(("newest", "told"), [(256, True), (192, False), (130, False)])
def test_the_newest_value_is_told_where_its_stage_is_the_higher(newest: int, told: bool) -> None:
    """By the order of the stages, whatever they are called."""
    labs = [*creatinine([190, 192, 188, 191]), lab("2026-10-20", "creatinine", newest, "umol/L")]
    records = with_labs(labs, [CKD])
    staged = bpvet.kidney(records, "A1")
    assert staged.combined is not None
    names = ("an early one", "a second", "a third", "a late one")
    renamed = replace(staged, combined=dict(zip(names, staged.combined.values(), strict=True)))
    history = lab_history(records, "A1")
    kidneys = kidneys_of(history, records.as_of, (), courses(records, "A1"))
    for one in (staged, renamed):
        keys = {said.key for said in kidney_statements(kidneys, {}, one)}
        assert ("kidney.range" in keys) is told


@pytest.mark.parametrize(
    ("key", "item"),
    [
        ("within10", "share within 10 mmHg, at least 50 %† (62.0 %)"),
        ("bias", "size of the mean, at most 10† (62.0)"),
        ("published", "accepted by a refereed journal† (62.0)"),
    ],
)
def test_a_criterion_of_a_device_is_named_by_its_fact(key: str, item: str) -> None:
    (chosen,) = (one for one in device_criteria() if one.key == key)
    result = CriterionResult(
        key="any",
        words="any: words",
        bound=chosen.bound,
        value=Estimate(62.0),
        verdict=MET,
        settled=True,
        reason=None,
        fact_id=chosen.fact.id,
        remembered=chosen.fact.remembered,
    )
    assert _item(result) == item
