"""Findings in an answer's JSON are what `check` says of them: the words, and no codes."""

from __future__ import annotations

import bpvet
from tests.models.small_records import records, rows, steady


def test_findings_of_the_records_stand_in_words() -> None:
    dates = ["2026-03-01", "2026-04-01", "2026-05-01"]
    sessions = [*steady(150, dates), ("2026-05-08", [255.0, 256.0])]
    held = records(rows(sessions))
    (found,) = (one for one in held.findings if one.kind == "unusual value" and one.value == "255")
    answer = bpvet.trend_answer(bpvet.fit_trend(held, "A1"))
    told = answer.to_dict()["findings"]
    assert found.to_dict() in told
    assert set(told[0]) == {"file", "line", "column", "value", "reason", "mend", "stops", "kind"}
