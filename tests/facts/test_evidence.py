"""Figures that no user meets are kept beside the package, and contested matters with them."""

import pytest

from bpvet.facts.sources import TOPICS, fact, facts
from reference_checks.evidence.lookup import HOME, every, evidence, known, matters, topics


@pytest.mark.parametrize("topic", topics())
def test_evidence_is_sourced_and_no_fact_of_the_package(topic: str) -> None:
    held = evidence(topic)
    assert held
    own = {found.id for found in facts(topic)} if topic in TOPICS else set()
    assert not own & set(held)
    assert known(next(iter(held))).source


def test_both_are_found_and_what_is_in_neither_is_not() -> None:
    assert known("acvim2018.floor") is fact("acvim2018.floor")
    assert known("size.cat.practice.median").value == 150
    with pytest.raises(KeyError):
        known("size.rabbit")
    assert len(every()) == len(facts()) + sum(len(evidence(topic)) for topic in topics())


def test_matters() -> None:
    assert len(matters()) == 15
    for matter in matters():
        assert matter.question.endswith("?")
        assert len(matter.positions) >= 2
        assert all(position.figure() for position in matter.positions)
    recheck = next(matter for matter in matters() if matter.id == "recheck_stable")
    assert [position.figure() for position in recheck.positions[:2]] == ["4–6 months", "3 months"]


def test_no_dose_anywhere() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in HOME.glob("*.toml"))
    for word in ("mg/kg", "per kg", " mg ", "once a day", "twice daily"):
        assert word not in text
