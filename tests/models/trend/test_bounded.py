"""Trends of animals with readings beyond the gauge: dense references, and what is told of them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.further_visits import further
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.learning import _one_each
from bpvet.models.trend.outlook import share_at_target, surprise
from bpvet.visits.series import rounding_step
from reference_checks.bounds.check import ALLOWED, answers, apart
from tests.models.small_records import drug, records, rows, steady

HERE = Path(__file__).parents[3] / "reference_checks" / "bounds"
DATES = ("2026-01-06", "2026-02-03", "2026-04-20")
HELD = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
BARE = [(DATES[0], ["> 300"] * 4), (DATES[1], ["> 300", "> 300", "> 300", 298])]
MIXED = [
    (DATES[0], [241, 249, 245]),
    (DATES[1], [268, 259, 263, 270]),
    (DATES[2], [290, 291, 296, "> 300"]),
]


def trend(sessions: list[tuple[str, list[Any]]], **more: Any) -> bpvet.Trend:
    return bpvet.fit_trend(records(rows(sessions)), "A1", **more)


KEY = ("doppler", "clinic", "systolic")


def two_animals(readings: list[dict[str, Any]]) -> dict[Any, bpvet.Trend]:
    animals = [{"animal": name, "species": "cat"} for name in ("A1", "B1")]
    held = bpvet.Records.from_frames(
        pd.DataFrame(readings), animals=pd.DataFrame(animals), as_of="2026-11-01"
    )
    return bpvet.fit_trends(held)


@pytest.mark.parametrize("name", ["bounds_mixed_in_the_newest", "bounds_in_an_older_session"])
@pytest.mark.parametrize("variant", ["without_course", "with_course"])
def test_dense_references_at_fixed_sds(name, variant):
    case = json.loads((HERE / f"{name}.json").read_text())
    courses = case["course_of_the_second_variant"] if variant == "with_course" else []
    worst = apart(
        answers({**case, "courses": courses}), case["answers_with_fixed_parameters"][variant]
    )
    assert all(worst[key] <= ALLOWED[key] for key in ALLOWED), worst


@pytest.mark.parametrize(
    "name",
    [
        "mixed_in_the_newest",
        "low_reading_sd_treated",
        "fixed_nothing_but_bounds",
        # Where two sessions hold no number, a rough integral is further off than is allowed.
        "nothing_but_bounds",
        "two_without_a_number_then_treated",
    ],
)
def test_plain_grids(name):
    cases = {one["name"]: one for one in json.loads((HERE / "cases.json").read_text())}
    held = json.loads((HERE / "answers.json").read_text())[name]
    worst = apart(answers(cases[name]), held)
    assert all(worst[key] <= ALLOWED[key] for key in ALLOWED), worst


def test_a_bound_is_more_than_its_number_and_moves_nobody_else():
    as_number = [*MIXED[:2], (DATES[2], [290, 291, 296, 300])]
    higher = bpvet.fit_trend(records(rows(MIXED)), "A1", fixed=HELD, rule="all")
    number = bpvet.fit_trend(records(rows(as_number)), "A1", fixed=HELD, rule="all")
    assert higher.series.bounded
    assert not number.series.bounded
    priors = replace(Priors.default("cat", "doppler"), groups=None, level=(195.0, 50.0))
    one, two = (bpvet.fit_trend(held.records, "A1", fixed=HELD, priors=priors, rule="all")
                for held in (higher, number))  # fmt: skip
    assert float(one.latest.mean) > float(two.latest.mean)
    # One normal where a caller gives one level.
    assert len(one.columns.forms) == 1
    clinic = two_animals([*rows(MIXED), *rows(steady(150, DATES), animal="B1")])
    alone = two_animals(rows(steady(150, DATES), animal="B1"))["B1", *KEY]
    together = clinic["B1", *KEY]
    assert float(together.latest.mean) == pytest.approx(float(alone.latest.mean), abs=1e-9)
    own = trend(MIXED)
    found = clinic["A1", *KEY]
    assert float(found.latest.sd) == pytest.approx(float(own.latest.sd), abs=1e-9)


def test_levels_of_an_untreated_animal_and_groups_of_a_treated_one():
    forms = trend(MIXED, fixed=HELD).columns.forms
    assert [one.weight for one in forms] == pytest.approx([0.6, 0.4])
    assert [(one.mean[0], one.sd[0]) for one in forms] == [(130.0, 16.0), (195.0, 50.0)]
    treated = bpvet.fit_trend(records(rows(MIXED), [drug("2026-02-03")]), "A1", fixed=HELD)
    assert len(treated.columns.forms) == 3
    assert not treated.columns.bounded
    # Without a bound, one normal as ever.
    plain = trend([*steady(150, DATES)], fixed=HELD)
    assert len(columns_of(plain.series, plain.priors).forms) == 1


def test_low_bounds_go_the_other_way():
    low = trend([(DATES[0], [70, 72, 68]), (DATES[1], ["< 60", "< 60", "< 60"])], fixed=HELD)
    number = trend([(DATES[0], [70, 72, 68]), (DATES[1], [60, 60, 60])], fixed=HELD)
    below, at = float(low.latest.below(60)), float(number.latest.below(60))
    assert low.series.share_beyond == (0.0, 0.5)
    assert low.one_sided == ""
    assert below > 0.3 > at  # nothing pulls a bound back to its number


def test_one_end_where_most_readings_lie_beyond():
    held = trend(BARE, fixed=HELD, rule="all")
    assert held.one_sided == "at least"
    answer = held.answer()
    told = answer.to_dict()
    low = float(held.latest.interval(0.95)[0])
    assert told["latest"]["lower"] == pytest.approx(low)
    for name in ("estimate", "upper", "sd"):
        assert told["latest"][name] is None
    assert told["next_session"]["mean"] is None
    assert "beyond the gauge" in told["latest"]["reason"]
    usual = next(one.text for one in answer.statements if one.key == "usual")
    assert f"at least {low:.0f} mmHg" in usual
    assert "95 % interval" not in usual
    for one in answer.statements:
        bare = one.text.replace("at least 300", "").replace("> 300", "")
        assert "300" not in bare, one.text
    assert repr(held).count("at least") == 1


def test_companions_leave_such_sessions_out_and_say_so():
    held = bpvet.fit_trend(
        records(rows([("2026-01-01", ["> 300", "> 300"]), *MIXED[:2], (DATES[2], [200, 210, 205])]),
                [drug("2026-02-10")]),
        "A1",
        fixed=HELD,
    )  # fmt: skip
    spell = held.treatments[0]
    # The first session has no mean; the first of four readings is left out.
    assert spell.before_mean == pytest.approx((245 + 264) / 2)
    answer = held.answer()
    assert answer.variability.sessions == int(held.series.plain.sum())
    assert answer.surprise.bound == ""
    assert share_at_target(held, 160.0).left_out == 1
    assert answer.companions.bounded == 1
    assert any("leave out the one session with one" in one for one in answer.assumptions)


def test_the_newest_session_beyond_the_gauge_is_judged_on_its_side():
    found = surprise(trend([*steady(150, DATES[:2]), (DATES[2], ["> 250"] * 3)], fixed=HELD))
    assert found is not None
    assert found.bound == "at least"
    assert found.tail < 0.01
    assert found.tails[1] == 1.0
    low = surprise(trend([*steady(250, DATES[:2]), (DATES[2], ["> 180"] * 3)], fixed=HELD))
    assert low is not None
    assert low.tail == 1.0  # "> 180" is no surprise where 250 was expected


def test_further_visits_can_be_planned_for_such_an_animal():
    held = trend(MIXED, fixed=HELD, rule="all")
    found = further(held, visits=3)
    assert 0 < found.usual.half_width < float(held.latest.sd) * 2
    plain = held.posterior.plain
    assert plain.combination(held.columns.unit("level")).mean == pytest.approx(
        float(held.level.mean), abs=3.0
    )


def test_identical_readings_are_known_to_a_step_only():
    same = [(date, [151, 151, 151]) for date in DATES]
    even = [(date, [150, 150, 150]) for date in DATES]
    mixed = [*same[:2], (DATES[2], [151, 152, 151])]
    single = [(date, [151]) for date in DATES]
    steps = [rounding_step(trend(one, fixed=HELD).series) for one in (same, even, mixed, single)]
    assert steps == [1.0, 2.0, 0.0, 0.0]
    held = trend(even, fixed=HELD)
    raw = held.posterior.usual(held.columns.rows(np.zeros(1)), np.zeros(1)).first()
    assert float(held.latest.sd) ** 2 == pytest.approx(float(raw.sd) ** 2 + 4 / 12, abs=1e-9)
    ahead = held.next_session("2026-06-01")
    day = np.array([42.0])
    rows_ = held.columns.rows(day, visit=3)
    plain = held.posterior.session(rows_, day, np.array([5.0])).first()
    assert float(ahead.sd) ** 2 == pytest.approx(float(plain.sd) ** 2 + 4 / 12, abs=1e-9)
    assert float(held.slope.sd) == float(held.posterior.combination(held.columns.unit("slope")).sd)


def test_priors_are_not_learned_from_such_an_animal():
    held = trend(MIXED, fixed=HELD).series
    plain = trend(steady(150, DATES), fixed=HELD).series
    assert _one_each([held, plain], "cat", "doppler", "systolic") == [plain]
    assert _one_each([held], "cat", "doppler", "systolic") == []


def test_equal_readings_before_readings_beyond_the_gauge_are_fitted() -> None:
    """Without scatter within sessions the search for the reading SD begins where it can end."""
    sessions = [
        (f"2026-{1 + i // 2:02}-{1 + 14 * (i % 2):02}", [v] * 3)
        for i, v in enumerate((150, 152, 149, 158, 161, 190))
    ]
    sessions += [("2026-04-01", ["> 300"] * 3), ("2026-04-15", ["> 300"] * 3)]
    usual = trend(sessions).latest
    assert 180 < usual.mean < 330
    assert usual.sd > 20
