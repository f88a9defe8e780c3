"""The columns of many trends at once: those of one at a time, to the digit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.equality import same
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.designs import all_columns
from bpvet.visits.series import Series, all_series


def _records() -> bpvet.Records:
    """Return invented animals: drugs begun, stopped, raised and missed, changes, bounds, homes."""
    rng = np.random.default_rng(4)
    readings, drugs, missed = [], [], []
    for a in range(24):
        name = f"a{a:02d}"
        for day in np.sort(rng.choice(500, size=rng.integers(1, 9), replace=False)):
            own = {"animal": name, "taken_at": str(np.datetime64("2025-01-01") + int(day))}
            own |= {"method": "doppler", "operator": str(rng.choice(["Ann", "Bea", "ann "]))}
            own["setting"] = str(rng.choice(["clinic", "clinic", "home"]))
            if a % 4 == 1:
                own["method"] = str(rng.choice(["doppler", "oscillometric"]))
            if a % 3 == 0:
                own |= {"site": str(rng.choice(["tail", "foreleg", ""]))}
            value = "> 300" if a in (3, 5, 9) and day > 300 else str(rng.integers(130, 200))
            readings += [{**own, "systolic": value}, {**own, "systolic": "151"}]
        for start, dose in (("2025-03-01", "1"), ("2025-08-01", "2"))[: a % 3]:
            stop = "2025-11-01" if a % 2 else ""
            row = {"animal": name, "drug": "amlodipine", "started_on": start, "stopped_on": stop}
            drugs.append({**row, "dose": dose, "dose_unit": "mg"})
        if a % 5 == 0:
            drugs.append({"animal": name, "drug": "telmisartan", "started_on": "2025-05-01"})
            missed.append(
                {"animal": name, "what": "missed", "from": "2025-06-01", "to": "2025-06-20"}
            )
    names = list(dict.fromkeys(row["animal"] for row in readings))
    return bpvet.Records.from_frames(
        pd.DataFrame(readings),
        animals=pd.DataFrame({"animal": names, "species": "cat"}),
        treatments=pd.DataFrame(drugs).fillna(""),
        missed=pd.DataFrame(missed),
        as_of="2026-11-01",
    )


@pytest.mark.parametrize("bridge", [(), ("methods", "conditions")])
def test_all_at_once_are_one_at_a_time(bridge: tuple[str, ...]) -> None:
    series = list(all_series(_records(), bridge=bridge).values())
    priors = [bpvet.Priors.default("cat", one.method) for one in series]
    found = all_columns(series, priors)
    assert {len(own.courses) for own in series} >= {0, 1, 2}
    assert any(own.bounded for own in found)
    assert {len(own.forms) for own in found} == {1, 2, 3}
    assert any("change" in term for own in found for term in own.terms)
    assert any("offset" in term for own in found for term in own.terms) == bool(bridge)
    for one, prior, own in zip(series, priors, found, strict=True):
        _same(one, own, columns_of(one, prior))


def _same(series: Series, own: object, alone: object) -> None:
    assert own.series is series
    assert own.terms == alone.terms
    np.testing.assert_array_equal(own.sessions(), alone.sessions())
    np.testing.assert_array_equal(own.day, alone.day)
    assert same(own.changes, alone.changes)
    assert same(own.forms, alone.forms)
    assert (own.wander_days, own.fading) == (alone.wander_days, alone.fading)
    assert not own.sessions().flags.writeable


def test_series_that_differ_in_nothing_share_their_prior() -> None:
    series = [
        replace(one, recorded=None, beyond=None)
        for one in all_series(_records(), conditions=["clinic"]).values()
        if not one.courses
    ]
    prior = bpvet.Priors.default("cat", "doppler")
    found = all_columns(series, [prior] * len(series))
    assert len(found) > 2
    assert len({id(own.forms) for own in found}) == 1
    assert all_columns([], []) == []
