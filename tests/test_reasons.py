"""Reasons: each code has its words, each words a code that asks for them; decided on by code."""

from __future__ import annotations

import ast
import copy
import json
import pickle
from pathlib import Path

import pytest

import bpvet
from bpvet.reasons import reason
from bpvet.wording.en.reasons import REASONS

PACKAGE = Path(bpvet.__file__).parent
#: Codes that are put together from a model's own.
MADE = {
    *("effect.none_before", "effect.none_on"),
    *(f"agreement.term.{one}" for one in ("animal", "visit", "pair", "reading")),
    *(f"audit.allowed.{one}" for one in ("months", "treated", "condition")),
    *(f"cohort.between.{one}" for one in ("visit", "residual")),
    *(f"mixed.df.{rule}" for rule in ("satterthwaite", "kenward_roger", "residual")),
}


def _asked() -> set[str]:
    found = set()
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "from bpvet.reasons import" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Constant) and str(node.value) in REASONS:
                found.add(node.value)
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "reason":
                code = node.args[0]
                assert not isinstance(code, ast.Constant) or code.value in REASONS, path
    return found


def test_every_code_has_words_and_every_words_a_code() -> None:
    assert _asked() | MADE == set(REASONS)


def test_a_reason_is_its_words_and_keeps_its_code() -> None:
    one = reason("kidney.close", name="creatinine", days=14)
    assert one == "two creatinine values at least 14 days apart are needed"
    assert json.loads(json.dumps([one])) == [str(one)]
    for again in (pickle.loads(pickle.dumps(one)), copy.deepcopy(one)):
        assert (again, again.code) == (one, "kidney.close")
    with pytest.raises(KeyError):
        reason("kidney.close", name="creatinine")


def test_braces_in_records_are_data() -> None:
    assert "“{name} blood”" in reason("kidney.urine", text="{name} blood")
