"""A fact that is told at two lengths is worded once: tile, line and caption take the short one."""

from __future__ import annotations

from functools import cache

import pytest

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.models.trend.trend import Trend
from bpvet.wording.en.pages.animal.brief import told_lines
from bpvet.wording.en.pages.animal.cards import TOPICS_OF_TILES, animal_cards
from bpvet.wording.en.pictures.trend import notes
from bpvet.wording.en.trend.short import short_statements
from bpvet.wording.en.trend.statements import TOPICS, statements_on
from tests.scenarios.told import FOLDERS, answered, expected, opened


@cache
def _all() -> tuple[tuple[TrendAnswer | UnseenAnswer, Trend | None], ...]:
    """The answer and the trend of each scenario, on its last date."""
    found = []
    for folder in FOLDERS:
        held = expected(folder)
        found.append(answered(opened(folder, held["at"][-1]["as_of"]), held["animal"]))
    return tuple(found)


def trends() -> list[tuple[TrendAnswer, Trend]]:
    """Those that have a trend."""
    return [
        (answer, trend)
        for answer, trend in _all()
        if isinstance(answer, TrendAnswer) and trend is not None
    ]


def test_what_a_tile_asks_for_exists_and_has_a_short_text() -> None:
    assert set(TOPICS_OF_TILES) <= set(TOPICS)
    met = set()
    for answer, trend in trends():
        told = [one for topic in TOPICS_OF_TILES for one in statements_on(answer, topic)[:1]]
        for one in told:
            assert one.lead, one
            assert one.short.endswith("."), one
            met.add(one.key)
        shown = [(one.lead, one.detail) for one in animal_cards(trend, answer)]
        assert shown[1:] == [(one.lead, one.short) for one in told]
    assert {"usual", "target.at", "target.above", "target.withheld", "recheck.none"} <= met


def test_a_line_on_a_drug_is_the_short_text_of_its_statement() -> None:
    seen = 0
    for answer, trend in trends():
        told = [one for one in statements_on(answer, "drugs") if one.topic == "drug"]
        assert len(told) == len(answer.treatments)
        lines = list(told_lines(trend, answer))
        for one, line in zip(told, lines, strict=False):
            assert line == (one.lead, one.short)
            assert one.lead.casefold().startswith(f"{one.tells[0][0].casefold()}: ")
            seen += 1
    assert seen > 5


@pytest.mark.parametrize("key", ["recheck.none", "target.withheld"])
def test_where_there_is_no_verdict_the_reason_is_told_in_full(key: str) -> None:
    told = [
        one
        for answer, _ in trends()
        for one in statements_on(answer, key.partition(".")[0])
        if one.key == key
    ]
    assert told
    assert [one.short for one in told] == [one.text for one in told]


def test_a_caption_takes_the_short_text_of_a_category_that_is_not_named() -> None:
    held = [
        (answer.category.withheld, trend, one)
        for answer, trend in trends()
        for one in statements_on(answer, "category")
        if one.key == "category.withheld"
    ]
    assert held
    for why, trend, one in held:
        assert one.short in list(notes(trend, why))


def test_the_line_on_the_next_visit_is_the_statement_of_the_answer() -> None:
    for answer, _ in _all():
        lines = {one.key: one.text for one in short_statements(answer)}
        told = [one.text for one in answer.statements if one.topic == "recheck"]
        assert not told or told[0].startswith(lines["short.recheck"])
