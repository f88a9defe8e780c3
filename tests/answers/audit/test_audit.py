"""The sentences of an audit: told where they are clear, with a caution against judging people."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

import bpvet
from bpvet.answers.audit.audit import audit_answer
from bpvet.facts.cautions import cautions_for
from bpvet.records.example import write_example
from tests.answers.statements import assert_statements


def test_the_example_clinic(tmp_path: Path) -> None:
    write_example(tmp_path / "clinic")
    records = bpvet.read(tmp_path / "clinic", as_of="2026-11-01")
    answer = audit_answer(bpvet.audit(records))
    said = " ".join(answer.sentences)
    assert "the first reading is 4 mmHg higher than the rest on average" in said
    assert "no more uneven than chance would give" in said
    assert "in alphabetical order" in said
    assert "What would help most" in said
    assert "rested on one session or none" in said
    assert any("not for judging people" in one for one in answer.cautions)
    shown = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    assert shown["sessions"] == 207
    topics = {"basis.sessions", "precision.visit", "order.first", "digits.end", "cuffs.ratio"}
    assert_statements(shown, topics)
    assert sum(map(len, answer.sections.values())) == len(answer.statements)
    assert shown["operators"][0]["effects"][0]["operator"] == "BR"


def test_one_short_session_still_gets_sentences() -> None:
    rows = pd.DataFrame(
        {
            "animal": ["A1"] * 2,
            "taken_at": "2026-03-01",
            "method": "doppler",
            "systolic": [140, 144],
        }
    )
    known = pd.DataFrame({"animal": ["A1"], "species": ["cat"]})
    records = bpvet.Records.from_frames(rows, animals=known, as_of="2026-12-31")
    answer = audit_answer(bpvet.audit(records))
    said = " ".join(answer.sentences)
    assert "cannot be compared" in said
    assert "No pressure-acting drug was started or changed." in said
    json.dumps(answer.to_dict(), allow_nan=False)


def test_methods_are_warned_of_only_where_there_are_two() -> None:
    (caution,) = [one.text for one in cautions_for(["two_methods"]) if one.applies == "two_methods"]

    def cautions(*methods: str) -> tuple[str, ...]:
        rows = pd.DataFrame(
            {
                "animal": "A1",
                "taken_at": [f"2026-03-0{day}" for day, _ in enumerate(methods, 1)],
                "method": methods,
                "systolic": 140,
            }
        )
        known = pd.DataFrame({"animal": ["A1"], "species": ["cat"]})
        records = bpvet.Records.from_frames(rows, animals=known, as_of="2026-12-31")
        return audit_answer(bpvet.audit(records)).cautions

    assert caution not in cautions("doppler", "doppler")
    assert caution in cautions("doppler", "oscillometric")
