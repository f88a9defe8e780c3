"""Cautions by situation, and what is contested, with sources on every position."""

import pytest

from bpvet.errors import CallError
from bpvet.facts.cautions import SITUATIONS, cautions, cautions_for, matters


def test_every_caution_has_a_known_situation_and_every_situation_a_caution() -> None:
    assert {caution.applies for caution in cautions()} == set(SITUATIONS)
    ids = [caution.id for caution in cautions()]
    assert len(ids) == len(set(ids))
    for caution in cautions():
        assert caution.text.endswith(".")
        assert 20 < len(caution.text) < 220


def test_always_is_always_there() -> None:
    plain = cautions_for()
    assert {caution.applies for caution in plain} == {"always"}
    assert "no diagnosis" in plain[0].text
    assert any("Sudden blindness" in caution.text for caution in plain)


def test_situations_add_in_order() -> None:
    shown = cautions_for(["treated", "doppler"])
    ids = [caution.id for caution in shown]
    assert {"falls_without_drug", "no_dose", "doppler"} <= set(ids)
    assert "oscillometric" not in ids
    assert ids == [caution.id for caution in cautions() if caution.id in ids]
    assert cautions_for(SITUATIONS) == cautions()


def test_unknown_situation_is_refused() -> None:
    with pytest.raises(CallError, match="Unknown situation rainy"):
        cautions_for(["rainy"])


def test_numbers_of_cautions_are_their_facts() -> None:
    by_id = {caution.id: caution for caution in cautions()}
    assert [fact.low for fact in by_id["look_for_damage"].facts] == [160]
    # 17.6, 22.3 and 18.4 mmHg: about 18 to 22.
    rises = [round(fact.value or 0) for fact in by_id["situational"].facts]
    assert (min(rises), max(rises)) == (18, 22)
    placebo = by_id["falls_without_drug"].facts[0]
    assert (placebo.low, placebo.high) == (-11.6, -7.5)


def test_matters() -> None:
    assert len(matters()) == 15
    for matter in matters():
        assert matter.question.endswith("?")
        assert len(matter.positions) >= 2
        assert all(position.figure() for position in matter.positions)
    recheck = next(matter for matter in matters() if matter.id == "recheck_stable")
    assert [position.figure() for position in recheck.positions[:2]] == ["4–6 months", "3 months"]
