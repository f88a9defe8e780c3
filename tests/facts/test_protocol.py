"""The constants are their facts; limits at their bounds; criteria for devices."""

import math

import pytest

from bpvet.errors import CallError
from bpvet.facts import protocol
from bpvet.facts.devices import device_criteria
from bpvet.facts.protocol import FACT_OF, limits
from bpvet.facts.sources import fact


@pytest.mark.parametrize("name", FACT_OF)
def test_constant_is_its_fact(name: str) -> None:
    id, end = FACT_OF[name]
    found = fact(id)
    stated = (found.low, found.high) if end == "ends" else getattr(found, end)
    assert getattr(protocol, name) == stated


def test_every_constant_names_a_fact() -> None:
    constants = {name for name in vars(protocol) if name.isupper()} - {"TYPE_CHECKING"}
    assert constants - set(FACT_OF) == {"FACT_OF", "LIMITED", "SPECIES"}


def test_constants_as_typed() -> None:
    assert protocol.MIN_READINGS == 3
    assert protocol.ENOUGH_READINGS == 5
    assert protocol.DROP_FIRST_FROM == 4
    assert protocol.CONSISTENT_CV == 0.20
    assert protocol.STILL_FALLING_MMHG == 10
    assert protocol.SESSION_GAP_HOURS == 2
    assert protocol.PULSE_DISAGREES == 0.10
    assert protocol.CEILING == 300
    assert protocol.KPA_MEDIAN_BELOW == 45


# note low, note high, aside low, aside high
@pytest.mark.parametrize(
    ("quantity", "species", "bounds"),
    [
        ("systolic", "cat", (80, 250, 40, 350)),
        ("diastolic", "dog", (35, 170, 15, 250)),
        ("mean", "", (50, 200, 20, 300)),
        ("pulse_pressure", "cat", (15, 120, 0, math.inf)),
        ("heart_rate", "cat", (110, 260, 40, 350)),
        ("heart_rate", "dog", (45, 220, 20, 350)),
        ("heart_rate", "", (45, 260, 20, 350)),
        ("counted_pulse", "cat", (110, 260, 40, 350)),
        ("cuff_ratio", "cat", (0.30, 0.40, 0, 1.5)),
        ("cuff_ratio", "dog", (0.30, 0.40, 0, 1.5)),
        ("cuff_ratio", "ferret", (0.30, 0.40, 0, 1.5)),
    ],
)
def test_limits(quantity: str, species: str, bounds: tuple[float, ...]) -> None:
    found = limits(quantity, species)
    assert (found.note_low, found.note_high, found.aside_low, found.aside_high) == bounds
    assert found.fact.grade == found.aside_fact.grade == "J"


@pytest.mark.parametrize(
    ("value", "noted", "aside"),
    [
        (39.9, False, True),
        (40, True, False),
        (79.9, True, False),
        (80, False, False),
        (250, False, False),
        (250.1, True, False),
        (350, True, False),
        (350.1, False, True),
        (math.nan, False, False),
    ],
)
def test_systolic_at_its_limits(value: float, noted: bool, aside: bool) -> None:
    found = limits("systolic")
    assert (found.notes(value), found.sets_aside(value)) == (noted, aside)


def test_zero_is_no_pulse_pressure_and_no_ratio() -> None:
    assert limits("pulse_pressure").sets_aside(0)
    assert not limits("pulse_pressure").sets_aside(0.1)
    assert limits("cuff_ratio", "cat").sets_aside(0)
    assert not limits("cuff_ratio", "cat").sets_aside(1.5)


def test_quantity_without_limits() -> None:
    with pytest.raises(CallError, match="systolic, diastolic"):
        limits("creatinine")


def test_device_criteria_as_typed() -> None:
    found = {one.key: (one.sense, one.bound) for one in device_criteria()}
    assert found == {
        "bias": ("at most", 10),
        "sd": ("at most", 15),
        "r": ("at least", 0.9),
        "within10": ("at least", 50),
        "within20": ("at least", 80),
        "n.direct": ("at least", 8),
        "n.indirect": ("at least", 25),
        "published": ("not assessable", None),
    }
    assert all(one.words for one in device_criteria())


def test_device_criteria_at_their_bounds() -> None:
    by_key = {one.key: one for one in device_criteria()}
    assert by_key["bias"].met(-10) is True
    assert by_key["bias"].met(-10.1) is False
    assert by_key["r"].met(0.9) is True
    assert by_key["r"].met(-0.95) is False
    assert by_key["within20"].met(79.9) is False
    assert by_key["published"].met(1) is None
    assert by_key["sd"].met(math.nan) is None
