"""The audit: worlds with a known fault, and records where nothing can be known."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, RecordsError
from bpvet.models.audit.audit import Audit, audit
from bpvet.models.audit.precision import NEIGHBOUR_DAYS
from bpvet.records.records import Records


def clinic(
    *,
    animals: int = 12,
    visits: int = 6,
    first: float = 0.0,
    gap: float = 0.0,
    round_to: int = 2,
    readings: int = 6,
    treatments: list[dict[str, Any]] | None = None,
    **columns: Any,
) -> Records:
    """Return Doppler sessions by two people, AB and CD; CD reads `gap` higher."""
    rng = np.random.default_rng(9)
    rows: list[dict[str, Any]] = []
    for i in range(animals):
        level = rng.normal(150, 15)
        for visit in range(visits):
            day = np.datetime64("2026-01-05") + 28 * visit + i % 5
            who = "AB" if (i + visit) % 2 else "CD"
            mean = level + rng.normal(0, 8) + gap * (who == "CD")
            for k in range(readings):
                value = mean + rng.normal(0, 6) + first * (k == 0)
                row = {"animal": f"A{i}", "taken_at": f"{day}T{9 + 5 * (visit % 2):02d}:{k:02d}"}
                row |= {"method": "doppler", "systolic": round_to * round(value / round_to)}
                rows.append(row | {"operator": who} | columns)
    known = pd.DataFrame({"animal": [f"A{i}" for i in range(animals)], "species": "cat"})
    drugs = None if treatments is None else pd.DataFrame(treatments)
    return Records.from_frames(
        pd.DataFrame(rows), animals=known, treatments=drugs, as_of="2026-12-31"
    )


@cache
def plain() -> Audit:
    """Return the audit of a clinic without a fault."""
    return audit(clinic())


def test_a_high_first_reading_is_found() -> None:
    one = audit(clinic(first=10.0)).order[0]
    assert one.sessions == 72
    held = one.first_minus_rest
    assert held.lower is not None
    assert held.upper is not None
    assert held.lower < 10 < held.upper
    assert (one.drift.estimate or 0) < (one.drift_after_first.estimate or 0)
    none = plain().order[0].first_minus_rest
    assert none.lower is not None
    assert none.upper is not None
    assert none.lower < 0 < none.upper


def test_operators_are_drawn_together_and_in_order() -> None:
    differ = audit(clinic(gap=12.0)).operators[0]
    assert [one.operator for one in differ.effects] == ["AB", "CD"]
    low, high = (one.effect.estimate or 0.0 for one in differ.effects)
    assert 5 < high - low < 13
    assert differ.p is not None
    assert differ.p < 0.01
    same = plain().operators[0]
    low, high = (one.effect.estimate or 0.0 for one in same.effects)
    assert abs(high - low) < 4
    assert "not for judging people" in plain().to_dict()["caution"]


def test_one_operator_cannot_be_compared() -> None:
    found = audit(clinic(operator="AB")).operators[0]
    assert found.effects == ()
    assert found.reason == "needs two operators and two animals or more"


def test_end_digits_against_the_dial() -> None:
    fair, rounded = plain().digits[0], audit(clinic(round_to=10)).digits[0]
    assert fair.test.step == 2
    assert fair.test.p is not None
    assert fair.test.p > 0.01
    assert rounded.test.p is not None
    assert rounded.test.p < 0.001
    assert rounded.zeros.estimate == 1
    expected = rounded.repeats_expected or 0
    assert (rounded.repeats_share.estimate or 0) > 2 * expected
    odd = audit(clinic(round_to=1)).digits[0].test
    assert odd.off_step > 100


def test_readings_and_protocol_are_counted() -> None:
    found = audit(clinic(readings=2))
    items = {item.key: item for item in found.protocol}
    assert (items["few"].count, items["few"].n) == (72, 72)
    assert items["no_operator"].count == 0
    assert items["no_site"].count == 72
    assert found.taken[0].most == 2
    full = {item.key: item for item in plain().protocol}
    assert full["few"].count == 0
    assert full["not_enough"].count == 0


def test_cuff_ratios_by_the_guideline_s_range() -> None:
    found = audit(clinic(cuff_width_cm=2.5, limb_circumference_cm=10.0)).cuffs[0]
    assert (found.species, found.below, found.within, found.above) == ("cat", 72, 0, 0)
    assert found.median == pytest.approx(0.25)
    assert plain().cuffs[0].median is None


def test_decisions_that_rested_on_one_session() -> None:
    drugs = [
        {"animal": "A0", "drug": "amlodipine", "started_on": "2026-01-05"},
        {"animal": "A5", "drug": "amlodipine", "started_on": "2026-05-25"},
        {"animal": "A1", "drug": "methimazole", "started_on": "2026-01-06"},
    ]
    found = audit(clinic(treatments=drugs)).decisions
    # A0 was seen once before its start, A5 six times; the third drug is not for pressure.
    assert (found.count, found.n) == (1, 2)


def test_the_scatter_of_readings_is_found() -> None:
    found = plain()
    whole = next(one for one in found.spreads if not one.by)
    assert whole.sd.lower is not None
    assert whole.sd.upper is not None
    assert whole.sd.lower < 6 < whole.sd.upper
    people = [one for one in found.spreads if one.by == "operator"]
    assert [one.group for one in people] == ["AB", "CD"]
    assert all(one.shrunken is not None for one in people)


def test_what_would_help_most() -> None:
    found = audit(clinic(readings=3)).precision[0]
    assert found.pairs == 60
    assert NEIGHBOUR_DAYS >= 28
    visit, reading, now = (
        float(held.estimate or 0.0) for held in (found.visit_sd, found.reading_sd, found.now)
    )
    assert visit == pytest.approx(8, abs=2.5)
    assert now == pytest.approx(np.sqrt(visit**2 + reading**2 / 3))
    gains = [one.gain.estimate for one in found.changes]
    assert gains == sorted(gains, key=lambda gain: -float(gain or 0.0))
    two = next(one for one in found.changes if one.words.startswith("a second visit"))
    assert two.sd.estimate == pytest.approx(now / np.sqrt(2))
    # What is left of a visit's mean by each change, worked by hand: √(share·sv² + share·sr²).
    left = {"at least 5": (1, 1 / 5), "half the": (1 / 4, 1 / 3), "readings that": (1, 1 / 12)}
    for words, (of_visit, of_reading) in left.items():
        change = next(one for one in found.changes if one.words.startswith(words))
        sd = np.sqrt(of_visit * visit**2 + of_reading * reading**2)
        assert change.sd.estimate == pytest.approx(sd)
        assert change.gain.estimate == pytest.approx(now - sd)
    for held in (found.now, *(part for one in found.changes for part in (one.sd, one.gain))):
        assert held.lower is not None
        assert held.upper is not None
        assert held.estimate is not None
        assert held.lower <= held.estimate <= held.upper


def test_time_of_day_is_within_animals() -> None:
    found = plain().times[0]
    assert (found.morning, found.afternoon) == (36, 36)
    held = found.afternoon_minus_morning
    assert held.lower is not None
    assert held.upper is not None
    assert held.lower < 0 < held.upper


def test_printed_and_handed_out() -> None:
    for records in (clinic(), clinic(animals=1, visits=1), clinic(animals=2, visits=1, readings=1)):
        found = audit(records)
        json.dumps(found.to_dict(), allow_nan=False)
        assert "not for judging people" in repr(found)
        assert "<table>" in found._repr_html_()
        assert {"sd", "shrunken"} <= set(found.to_frame().columns)


def test_nothing_to_audit() -> None:
    with pytest.raises(RecordsError, match="awake"):
        audit(clinic(state="sedated"))
    with pytest.raises(CallError, match="level"):
        audit(clinic(), level=0)
