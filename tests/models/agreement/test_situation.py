"""The situational effect: home against clinic, per animal and overall."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, RecordsError
from bpvet.models.agreement.situation import situation
from bpvet.records.records import Records


def clinic(animals: int = 8, effect: float = -18.0, gap: int = 7, **other: str) -> Records:
    """Return animals seen three times in the clinic and, days later, elsewhere."""
    rng = np.random.default_rng(3)
    rows: list[dict[str, Any]] = []
    for i in range(animals):
        level, own = rng.normal(160, 15), effect + rng.normal(0, 8)
        for visit in range(3):
            for away in (0, 1):
                day = np.datetime64("2026-01-01") + 20 * visit + gap * away
                mean = level + own * away + rng.normal(0, 5)
                where = other or {"setting": "home"}
                for _ in range(4):
                    row = {"animal": f"A{i}", "taken_at": str(day), "method": "doppler"}
                    row |= {"systolic": round(mean + rng.normal(0, 6))}
                    rows.append(row | (where if away else {"setting": "clinic"}))
    known = pd.DataFrame({"animal": [f"A{i}" for i in range(animals)], "species": "cat"})
    return Records.from_frames(pd.DataFrame(rows), animals=known, as_of="2026-12-31")


def test_the_effect_is_found_with_its_uncertainty() -> None:
    found = situation(clinic())
    assert found.overall.lower is not None
    assert found.overall.upper is not None
    assert found.overall.lower < -18 < found.overall.upper < 0
    assert len(found.animals) == 8
    assert found.animals[0].sessions == (3, 3)
    mean = found.overall.estimate or 0.0
    for one in found.animals:
        assert abs((one.shrunken.estimate or 0) - mean) <= abs(one.plain - mean) + 0.5
    assert found.method == "doppler"


def test_calmed_sessions_are_a_condition_too() -> None:
    found = situation(clinic(state="calmed"), "calmed")
    assert (found.overall.estimate or 0) < -10
    with pytest.raises(RecordsError, match="two animals"):
        situation(clinic(state="calmed"), "home")


def test_sessions_far_apart_are_not_compared() -> None:
    with pytest.raises(RecordsError, match="within 60 days"):
        situation(clinic(gap=150))
    assert "60 days" in " ".join(situation(clinic()).notes)


def test_one_animal_is_not_enough() -> None:
    with pytest.raises(RecordsError, match="have 1"):
        situation(clinic(animals=1))


def test_tables_and_json() -> None:
    found = situation(clinic())
    frame = found.to_frame()
    assert frame["clinic_sessions"].tolist() == [3] * 8
    assert (frame["lower"] < frame["estimate"]).all()
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["minus"] == "clinic"
    assert "SD between animals" in repr(found)
    assert "<table>" in found._repr_html_()


@pytest.mark.parametrize(
    "call", [{"condition": "clinic"}, {"quantity": "weight"}, {"method": "cuff"}]
)
def test_wrong_names_are_refused(call: dict[str, str]) -> None:
    with pytest.raises(CallError, match="not known"):
        situation(clinic(animals=2), **call)
