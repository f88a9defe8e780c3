"""Cautions by situation, and the facts behind their numbers."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.cautions import (
    SHOWN,
    SITUATIONS,
    cautions,
    cautions_for,
    licensed,
    parted,
)
from bpvet.wording.en.facts import AS_REMEMBERED


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
    assert licensed() in [caution.text for caution in plain]
    assert any("not a diagnosis" in caution.text for caution in plain)
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


def test_the_animals_state_comes_before_what_always_holds() -> None:
    order = [caution.applies == "always" for caution in cautions() if caution.id != "remembered"]
    assert order == sorted(order)


def test_no_caution_says_what_to_do_with_a_drug() -> None:
    for caution in cautions():
        assert not re.search(r"\b(start|stop|carry on|change a drug|continue)\b", caution.text)


def test_a_caution_says_that_licensed_practice_comes_first() -> None:
    said = licensed()
    assert "supports the judgement of a licensed veterinarian and does not replace it" in said
    assert "local codes and licensed practice come first" in said


TEXTS = tuple(caution.text for caution in cautions())


@given(st.sets(st.sampled_from(TEXTS)), st.integers(1, 9))
def test_parted_loses_nothing_but_the_footnote(chosen: set[str], most: int) -> None:
    texts = [text for text in TEXTS if text in chosen]
    first, rest = parted(texts, most)
    assert sorted((*first, *rest)) == sorted(text for text in texts if text != AS_REMEMBERED)
    assert len(first) <= most
    assert not rest or len(first) == most
    assert licensed() not in rest
    for part in (first, rest):
        assert list(part) == [text for text in texts if text in part]


def test_five_are_read_first() -> None:
    first, rest = parted(TEXTS)
    assert len(first) == SHOWN == 5
    assert first[-1] == licensed()
    assert len(rest) == len(TEXTS) - 6
