"""The guidelines as sets: their bounds, what is said at them, and who is refused."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.categories import guideline, guidelines
from bpvet.facts.sources import fact, source


def test_known_guidelines_default_first() -> None:
    assert guidelines() == ("acvim2018", "iris2023", "isfm2017")
    assert guideline().key == "acvim2018"
    assert guideline().name == "ACVIM 2018 consensus statement"


@pytest.mark.parametrize(
    ("key", "year", "raised", "target", "floor"),
    [
        ("acvim2018", 2018, 140, 160, 120),
        ("iris2023", 2023, 140, 160, 120),
        ("isfm2017", 2017, 150, 160, 110),
    ],
)
def test_bounds(key: str, year: int, raised: float, target: float, floor: float) -> None:
    found = guideline(key)
    assert (found.year, found.raised.value, found.target.value, found.floor.value) == (
        year,
        raised,
        target,
        floor,
    )
    assert str(year) in found.name
    for bound in (found.raised, found.target, found.floor):
        assert fact(bound.fact.id).value == bound.value
    assert source(found.source).name == found.name
    assert found.remembered


# On the mean before rounding: 139.96 is not 140.
@pytest.mark.parametrize(
    ("value", "name", "risk"),
    [
        (60, "normotensive", "minimal"),
        (139.96, "normotensive", "minimal"),
        (140, "prehypertensive", "low"),
        (159.999999, "prehypertensive", "low"),
        (160, "hypertensive", "moderate"),
        (179.5, "hypertensive", "moderate"),
        (180, "severely hypertensive", "high"),
        (300, "severely hypertensive", "high"),
    ],
)
@pytest.mark.parametrize("key", ["acvim2018", "iris2023", "isfm2017"])
def test_category_at_bounds(key: str, value: float, name: str, risk: str) -> None:
    found = guideline(key).category_of(value)
    assert (found.name, found.risk) == (name, risk)


@pytest.mark.parametrize("key", ["acvim2018", "iris2023"])
def test_categories_cover_all_pressures_once(key: str) -> None:
    categories = guideline(key).categories
    assert categories[0].low == -math.inf
    assert categories[-1].high == math.inf
    for below, above in itertools.pairwise(categories):
        assert below.high == above.low
    for category in categories:
        bounds = fact(category.fact_id)
        assert bounds.low in (None, category.low)
        assert bounds.high in (None, category.high)
        assert category.risk in bounds.text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_value_has_one_category(value: float) -> None:
    categories = guideline().categories
    holding = [each for each in categories if each.low <= value < each.high]
    assert holding == [guideline().category_of(value)]


def test_nan_has_no_category() -> None:
    with pytest.raises(CallError, match="not a finite number"):
        guideline().category_of(math.nan)


def test_feline_guideline_borrows_categories_and_says_so() -> None:
    feline = guideline("isfm2017", "cat")
    assert feline.categories == guideline("acvim2018").categories
    assert feline.categories_from == "acvim2018"
    assert guideline("iris2023").categories_from == "iris2023"


def test_feline_guideline_is_refused_for_a_dog() -> None:
    with pytest.raises(CallError, match="acvim2018, iris2023") as raised:
        guideline("isfm2017", "dog")
    assert "cat" in str(raised.value)
    assert guideline("isfm2017", "").key == "isfm2017"
    assert guideline("isfm2017", None).key == "isfm2017"


def test_unknown_guideline_names_the_known() -> None:
    with pytest.raises(CallError, match="acvim2018, iris2023, isfm2017"):
        guideline("acvim2019")
