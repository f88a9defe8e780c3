"""What could not be counted stands before any number on an animal's page, and in its letter."""

from __future__ import annotations

from pathlib import Path

import bpvet
from bpvet.reports.animal.sections import now
from bpvet.reports.letter.signs import eyes_line
from bpvet.reports.letter.source import Source

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def _records(folder: str) -> bpvet.Records:
    return bpvet.read(SCENARIOS / folder, as_of="2026-11-30")


def test_a_day_without_a_usable_reading_stands_before_the_newest_number():
    trend = bpvet.fit_trend(_records("could_not_be_measured"), "F71")
    head = now(trend, trend.answer())
    for told in (head.html, head.text):
        assert told.index("20 November 2026 three readings") < told.index("Newest")


def test_rows_under_another_id_stand_there_too():
    trend = bpvet.fit_trend(_records("id_typed_otherwise"), "Pansy")
    assert "“Pansi”" in now(trend, trend.answer()).html


def test_the_letter_does_not_say_that_nothing_mentions_the_eyes():
    trend = bpvet.fit_trend(_records("could_not_be_measured"), "F71")
    assert "may speak of the eyes" in eyes_line(Source.of_trend(trend))
