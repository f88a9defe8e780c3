"""The table of windows: whose each is, and that its numbers are those of the fact it credits."""

from __future__ import annotations

import pytest

from bpvet.facts.categories import guidelines
from bpvet.facts.recheck import rows, states
from bpvet.facts.sources import PROJECT

#: As the safety page has them: earliest and latest day of each row, for the default guideline.
DAYS = {
    "sign_current": (0, 3),
    "low": (0, 1),
    "acute_kidney": (0, 1),
    "potassium": (0, 1),
    "kidney_reaction": (0, 1),
    "low_on_treatment.first": (1, 7),
    "low_on_treatment.again": (7, 28),
    "low_on_treatment.stands": (28, 56),
    "sign_unread": (3, 14),
    "sign_open.controlled_not": (7, 14),
    "sign_open.older": (7, 28),
    "changed": (7, 10),
    "severe": (7, 14),
    "severe.stands": (14, 42),
    "stopped": (14, 42),
    "above_target": (14, 28),
    "above_target.stands": (28, 56),
    "below_floor.first": (14, 42),
    "below_floor.again": (42, 90),
    "newest_high": (14, 42),
    "early": (28, 56),
    "at_risk.unsettled": (28, 60),
    "at_risk.likely": (60, 90),
    "unsettled.unlikely": (42, 90),
    "unsettled": (60, 120),
    "settled": (120, 180),
    "raised": (14, 28),
    "raised.confirmed": (14, 28),
    "raised.stands": (28, 90),
    "uncertain": (28, 56),
    "uncertain.often": (90, 180),
    "unjudged.at_risk": (28, 60),
    "unjudged.treated": (42, 90),
    "unjudged.high": (28, 56),
    "unjudged.perhaps": (90, 180),
    "screen_risk": (90, 180),
    "screen.11y": (180, 365),
    "screen.7_10y": (None, 365),
    "screen.3_6y": (None, 365),
    "screen.young": (None, 365),
    "screen.dog": (None, 365),
}


def test_every_row_has_its_window() -> None:
    found = {}
    for key, row in rows().items():
        window = row.window("acvim2018", "cat")
        found[key] = (window.earliest, window.latest)
    assert found == DAYS


def test_settled_is_by_guideline() -> None:
    row = rows()["settled"]
    each = {key: row.window(key, "cat") for key in guidelines()}
    assert {key: (one.earliest, one.latest) for key, one in each.items()} == {
        "acvim2018": (120, 180),
        "isfm2017": (60, 90),
        "iris2023": (60, 90),
    }
    assert row.at_most is not None
    assert (row.at_most.earliest, row.at_most.latest) == (90, 120)


@pytest.mark.parametrize("key", DAYS)
def test_what_is_credited_holds_the_last_day(key: str) -> None:
    for window in rows()[key].windows.values():
        if window.fact is None:
            assert (window.guideline, window.grade) == (PROJECT, "J")
        else:
            # A month of a source is 30 days; a year is written as 365.
            assert window.latest in (round(window.fact.days()), 365)
            assert window.fact.days() in (window.latest, 360)


def test_a_feline_interval_is_a_judgement_for_a_dog() -> None:
    window = rows()["screen_risk"].window("acvim2018", "dog")
    assert (window.guideline, window.latest, window.fact) == (PROJECT, 180, None)
    assert rows()["screen_risk"].window("acvim2018", "cat").guideline == "isfm2017"


def test_the_named_guideline_comes_first_and_the_others_beside() -> None:
    row = rows()["sign_current"]
    assert row.window("isfm2017", "cat").guideline == "isfm2017"
    assert row.window("iris2023", "cat").guideline == "acvim2018"
    assert [one.guideline for one in row.others("acvim2018", "cat")] == ["isfm2017"]
    assert row.others("acvim2018", "dog") == ()


def test_only_what_withholds_everything_wins_over_the_rest() -> None:
    winning = {row.state for row in rows().values() if row.kind == "all"}
    assert winning == {"sign_current", "low", "acute_kidney", "potassium", "kidney_reaction"}
    assert len(states()) == 23
