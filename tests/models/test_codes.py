"""What is decided of bounds, fates, stages, damage and causes is decided by codes."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import bpvet
from bpvet.facts.words import Bound, Fate
from bpvet.models.kidney.result import DamageStatus
from bpvet.models.trend.plain_means import Cause
from bpvet.visits.choice import BOTH_BOUNDS, FATES
from tests.models.kidney_records import creatinine, with_labs

PACKAGE = Path(bpvet.__file__).parent
WORDS = {str(one) for one in (*Bound, *Fate, *DamageStatus, *Cause) if " " in str(one)}


def test_the_words_of_the_contract_are_their_values() -> None:
    assert tuple(map(str, Fate)) == FATES
    assert Bound.BOTH == BOTH_BOUNDS
    assert Bound("at most") is Bound.AT_MOST


def test_a_stage_is_above_by_its_rank_and_not_by_its_letters() -> None:
    found = bpvet.kidney(with_labs(creatinine([150, 152, 151, 149, 150])), "A1")
    assert found.combined
    names = list(found.combined)
    place = names.index(found.stage)
    assert [found.is_above(i + 1) for i in range(len(names))] == [
        i > place for i in range(len(names))
    ]
    # Letters would put a tenth stage before the second.
    many = replace(found, combined={f"stage {i}": float(i == 2) for i in range(1, 11)})
    assert many.is_above(10)
    assert replace(found, combined=None).is_above(1)


def _compared(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            found |= {
                str(one.value)
                for part in (node.left, *node.comparators)
                for one in ast.walk(part)
                if isinstance(one, ast.Constant)
            }
    return found


@pytest.mark.parametrize("layer", ["answers", "models/trend", "models/kidney", "models/safety"])
def test_no_words_are_compared(layer: str) -> None:
    held = {path.name: _compared(path) & WORDS for path in (PACKAGE / layer).rglob("*.py")}
    assert {name: words for name, words in held.items() if words} == {}
