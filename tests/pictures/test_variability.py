"""Variability as a picture: each statistic with its interval, in its unit."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.pictures.variability import variability_picture

DAYS = np.arange(12) * 30
VALUES = 150 + 10 * np.sin(np.arange(12) * 2.4)


def test_each_statistic_stands_with_its_interval_in_its_unit() -> None:
    found = bpvet.variability(DAYS, VALUES)
    shown = variability_picture(found)
    frame = found.to_frame().drop("mean").dropna(subset="estimate")
    for panel, unit in zip(shown.panels, ("mmHg", "%"), strict=True):
        rows = frame[frame["unit"] == unit]
        np.testing.assert_allclose(panel.estimate, rows["estimate"])
        np.testing.assert_allclose(panel.low, rows["lower"])
        np.testing.assert_allclose(panel.high, rows["upper"])
        assert panel.axis.startswith(unit)
        assert panel.line == 0.0
    assert "variability independent of the mean" not in shown.alt_text
    assert f"SD {found.sd.estimate:.1f} ({found.sd.lower:.1f} to" in shown.alt_text
    assert f"their mean is {found.mean.estimate:.1f} mmHg" in shown.caption


def test_too_few_sessions_have_no_figure() -> None:
    with pytest.raises(CallError, match="needs 3 sessions, not 2"):
        bpvet.variability([0, 20], [150, 160]).plot()
