"""Small records as a clinic writes them, and what must and must not be said of them, by code."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.answers.trend.unseen import UnseenAnswer
from tests.scenarios.told import FOLDERS, answered, expected, opened

CASES = [
    pytest.param(folder, place, id=f"{folder}-{one['as_of']}")
    for folder in FOLDERS
    for place, one in enumerate(expected(folder)["at"])
]


def _fits(key: str, asked: str) -> bool:
    """Whether a statement's key is the one asked for, or one of the topic asked for."""
    return key == asked or (asked not in ("category",) and key.startswith(f"{asked}."))


@pytest.mark.parametrize(("folder", "place"), CASES)
def test_what_is_said(folder, place):
    whole = expected(folder)
    asked = whole["at"][place]
    records = opened(folder, asked["as_of"])
    more = {name: whole[name] for name in ("quantity", "condition", "method") if name in whole}
    answer, _ = answered(records, whole["animal"], **more)
    assert isinstance(answer, UnseenAnswer) is whole.get("unseen", False)
    keys = [one.key for one in answer.statements]
    assert [one.rule for one in answer.urgent] == asked["rule"]
    for key in asked.get("must", ()):
        assert any(_fits(one, key) for one in keys), (key, keys)
    for key in asked.get("must_not", ()):
        assert not any(_fits(one, key) for one in keys), (key, keys)
    if "state" in asked:
        state = answer.recheck.state or "none"
        states = asked["state"] if isinstance(asked["state"], list) else [asked["state"]]
        assert state in states, answer.recheck.row
    if "row" in asked:
        assert answer.recheck.row == asked["row"]
    if "window" in asked:
        first, last = (np.datetime64(one) if one else None for one in asked["window"])
        assert (answer.recheck.earliest, answer.recheck.latest) == (first, last)
    if "ages" in asked:
        assert [one.age_days for one in answer.urgent] == asked["ages"]
    if asked.get("overdue"):
        assert answer.recheck.overdue_days > 0
    if "verdict" in asked:
        withheld = asked["verdict"] == "withheld"
        assert answer.target.verdict == (None if withheld else asked["verdict"])
        assert (answer.target.withheld is not None) is withheld
    if "treated" in asked:
        assert answer.treated is asked["treated"]
    if "band" in asked:
        (row,) = (row for row in bpvet.due(records).rows if row.animal == whole["animal"])
        assert row.band == asked["band"]
        assert row.read_first is asked.get("read_first", row.read_first)
    for text in asked.get("not_used", ()):
        assert any(text in one.text for one in answer.not_used)


def test_there_are_scenarios_enough():
    assert len(FOLDERS) >= 30
