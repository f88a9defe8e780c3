"""Circumstances of measuring that changed, and swings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bpvet.visits.context import ContextChange, context_changes, swings
from bpvet.visits.sessions import sessions

Clinic = Callable[..., Any]
DAYS = ["2026-01-01", "2026-02-01", "2026-03-01", "2026-04-01", "2026-05-01"]
Changed = Callable[..., tuple[ContextChange, ...]]


@pytest.fixture
def changed(clinic: Clinic) -> Changed:
    """Return a function from one column's values, a session each, to what changed."""

    def build(*values: Any, what: str = "site") -> tuple[ContextChange, ...]:
        readings = [
            {"taken_at": day, "systolic": 150, what: value}
            for day, value in zip(DAYS, values, strict=False)
        ]
        frame = sessions(clinic(readings))
        return context_changes(frame, frame["session"])

    return build


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        # The change divides the series.
        (("tail", "tail", "foreleg", "foreleg"), ("foreleg", ("tail",), "2026-03-01", True)),
        (("tail", " Tail", "tail", "foreleg"), ("foreleg", ("tail",), "2026-04-01", True)),
        # So it does where the latest session says nothing, or some between.
        (("tail", "", "foreleg", ""), ("foreleg", ("tail",), "2026-03-01", True)),
        # The latest session is unlike all earlier ones.
        (("tail", "hindleg", "foreleg"), ("foreleg", ("tail", "hindleg"), "2026-03-01", False)),
        # It has just gone back.
        (("tail", "foreleg", "tail"), ("tail", ("foreleg",), "2026-03-01", False)),
        # It went back some time ago, or nothing is known of it, or nothing changed.
        (("tail", "foreleg", "tail", "tail"), None),
        (("tail", "hindleg", "foreleg", ""), None),
        (("tail", "tail", ""), None),
        (("", "", "tail"), None),
    ],
)
def test_what_is_told_of_a_column(
    changed: Changed, values: tuple[str, ...], expected: tuple[Any, ...] | None
) -> None:
    found = changed(*values)
    told = [(c.latest, c.earlier, str(c.since), c.divides) for c in found]
    assert told == ([] if expected is None else [expected])
    assert all(c.what == "site" for c in found)


@pytest.mark.parametrize("what", ["side", "posture", "operator", "instrument"])
def test_every_text_is_compared(changed: Changed, what: str) -> None:
    (found,) = changed("a", "a", "b", what=what)
    assert (found.what, found.latest, found.earlier) == (what, "b", ("a",))


def test_the_cuff_is_compared_as_a_number(changed: Changed) -> None:
    (found,) = changed(2.5, None, "2.50", 3, what="cuff_width_cm")
    assert (found.what, found.latest, found.earlier) == ("cuff_width_cm", "3 cm", ("2.5 cm",))
    assert changed(2.5, "2.50", what="cuff_width_cm") == ()


def test_only_sessions_of_the_series_are_compared(clinic: Clinic) -> None:
    readings = [
        {"taken_at": day, "systolic": 150, "site": site}
        for day, site in zip(DAYS, ("tail", "foreleg", "tail"), strict=False)
    ]
    frame = sessions(clinic(readings))
    assert context_changes(frame, [1, 3]) == ()
    assert len(context_changes(frame, [1, 2])) == 1


def test_the_instrument_is_carried_to_the_sessions(clinic: Clinic) -> None:
    readings = [
        {"taken_at": "2026-01-01", "systolic": 150, "instrument": "the grey one"},
        {"taken_at": "2026-01-01", "systolic": 152, "instrument": "the blue one"},
    ]
    frame = sessions(clinic(readings))
    assert frame["instrument"].tolist() == ["the grey one; the blue one"]
    assert list(frame.columns)[-1] == "instrument"


@pytest.mark.parametrize(
    ("width", "told"), [(2.3, True), (2.4, False), (2.8, False), (3.2, False), (3.3, True)]
)
@pytest.mark.parametrize("species", ["cat", "dog", ""])
def test_a_cuff_too_narrow_or_too_wide_is_told_once_a_session(
    clinic: Clinic, species: str, width: float, told: bool
) -> None:
    rows = [
        {"taken_at": day, "systolic": 150, "cuff_width_cm": width, "limb_circumference_cm": 8}
        for day in ("2026-01-01", "2026-01-01", "2026-01-01", "2026-02-01")
    ]
    records = clinic(rows, animals=[{"animal": "A17", "species": species}])
    flags = sessions(records)["flags"].tolist()
    assert ["cuff width outside 30 to 40 %" in flag for flag in flags] == [told, told]
    assert [f.line for f in records.findings if f.kind == "cuff size"] == ([1, 4] if told else [])


def test_swings_are_judged_from_four_dates_on() -> None:
    wild, k = [-60.0, 55.0, -50.0, 58.0], [5, 5, 5, 5]
    assert swings(wild[:3], k[:3], 11, 7, 6) is None
    days = np.array(["2026-01-01", "2026-01-02", "2026-01-02", "2026-01-03"], "datetime64[D]")
    assert swings(wild, k, 11, 7, 6, days) is None
    found = swings(wild, k, 11, 7, 6)
    assert found is not None
    assert (found.dates, found.far) == (4, True)
    assert found.usual == pytest.approx((121 + 49 / 5 + 36) ** 0.5)
    assert found.sd == pytest.approx((sum(r * r for r in wild) / 3) ** 0.5)
    with pytest.raises(ValueError, match="one length"):
        swings(wild, k[:3], 11, 7, 6)


def test_twice_the_usual_is_the_limit() -> None:
    usual = (121 + 49 / 5 + 36) ** 0.5
    for factor, far in ((1.99, False), (2.01, True)):
        each = factor * usual * (3 / 4) ** 0.5
        found = swings([each, -each, each, -each], [5, 5, 5, 5], 11, 7, 6)
        assert found is not None
        assert found.far is far
