"""The sentences of the situational effect: which way, how surely, and on what it rests."""

from __future__ import annotations

from bpvet.models.agreement.situation import situation, situations
from bpvet.wording.en.agreement.situation import situation_sentences, situational_sentences
from tests.models.agreement.test_situation import clinic


def test_a_clear_difference_is_told() -> None:
    overall, between, basis = situation_sentences(situation(clinic()))
    assert overall.startswith("By Doppler, systolic pressure reads ")
    assert "mmHg lower at home than in the clinic on average" in overall
    assert "between animals about that mean with an SD of" in between
    assert "eight animals with 24 sessions in the clinic and 24 sessions at home" in basis
    assert "described, not explained" in basis


def test_an_unclear_one_is_not() -> None:
    overall = situation_sentences(situation(clinic(animals=2, effect=0.0)))[0]
    assert overall.startswith("It is not clear whether systolic pressure differs at home:")
    assert "but the difference is uncertain (95 % interval" in overall


def test_a_condition_without_sessions_says_why() -> None:
    home, calmed = situations(clinic())
    assert home.found is not None
    assert calmed.found is None
    (said,) = situational_sentences(calmed)
    assert said.startswith("How pressure differs after a calming drug is not known. A comparison")
    assert "at least two animals" in said
    assert calmed.to_dict()["overall"] is None
    assert home.to_dict()["reason"] is None
