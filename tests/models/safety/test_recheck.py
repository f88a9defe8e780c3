"""When again: one window and one state for every standing, never later where more care is due."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.facts.categories import guidelines
from bpvet.facts.recheck import rows, states
from bpvet.models.safety.recheck import Recheck, Standing, fitting, recheck
from tests.models.standings import (
    AS_OF,
    DAY,
    LATEST,
    PLAIN,
    PRESSURES,
    SHARES,
    TAILS,
    TREATED,
    line,
    standings,
)

GUIDELINES = st.sampled_from(sorted(guidelines()))
#: Rows in which the vet's decision stands: seen often enough, and of no new height or depth.
STANDS = tuple(key for key in rows() if key.endswith(".stands"))


def _row(standing: Standing, guideline: str = "acvim2018") -> str:
    found = recheck(standing, guideline)
    assert found is not None
    return found.row.key


def _never_later(less: Standing, more: Standing, guideline: str) -> None:
    """Assert that the standing that asks for more care is not given the later window."""
    first, second = recheck(less, guideline), recheck(more, guideline)
    if first is None:
        return
    assert second is not None
    if _stands(second):
        return
    assert second.latest <= first.latest, (first.row.key, second.row.key)


def _stands(found: Recheck) -> bool:
    return found.row.key in STANDS


@given(standing=standings(), guideline=GUIDELINES)
def test_every_standing_has_one_window_and_one_state(standing, guideline):
    found = recheck(standing, guideline)
    keys = [key for key, _ in fitting(standing)]
    if standing.left:
        assert found is None
        return
    if found is None:
        # Only of a species without facts, and only where it has no sign.
        assert standing.written
        assert not keys
        return
    assert found.row.state in states()
    assert found.row.key in keys
    assert len(set(keys)) == len(keys)
    assert found.latest >= found.counted_from
    assert np.isnat(found.earliest) or found.earliest <= found.latest
    assert found.overdue_days == max(0, int((standing.as_of - found.latest) / DAY))
    # What withholds everything wins; else nothing that fits ends sooner.
    holding = [key for key in keys if rows()[key].kind == "all"]
    if holding:
        assert found.row.key in holding
    for row in (rows()[key] for key in keys):
        assert standing.judged or standing.written or row.unjudged or row.kind == "unjudged"


@given(standing=standings(left=False), guideline=GUIDELINES)
def test_exactly_one_of_the_rows_that_are_first_match(standing, guideline):
    if standing.written:
        return
    kinds = [rows()[key].kind for key, _ in fitting(standing)]
    assert sum(kind in ("treated", "untreated", "unjudged") for kind in kinds) == 1


@given(
    standing=standings(left=False),
    step=st.sampled_from(PRESSURES),
    tail=st.sampled_from([0.0, 0.0499, 0.05, 1.0]),
    guideline=GUIDELINES,
)
def test_a_higher_latest_is_never_later(standing, step, tail, guideline):
    if standing.highest is None or step < standing.highest:
        return
    upper = None if standing.upper_tail is None else min(tail, standing.upper_tail)
    _never_later(standing, replace(standing, highest=step, upper_tail=upper), guideline)


@given(standing=standings(left=False), p=st.sampled_from(SHARES), guideline=GUIDELINES)
def test_a_lower_probability_of_being_at_target_is_never_later(standing, p, guideline):
    if standing.p_target is not None and p <= standing.p_target:
        _never_later(standing, replace(standing, p_target=p), guideline)


@given(
    standing=standings(left=False),
    name=st.sampled_from(["p_160", "p_raised", "p_180", "p_below_floor"]),
    p=st.sampled_from(SHARES),
    guideline=GUIDELINES,
)
def test_a_higher_probability_of_high_or_low_is_never_later(standing, name, p, guideline):
    own = getattr(standing, name)
    if own is not None and p >= own:
        _never_later(standing, replace(standing, **{name: p}), guideline)


@given(
    standing=standings(left=False),
    at_risk=st.sampled_from([("stage",), ("protein", "weight")]),
    guideline=GUIDELINES,
)
def test_a_worse_stage_is_never_later(standing, at_risk, guideline):
    more = replace(standing, at_risk=(*standing.at_risk, *at_risk))
    _never_later(standing, more, guideline)
    _never_later(standing, replace(standing, risks=(*standing.risks, "kidney")), guideline)


@given(
    standing=standings(left=False),
    day=st.integers(0, 90),
    older=st.integers(0, 90),
    guideline=GUIDELINES,
)
def test_an_older_unanswered_sign_is_never_later(standing, day, older, guideline):
    first, second = sorted((day, older))
    held = tuple(one for one in standing.urgent if one.rule != "sign_open")
    newer = replace(
        standing, urgent=(*held, line("sign_open", first)), sign_open_on=AS_OF - first * DAY
    )
    _never_later(
        newer,
        replace(
            newer, urgent=(*held, line("sign_open", second)), sign_open_on=AS_OF - second * DAY
        ),
        guideline,
    )
    without = replace(standing, urgent=held, sign_open_on=None)
    _never_later(without, newer, guideline)


@given(standing=standings(left=False), day=st.integers(0, 90), guideline=GUIDELINES)
def test_an_unread_sign_is_never_later(standing, day, guideline):
    held = tuple(one for one in standing.urgent if one.rule != "sign_unread")
    without = replace(standing, urgent=held)
    _never_later(without, replace(without, urgent=(*held, line("sign_unread", day))), guideline)


@pytest.mark.parametrize(
    ("p", "row"),
    [
        (0.9, "settled"),
        (0.8999, "unsettled"),
        (0.75, "unsettled"),
        (0.7499, "unsettled.unlikely"),
        (0.5, "unsettled.unlikely"),
        (0.4999, "above_target"),
    ],
)
def test_each_bound_of_p(p, row):
    assert _row(replace(TREATED, p_target=p)) == row


@pytest.mark.parametrize(
    ("p", "row"),
    [(0.75, "at_risk.likely"), (0.7499, "at_risk.unsettled"), (None, "at_risk.unsettled")],
)
def test_each_bound_of_p_at_risk(p, row):
    assert _row(replace(TREATED, p_target=p, at_risk=("stage",))) == row
    # Nothing on record yet comes before any risk.
    early = replace(TREATED, p_target=0.95, at_risk=("stage",), since=1)
    assert _row(early) == "early"
    assert _row(replace(early, since=2)) == "at_risk.likely"


def test_half_a_chance_of_lying_below_the_floor_is_not_settled():
    assert _row(replace(TREATED, p_below_floor=0.4999)) == "settled"
    assert _row(replace(TREATED, p_below_floor=0.5)) == "unsettled"
    assert _row(replace(TREATED, away=True)) == "unsettled"


def test_unsettled_is_never_later_than_settled_of_the_same_guideline():
    for guideline in guidelines():
        for unknown in (False, True):
            held = replace(TREATED, kidneys_unknown=unknown)
            first = recheck(held, guideline)
            second = recheck(replace(held, p_target=0.8), guideline)
            assert (first.row.key, second.row.key) == ("settled", "unsettled")
            assert second.latest <= first.latest
    unknown = recheck(replace(TREATED, kidneys_unknown=True), "acvim2018")
    assert (unknown.latest - LATEST, unknown.kidneys_held) == (120 * DAY, True)
    short = recheck(replace(TREATED, kidneys_unknown=True), "iris2023")
    assert (short.latest - LATEST, short.kidneys_held) == (90 * DAY, False)


@pytest.mark.parametrize(
    ("q", "r", "raised_dates", "dates_160", "row"),
    [
        (0.0999, 0.4999, 0, 0, "screen.11y"),
        (0.1, 0.1, 0, 0, "uncertain"),
        (0.0999, 0.5, 2, 0, "uncertain"),
        (0.0999, 0.5, 3, 0, "uncertain.often"),
        (0.2499, 0.6, 3, 1, "uncertain.often"),
        (0.25, 0.6, 3, 1, "uncertain"),
        (0.25, 0.6, 4, 1, "uncertain.often"),
        (0.4999, 0.6, 3, 1, "uncertain"),
        (0.5, 0.9, 9, 1, "raised"),
        (0.5, 0.9, 9, 2, "raised.confirmed"),
        (0.5, 0.9, 9, 3, "raised.confirmed"),
        (0.5, 0.9, 9, 4, "raised.stands"),
    ],
)
def test_each_bound_without_a_drug(q, r, raised_dates, dates_160, row):
    held = replace(PLAIN, p_160=q, p_raised=r, raised_dates=raised_dates, dates_160=dates_160)
    assert _row(held) == row


@pytest.mark.parametrize(
    ("highest", "p_180", "dates", "tail", "row"),
    [
        (179.9, 0.4999, 9, 0.0, "newest_high"),
        (180.0, 0.0, 1, 0.5, "severe"),
        (130.0, 0.5, 1, 0.5, "severe"),
        (180.0, 0.0, 3, 0.5, "severe"),
        (180.0, 0.0, 4, 0.05, "severe.stands"),
        (180.0, 0.0, 4, 0.0499, "severe"),
    ],
)
def test_each_bound_of_severe(highest, p_180, dates, tail, row):
    held = replace(PLAIN, highest=highest, p_180=p_180, severe_dates=dates, upper_tail=tail)
    assert _row(held) == row


@pytest.mark.parametrize(
    ("dates", "tail", "row"),
    [(3, 0.5, "above_target"), (4, 0.05, "above_target.stands"), (4, 0.0499, "above_target")],
)
def test_above_target_four_times_stands(dates, tail, row):
    assert _row(replace(TREATED, p_target=0.2, above_dates=dates, upper_tail=tail)) == row


@pytest.mark.parametrize(
    ("dates", "tail", "row"),
    [
        (0, 0.5, "low_on_treatment.first"),
        (1, 0.5, "low_on_treatment.first"),
        (2, 0.5, "low_on_treatment.again"),
        (3, 0.5, "low_on_treatment.again"),
        (4, 0.05, "low_on_treatment.stands"),
        (4, 0.0499, "low_on_treatment.first"),
    ],
)
def test_low_on_treatment_four_times_stands(dates, tail, row):
    held = replace(
        TREATED,
        lowest=95.0,
        highest=95.0,
        low_dates=dates,
        lower_tail=tail,
        urgent=(line("low_on_treatment", of=LATEST),),
    )
    assert _row(held) == row


@pytest.mark.parametrize(
    ("lowest", "before", "row"),
    [
        (120.0, False, "settled"),
        (119.9, False, "below_floor.first"),
        (119.9, True, "below_floor.again"),
        (100.0, False, "below_floor.first"),
        (99.9, False, "settled"),  # then low_on_treatment is urgent, and its row fits
    ],
)
def test_each_bound_of_below_the_floor(lowest, before, row):
    assert _row(replace(TREATED, lowest=lowest, below_floor_before=before)) == row


def test_below_the_floor_holds_on_a_drug_off_the_list_too():
    held = replace(PLAIN, on_drug=True, lowest=110.0, highest=110.0)
    assert _row(held) == "below_floor.first"
    assert _row(replace(held, on_drug=False)) == "screen.11y"


@pytest.mark.parametrize(
    ("treated", "highest", "p", "tail", "row"),
    [
        (False, 159.9, 0.9, 0.0, "screen.11y"),
        (False, 160.0, 0.9, 0.0499, "newest_high"),
        (False, 160.0, 0.9, 0.05, "screen.11y"),
        (True, 160.0, 0.9, 0.0, "settled"),
        (True, 160.1, 0.9, 0.0499, "newest_high"),
        (True, 160.1, 0.9, 0.05, "settled"),
        (True, 160.1, 0.7499, 0.5, "newest_high"),
        (True, 160.1, 0.75, 0.5, "unsettled"),
    ],
)
def test_each_bound_of_a_newest_high(treated, highest, p, tail, row):
    held = replace(TREATED if treated else PLAIN, highest=highest, p_target=p, upper_tail=tail)
    assert _row(held) == row


@pytest.mark.parametrize(
    ("days", "p", "row"),
    [
        (90, 0.8999, "sign_open.controlled_not"),
        (91, 0.8999, "sign_open.older"),
        (90, 0.9, "sign_open.older"),
        (90, None, "sign_open.controlled_not"),
    ],
)
def test_each_bound_of_an_open_sign(days, p, row):
    held = replace(
        TREATED,
        p_target=p,
        sign_open_on=AS_OF - days * DAY,
        urgent=(line("sign_open", days),),
    )
    assert _row(held) == row


@pytest.mark.parametrize(
    ("changes", "row"),
    [
        ({"treated": True, "on_drug": True, "since": 1}, "early"),
        ({"treated": True, "on_drug": True}, "unjudged.treated"),
        ({"treated": True, "on_drug": True, "at_risk": ("weight",)}, "unjudged.at_risk"),
        ({"highest": 160.0}, "unjudged.high"),
        ({"highest": 159.9}, "screen.11y"),
        ({"p_raised": 0.5}, "unjudged.perhaps"),
        ({"p_160": 0.1}, "unjudged.perhaps"),
        ({"p_raised": 0.4999, "p_160": 0.0999}, "screen.11y"),
        ({"risks": ("kidney",)}, "screen_risk"),
        ({"highest": 180.0}, "severe"),
    ],
)
def test_where_the_category_is_withheld(changes, row):
    assert _row(replace(PLAIN, judged=False, **changes)) == row


@pytest.mark.parametrize(
    ("species", "age", "row"),
    [
        ("cat", 2.99, "screen.young"),
        ("cat", 3.0, "screen.3_6y"),
        ("cat", 7.0, "screen.7_10y"),
        ("cat", 10.99, "screen.7_10y"),
        ("cat", 11.0, "screen.11y"),
        ("cat", None, "screen.11y"),
        ("", 2.0, "screen.young"),
        ("dog", 2.0, "screen.dog"),
        ("dog", None, "screen.dog"),
    ],
)
def test_screening_goes_by_species_and_age(species, age, row):
    assert _row(replace(PLAIN, species=species, age_years=age)) == row


def test_a_row_counts_from_the_latest_date_or_from_its_own_day_if_that_is_later():
    changed = recheck(replace(TREATED, changed_on=LATEST - 30 * DAY), "acvim2018")
    # A change is answered a week after it, however long ago it was.
    assert changed.counted_from == LATEST - 30 * DAY
    unread = replace(PLAIN, urgent=(line("sign_unread", 5),))
    assert recheck(unread, "acvim2018").counted_from == AS_OF - 5 * DAY
    before = replace(PLAIN, urgent=(line("sign_unread", 40),))
    assert recheck(before, "acvim2018").counted_from == LATEST
    unseen = replace(PLAIN, latest=None, highest=None, lowest=None)
    assert recheck(unseen, "acvim2018").counted_from == AS_OF


def test_what_withholds_everything_wins_over_a_window_that_ends_sooner():
    held = replace(
        PLAIN, highest=185.0, urgent=(line("sign_current", 0), line("severe", of=LATEST))
    )
    found = recheck(replace(held, latest=AS_OF - 300 * DAY), "acvim2018")
    assert found.row.key == "sign_current"
    assert "severe" in [row.key for row in found.beside]


def test_a_species_without_facts_is_judged_by_its_signs_alone():
    rabbit = replace(TREATED, species="", written="rabbit", judged=False, highest=240.0)
    assert recheck(rabbit, "acvim2018") is None
    seen = replace(rabbit, urgent=(line("sign_current", 2),))
    assert _row(seen) == "sign_current"
    assert recheck(replace(seen, left=True), "acvim2018") is None


@given(standings(), st.sampled_from(TAILS), st.sampled_from(TAILS))
def test_other_tails_change_nothing_else(standing, upper, lower):
    assert standing.with_tails(upper, lower) == replace(
        standing, upper_tail=upper, lower_tail=lower
    )
