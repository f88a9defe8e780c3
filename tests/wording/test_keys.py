"""Every statement key is entered once, is worded once and is met; whatever is asked for exists."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

import bpvet
from bpvet.answers.agreement import agreement as agreement_answers
from bpvet.answers.audit import audit as audit_answers
from bpvet.models.kidney.joint_trends import JOINED
from bpvet.wording.en import letter
from bpvet.wording.en.pages.animal import brief, questions
from bpvet.wording.en.trend.short import short_statements
from bpvet.wording.en.trend.statements import TOPICS
from bpvet.wording.keys import KEYS, all_keys
from tests.scenarios.told import FOLDERS, answered, expected, opened

WORDING = Path(bpvet.__file__).parent / "wording"
#: Topics of one animal's answer and of its five lines: the scenarios are to meet their keys.
OF_ANIMAL = [*list(KEYS)[: list(KEYS).index("joint")], "short"]
#: Keys that no scenario meets, each with the test that does. The list is to grow shorter.
ELSEWHERE = {
    "companions.medians": "wording/test_met.py",
    "companions.tense": "wording/test_met.py",
    "context.cuff": "wording/test_met.py",
    "context.operator": "wording/test_met.py",
    "context.posture": "wording/test_met.py",
    "context.side": "wording/test_met.py",
    "context.site": "wording/test_met.py",
    "context.swings": "wording/test_met.py",
    "drug.lab": "wording/test_met.py",
    "drug.no_fall": "wording/test_met.py",
    "effect.assumption": "models/trend/test_learned.py",
    "effect.same_time": "models/trend/test_changes.py",
    "kidney.damage": "wording/test_kidney_words.py",
    "kidney.no_stage": "wording/test_kidney_words.py",
    "kidney.potassium": "wording/test_met.py",
    "kidney.rate": "models/kidney/test_rate.py",
    "recheck.raised": "wording/test_met.py",
    "slope.lab": "wording/test_met.py",
    "slope.rising": "wording/test_met.py",
}


def _worded() -> list[tuple[str, str]]:
    """Return the first argument of each `Statement` of the wording, and its module."""
    return [
        (ast.unparse(node.args[0]), path.name)
        for path in sorted(WORDING.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Statement"
    ]


@cache
def met() -> frozenset[str]:
    """Return the keys that the scenarios tell, on each of their dates."""
    found = set()
    for folder in FOLDERS:
        held = expected(folder)
        for at in held["at"]:
            answer, _ = answered(opened(folder, at["as_of"]), held["animal"])
            found |= {one.key for one in (*answer.statements, *short_statements(answer))}
    return frozenset(found)


def test_every_literal_key_is_entered_and_worded_in_one_module() -> None:
    homes: dict[str, set[str]] = {}
    for first, module in _worded():
        for key in re.findall(r"^'([^']+)'| '([a-z_.]+)'", first):
            homes.setdefault("".join(key), set()).add(module)
    assert set(homes) <= all_keys()
    assert {key: modules for key, modules in homes.items() if len(modules) > 1} == {}
    assert len(homes) > 60


def test_no_key_is_entered_twice() -> None:
    for topic, codes in KEYS.items():
        assert len(set(codes)) == len(codes), topic


def test_values_laid_beside_pressure_have_a_key_each() -> None:
    assert KEYS["joint"] == JOINED


def test_whatever_is_told_of_an_animal_is_entered() -> None:
    assert met() <= all_keys()


@pytest.mark.parametrize("topic", OF_ANIMAL)
def test_every_key_of_an_animal_is_met(topic: str) -> None:
    """A key that nothing tells is dead; one that is told must not stand among the others."""
    keys = {key for key in all_keys() if key.partition(".")[0] == topic}
    assert keys - met() == {key for key in ELSEWHERE if key.partition(".")[0] == topic}


@pytest.mark.parametrize("key", ELSEWHERE)
def test_what_no_scenario_meets_is_met_by_a_test(key: str) -> None:
    text = (Path(__file__).parents[1] / ELSEWHERE[key]).read_text(encoding="utf-8")
    assert f'"{key}"' in text or f"'{key}'" in text


def test_whatever_a_page_or_letter_asks_for_exists() -> None:
    asked = {
        *(*letter.FIRST, *letter.BEHIND, *letter._STANDS_OUT, *letter._LISTED, *letter._OWN_PLACE),
        *(*brief.TOPICS_OF_THREE, *brief.KIDNEY_LEADS),
        *(*agreement_answers.TOPICS, *audit_answers.TOPICS),
    }
    assert asked <= all_keys() | set(KEYS)
    assert set(questions.HEADINGS) <= set(TOPICS)
