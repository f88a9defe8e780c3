"""A clinic over time on treatment as a picture: shares, their intervals, and of how many."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.models.clinic.over_time import HORIZONS
from bpvet.pictures.over_time import over_time_picture

START = np.datetime64("2025-01-10")


def clinic(animals: int, drug: str = "amlodipine") -> bpvet.Records:
    """Return cats begun on one day, every third at target after three months, all after six."""
    readings = [
        {
            "animal": f"c{n}",
            "taken_at": str(START + np.timedelta64(day, "D")),
            "method": "doppler",
            "systolic": mean,
            "reading": k,
        }
        for n in range(animals)
        for day, mean in ((-3, 190), (88, 150 if n % 3 == 0 else 175), (180, 148))
        for k in (1, 2, 3)
    ]
    names = [f"c{n}" for n in range(animals)]
    given = pd.DataFrame({"animal": names, "drug": drug, "started_on": str(START)})
    return bpvet.Records.from_frames(
        pd.DataFrame(readings),
        treatments=given,
        animals=pd.DataFrame({"animal": names, "species": "cat"}),
        as_of="2026-11-01",
    )


def test_each_share_stands_with_its_interval_and_its_counts() -> None:
    found = bpvet.over_time(clinic(9))
    shown = over_time_picture(found)
    frame = found.to_frame()
    for panel, horizon in zip(shown.panels, HORIZONS, strict=False):
        rows = frame[frame["horizon"] == horizon]
        np.testing.assert_allclose(panel.estimate, 100 * rows["share"])
        np.testing.assert_allclose(panel.low, 100 * rows["lower"])
        np.testing.assert_allclose(panel.high, 100 * rows["upper"])
        assert panel.names[0] == "all (9 begun, 9 measured)"
        assert panel.span == (0.0, 100.0)
    last = shown.panels[-1]
    np.testing.assert_allclose(last.estimate, [100 * one.share for one in found.incidence])
    # The shares by hand: three of nine, then all.
    assert shown.panels[0].estimate[0] == pytest.approx(100 / 3)
    assert shown.panels[1].estimate[0] == 100.0
    assert "Drugs are not compared" in shown.caption
    assert "all (9 begun, 9 measured) 33.3 (" in shown.alt_text


def test_small_numbers_stay_hidden() -> None:
    hidden = over_time_picture(bpvet.over_time(clinic(9), pseudonyms=True))
    # At three months three of nine are at target: too few to be shown.
    assert "Three months after the start" not in [panel.heading for panel in hidden.panels]
    with pytest.raises(CallError, match="no share"):
        bpvet.over_time(clinic(2), pseudonyms=True).plot()


def test_nobody_treated_has_no_figure() -> None:
    with pytest.raises(CallError, match="no share"):
        bpvet.over_time(clinic(4, drug="glucosamine")).plot()
