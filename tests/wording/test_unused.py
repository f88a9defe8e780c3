"""A treatment counts as told by what statements name, whatever their words are."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

from bpvet.answers.trend.result import TrendAnswer
from bpvet.models.safety.safety import Safety
from bpvet.wording.en.trend.unused import _drugs_unused
from tests.scenarios.told import answered, expected, opened

FOLDER = "heart_failure_on_four_drugs"


def test_a_drug_is_told_by_what_a_statement_names_and_not_by_its_words() -> None:
    held = expected(FOLDER)
    answer, trend = answered(opened(FOLDER, held["at"][0]["as_of"]), held["animal"])
    assert isinstance(answer, TrendAnswer)
    assert trend is not None
    quiet = cast(Safety, cast(Any, SimpleNamespace(lines=())))
    treatments = trend.context.treatments
    foreign = [replace(one, text="ǩ") for one in answer.statements]
    assert list(_drugs_unused(quiet, treatments, foreign)) == []
    nameless = [replace(one, tells=()) for one in answer.statements]
    assert len(list(_drugs_unused(quiet, treatments, nameless))) == len(treatments.spans) > 3
