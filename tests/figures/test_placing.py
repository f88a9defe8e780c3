"""No label meets another: the arithmetic of places."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.figures.placing import Box, flags, lanes, near, spread

lengths = st.floats(0.5, 60)
places = st.floats(0, 100)


@given(st.lists(st.tuples(places, lengths, lengths, st.sampled_from("abc")), max_size=12))
def test_no_two_in_a_lane_meet(items: list[tuple[float, float, float, str]]) -> None:
    bars = [(left, left + bar) for left, bar, _, _ in items]
    words = [(left, left + word) for left, _, word, _ in items]
    lane = lanes(bars, words, [kin for *_, kin in items])
    for i, j in combinations(range(len(items)), 2):
        if lane[i] == lane[j]:
            assert bars[i][1] <= bars[j][0] or bars[j][1] <= bars[i][0]
            assert words[i][1] + 1.5 <= words[j][0] or words[j][1] + 1.5 <= words[i][0]


def test_kin_stay_together_and_lanes_are_few() -> None:
    bars = [(0, 10), (0, 10), (10, 20), (10, 20)]
    words = [(0, 5), (0, 5), (10, 15), (10, 15)]
    assert lanes(bars, words, ["a", "b", "b", "a"]) == [0, 1, 1, 0]


@given(st.lists(st.tuples(places, st.floats(1, 100)), max_size=12))
def test_no_two_flags_meet_and_none_leaves_the_room(items: list[tuple[float, float]]) -> None:
    hung = flags([pole for pole, _ in items], [width for _, width in items], 0.0, 110.0)
    for (_, width), flag in zip(items, hung, strict=True):
        assert flag.left >= 0
        assert flag.left + width <= 110 + 1e-9
    for (one, other), (first, second) in zip(
        combinations(hung, 2), combinations(items, 2), strict=True
    ):
        if one.lane == other.lane:
            assert one.left + first[1] < other.left or other.left + second[1] < one.left


def test_no_label_hangs_across_a_pole_where_there_is_room() -> None:
    poles, widths = [10.0, 20.0, 21.0, 50.0, 95.0], [30.0, 25.0, 10.0, 20.0, 30.0]
    hung = flags(poles, widths, 0.0, 100.0)
    for pole, flag in zip(poles, hung, strict=True):
        for width, other in zip(widths, hung, strict=True):
            if other.lane < flag.lane:
                assert not other.left < pole < other.left + width


@given(st.lists(st.tuples(st.floats(0, 70), st.floats(1, 6)), min_size=1, max_size=10))
def test_spread_keeps_order_and_room(items: list[tuple[float, float]]) -> None:
    wanted = sorted(want for want, _ in items)
    heights = [height for _, height in items]
    centres = spread(wanted, heights, 0.0, 70.0)
    for (a, h), (b, k) in pairwise(zip(centres, heights, strict=True)):
        assert b - a >= (h + k) / 2 + 0.6 - 1e-9
    assert centres[0] - heights[0] / 2 >= -1e-9
    assert centres[-1] + heights[-1] / 2 <= 70 + 1e-9


def test_spread_moves_nothing_that_is_free() -> None:
    assert spread([10.0, 30.0], [4.0, 4.0], 0.0, 70.0) == [10.0, 30.0]
    # Two at one place, each 4 high with 0.6 between: their middles end 4.6 apart about it.
    assert spread([20.0, 20.0], [4.0, 4.0], 0.0, 70.0) == pytest.approx([17.7, 22.3])


space = Box(0, 0, 100, 60)


@given(
    st.tuples(st.floats(5, 95), st.floats(5, 55)),
    st.lists(st.tuples(places, st.floats(0, 60), st.floats(0.5, 8)), max_size=25),
)
def test_near_meets_nothing_and_stays_inside(
    anchor: tuple[float, float], others: list[tuple[float, float, float]]
) -> None:
    obstacles = [Box(x, y, x + size, y + size) for x, y, size in others]
    box = near(anchor, (18.0, 3.4), space, obstacles, obstacles)
    if box is not None:
        assert box.within(space)
        assert not any(box.meets(obstacle) for obstacle in obstacles)


def test_near_gives_up_where_all_is_taken() -> None:
    assert near((50, 30), (18.0, 3.4), space, [space]) is None


def test_near_does_not_lead_across_a_barrier() -> None:
    # Walls on three sides of the mark: the only way out is downwards.
    walls = [Box(45, 20, 47, 33), Box(53, 20, 55, 33), Box(45, 20, 55, 27)]
    box = near((50, 30), (4.0, 3.0), space, walls, walls)
    assert box is not None
    assert box.top > 30
