"""A letter takes its statements by key, and each as it stands in its place."""

from __future__ import annotations

from bpvet.wording.en.letter import letter_words
from tests.scenarios.told import answered, opened


def test_under_its_heading_an_urgent_line_is_not_called_urgent_again() -> None:
    answer, _ = answered(opened("labs_without_pressure", "2026-05-09"), "N24")
    words = letter_words(answer)
    assert words.urgent
    assert words.urgent == tuple(f"Urgent: {text}" for text in words.alarms)
    assert words.alarms == tuple(one.text for one in answer.urgent)
