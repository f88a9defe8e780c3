"""The picture of a trend: where its band is doubted, what lies across it, and what is lettered."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.models.trend.outlook import surprise
from bpvet.pictures.answered import answered_picture
from bpvet.pictures.trend import trend_picture
from bpvet.wording.en.trend.statements import sentence
from tests.models.small_records import records, rows


def _every(days: int, means: list[float], start: str = "2025-01-06") -> list[tuple[str, list[int]]]:
    """Return a session of three readings about each mean, so many days apart."""
    first = np.datetime64(start)
    return [
        (str(first + np.timedelta64(days * i, "D")), [int(mean) - 3, int(mean), int(mean) + 3])
        for i, mean in enumerate(means)
    ]


def _picture(sessions: list[tuple[str, list[int]]], **animal: str) -> bpvet.Trend:
    return bpvet.fit_trend(records(rows(sessions), **animal), "A1")


def test_a_band_is_hatched_across_a_gap_of_more_than_180_days_and_nowhere_else() -> None:
    before, after = _every(30, [150, 154, 149]), _every(30, [152, 150], "2025-12-01")
    picture = trend_picture(_picture(before + after))
    band = picture.panels[0].band
    assert band is not None
    last, first = np.datetime64(before[-1][0]), np.datetime64(after[0][0])
    hatched = band.date[band.doubtful]
    assert (hatched[0], hatched[-1]) == (last, first)
    assert "more than 180 days: 7 March 2025 to 1 December 2025" in picture.caption


@pytest.mark.parametrize(("days", "hatched"), [(180, False), (181, True)])
def test_180_days_are_no_gap_yet(days: int, hatched: bool) -> None:
    band = trend_picture(_picture(_every(days, [150, 152]))).panels[0].band
    assert band is not None
    assert bool(band.doubtful.any()) == hatched


def test_a_band_that_most_sessions_miss_is_hatched_and_says_so() -> None:
    swinging = _every(30, [110, 210] * 5)
    picture = trend_picture(_picture(swinging))
    band = picture.panels[0].band
    assert band is not None
    assert band.doubtful.all()
    assert "10 of 10 sessions lie outside" in picture.caption
    steady = trend_picture(_picture(_every(30, [150, 158, 147, 155, 149, 160, 152, 146])))
    band = steady.panels[0].band
    assert band is not None
    assert not band.doubtful.any()


def test_no_line_runs_through_a_bound() -> None:
    held = _every(30, [250, 255, 260, 250, 240])
    readings = rows(held)
    for row in readings:
        if row["taken_at"].startswith(held[2][0]):
            row["systolic"] = ">300"
    trend = bpvet.fit_trend(records(readings), "A1")
    picture = trend_picture(trend)
    band = picture.panels[0].band
    assert band is not None
    broken = band.date[band.unjoined]
    assert [str(broken[0]), str(broken[-1])] == [held[1][0], held[3][0]]
    assert picture.panels[0].sessions.label[2] == "at least 300"


def test_what_lies_below_the_floor_is_called_so_and_never_normotensive() -> None:
    panel = trend_picture(_picture(_every(30, [150, 120, 85]))).panels[0]
    (low,) = [level for level in panel.levels if level.low < 85 < level.high]
    assert low.name.startswith("below the floor, 120")
    assert panel.floor is not None
    assert panel.floor.value == 120
    assert {level.low for level in panel.levels if level.name == "normotensive"} == {120}


def test_an_animals_own_target_is_drawn_even_without_a_drug() -> None:
    shown = trend_picture(_picture(_every(30, [150, 152]), target_systolic="145")).panels[0].target
    assert shown is not None
    assert shown.value == 145
    assert shown.words == "target 145, set for this animal"
    assert trend_picture(_picture(_every(30, [150, 152]))).panels[0].target is None


def test_bounds_of_a_home_series_lie_as_much_lower_as_it_is_judged() -> None:
    home = rows(_every(30, [140, 138, 141]), setting="home")
    panel = trend_picture(bpvet.fit_trend(records(home), "A1")).panels[0]
    assert panel.floor is not None
    assert panel.floor.value == 105
    assert "here 105" in panel.floor.words
    assert {level.high for level in panel.levels} >= {125, 145, 165}
    assert "15 mmHg lower" in panel.note


def test_the_newest_value_is_lettered_and_told_with_its_age() -> None:
    picture = answered_picture(_picture(_every(30, [150, 152, 161])))
    assert picture.panels[0].sessions.label[-1] == "161"
    assert picture.newest.startswith("Newest: 161 mmHg on 7 March 2025 (")
    assert picture.newest in picture.alt_text
    assert picture.window is not None
    assert picture.window.words.startswith("was due")


def test_a_bridged_series_is_judged_against_the_trend_that_is_drawn() -> None:
    """The newest session decides the scale; leaving it out must not turn home into clinic."""
    clinic = _every(40, [160, 158, 162, 159, 161])
    newest = (str(np.datetime64(clinic[-1][0]) + np.timedelta64(20, "D")), [130, 133, 136])
    for earlier_home in ([], [("2025-04-20", [134, 136, 138])]):
        readings = rows(clinic) + rows([*earlier_home, newest], setting="home")
        trend = bpvet.fit_trend(records(readings), "A1", bridge=("conditions",))
        found = surprise(trend)
        assert found is not None
        # Home is expected 15 below the clinic; what was expected of the clinic lies near 160.
        assert float(found.expected.mean) < 152
        assert found.tail > 0.2
        own = float(trend.latest.mean)
        assert abs(float(found.expected.mean) - own) < 17


def test_a_join_that_only_the_newest_session_shows_is_as_uncertain_as_its_prior() -> None:
    clinic = _every(40, [160, 158, 162, 159, 161])
    day = np.datetime64(clinic[-1][0]) + np.timedelta64(20, "D")
    newest = (str(day), [130, 133, 136])
    alone = surprise(bpvet.fit_trend(records(rows([*clinic, newest])), "A1"))
    readings = rows(clinic) + rows([newest], setting="home")
    joined = surprise(bpvet.fit_trend(records(readings), "A1", bridge=("conditions",)))
    assert alone is not None
    assert joined is not None
    # Those at home have no first-visit term; what is left of it after five visits is small.
    assert float(joined.expected.mean) == pytest.approx(float(alone.expected.mean) - 15, abs=0.5)
    wanted = np.hypot(float(alone.expected.sd), 15)
    assert float(joined.expected.sd) == pytest.approx(wanted, rel=0.02)


def test_the_first_sentence_names_the_other_method_of_the_newest_date_with_its_count() -> None:
    doppler = _every(30, [150, 152, 149])
    other = [(doppler[-1][0], [166, 170, 168])]
    trend = bpvet.fit_trend(records(rows(doppler) + rows(other, method="oscillometric")), "A1")
    first = sentence(trend.answer(), "usual").split(". ")[0]
    assert first.startswith("By Doppler")
    alone = bpvet.fit_trend(trend.records, "A1", "oscillometric")
    assert first.endswith(f"; one oscillometric session says {float(alone.latest.mean):.0f}")
    # Where the other method's newest session is older, the first sentence says nothing of it.
    before = rows(doppler) + rows([(doppler[0][0], [166, 170, 168])], method="oscillometric")
    told = sentence(bpvet.fit_trend(records(before), "A1").answer(), "usual")
    assert "oscillometric" not in told.split(". ")[0]
