"""Which readings count, and the in-room sum, by worked examples."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.sources import fact
from bpvet.visits.choice import (
    KINDS,
    Reading,
    fates,
    go_on_reasons,
    joint_bound,
    session_sum,
    still_falling,
)


def readings(*values: float) -> list[Reading]:
    return [Reading(float(value)) for value in values]


def test_three_taken_keep_the_first() -> None:
    # (165 + 158 + 160)/3 = 161; 16 + 9 + 1 = 26; SD = √13.
    found = session_sum(readings(165, 158, 160))
    assert (found.mean, found.ss, found.n_used, found.n_taken) == (161.0, 26.0, 3, 3)
    assert found.sd == pytest.approx(math.sqrt(13))
    assert found.cv == pytest.approx(math.sqrt(13) / 161)
    assert found.relative_range == pytest.approx(7 / 161)
    assert found.median == 160.0


def test_the_first_of_four_is_left_out_and_says_so() -> None:
    # (150 + 152 + 154)/3 = 152; the 190 before them does not count.
    found = session_sum(readings(190, 150, 152, 154))
    assert found.fates == ("left out", "used", "used", "used")
    assert found.reasons[0] == "the first of 4 taken: left out under rule guideline"
    assert (found.mean, found.ss) == (152.0, 8.0)
    everything = session_sum(readings(190, 150, 152, 154), rule="all")
    assert (everything.mean, everything.n_used) == (161.5, 4)


def test_taken_counts_readings_that_do_not_count() -> None:
    # Four were taken, though one was excluded and one gave no sound: the first goes.
    row = [Reading(150.0), Reading(140.0, excluded="moved"), Reading(None), Reading(144.0)]
    found = session_sum(row)
    assert found.fates == ("left out", "excluded", "no sound", "used")
    assert found.reasons[1:3] == ("moved", "no sound")
    assert (found.mean, found.sd) == (144.0, None)
    assert "no sound" in found.flags


def test_nothing_else_is_left_out_when_the_first_cannot_be_used() -> None:
    assert fates(["excluded", "number", "number", "number"]) == ("excluded", *("used",) * 3)
    assert fates(["set aside", "number", "number", "number"])[1:] == ("used",) * 3
    assert fates(["no sound", "bound", "number", "number"])[1] == "used"


def test_a_summary_row_is_never_left_out_but_its_readings_were_taken() -> None:
    assert fates(["summary"], counts=[5]) == ("used",)
    assert fates(["number", "summary"], counts=[1, 3]) == ("left out", "used")
    assert fates(["number", "summary"], counts=[1, 2]) == ("used", "used")


@given(st.lists(st.sampled_from(KINDS), max_size=9))
def test_rules_differ_in_the_first_at_most(kinds: list[str]) -> None:
    guideline, everything = fates(kinds), fates(kinds, "all")
    assert guideline[1:] == everything[1:]
    assert "left out" not in everything
    usable = bool(kinds) and kinds[0] in ("number", "bound")
    assert (guideline[:1] == ("left out",)) == (len(kinds) >= 4 and usable)


def test_bounds_are_used_at_their_value() -> None:
    # ("> 300" + 290)/2 = 295, and the mean is at least that.
    found = session_sum([Reading(300.0, "at least"), Reading(290.0)])
    assert (found.mean, found.bound) == (295.0, "at least")
    assert joint_bound(["at most", "", "at least"]) == "at least and at most"
    both = session_sum([Reading(300.0, "at least"), Reading(40.0, "at most")])
    assert both.bound == "at least and at most"
    assert any("both ends" in flag for flag in both.flags)
    plain = session_sum(readings(300, 290))
    assert any("ceiling" in flag for flag in plain.flags)
    assert not any("ceiling" in flag for flag in found.flags)


@pytest.mark.parametrize(
    ("values", "falling"),
    [
        ([180, 171, 174, 165], True),  # lowest last, 15 below the first
        ([180, 171, 165, 165], False),  # equal to one before
        ([175, 170, 165], False),  # by 10, not by more than 10
        ([175, 170, 164], True),
        ([160, 180, 155], False),  # lowest last, but 5 below the first
        ([180], False),
        ([], False),
    ],
)
def test_still_falling(values: list[float], falling: bool) -> None:
    assert still_falling(values) is falling


def test_falling_is_judged_on_used_readings() -> None:
    # 182 is left out; 160, 158, 159, 157 are level.
    assert not session_sum(readings(182, 160, 158, 159, 157)).falling
    assert session_sum(readings(182, 160, 158, 159, 157), rule="all").falling


def test_spread_beyond_20_per_cent() -> None:
    # Mean 150, SD 30: CV exactly 0.20 is consistent; 31 is not.
    assert not session_sum(readings(120, 150, 180)).inconsistent
    assert session_sum(readings(119, 150, 181)).inconsistent


def test_when_to_go_on() -> None:
    assert go_on_reasons(5, False, False) == ()
    assert [r.text for r in go_on_reasons(2, True, True)] == [
        "fewer than 3 readings used",
        "spread beyond 20 %",
        "still falling",
    ]
    assert [r.text for r in session_sum(readings(150, 151, 150)).go_on] == [
        "fewer than 5 readings used"
    ]
    # Six taken leave five used.
    assert session_sum(readings(160, 150, 151, 150, 149, 150)).go_on == ()


@pytest.mark.parametrize("n_used", [0, 4])
def test_reasons_rest_on_facts(n_used: int) -> None:
    for reason in go_on_reasons(n_used, True, True):
        assert fact(reason.fact_id).id == reason.fact_id


def test_nothing_to_sum() -> None:
    excluded = session_sum([Reading(150.0, excluded="growling")])
    assert (excluded.mean, excluded.sd, excluded.ss, excluded.median) == (None,) * 4
    assert excluded.flags == ("all readings excluded",)
    assert session_sum([Reading(None)]).flags == ("no reading used", "no sound")
    assert session_sum([]).n_taken == 0
    assert session_sum([Reading(1.0, set_aside="not plausible")]).reasons == ("not plausible",)


def test_unknown_rule_is_refused() -> None:
    with pytest.raises(CallError, match="guideline or all"):
        fates(["number"], "median")


def test_the_room_starts_without_numpy_or_pandas() -> None:
    code = "import sys, json, bpvet.visits.choice; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    loaded = json.loads(done.stdout)
    assert not {"numpy", "pandas", "scipy"} & set(loaded)
