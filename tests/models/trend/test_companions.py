"""What stands beside a trend without a model: from the trend's own sessions, by name."""

from __future__ import annotations

import json
import math
import pickle

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.models.trend.trend import Trend

MEANS = (150.0, 152.0, 149.0, 158.0, 161.0, 190.0)


def fitted(means: tuple[float, ...] = MEANS, beyond: int = 0) -> Trend:
    """A trend of one session a fortnight, three equal readings each; `beyond` of them "> 300"."""
    days = pd.date_range("2026-01-01", periods=len(means) + beyond, freq="14D")
    rows = [
        {"animal": "A", "taken_at": str(day.date()), "method": "doppler", "systolic": value}
        for day, value in zip(days, [*map(str, means), *[">300"] * beyond], strict=True)
        for _ in range(3)
    ]
    animals = pd.DataFrame([{"animal": "A", "species": "cat"}])
    frame = pd.DataFrame(rows)
    return bpvet.fit_trend(
        bpvet.Records.from_frames(frame, animals=animals, as_of="2026-12-01"), "A"
    )


def test_the_charts_are_of_the_sessions_means() -> None:
    told = fitted().companions()
    assert told.values.tolist() == list(MEANS)
    assert told.ewma.centre == pytest.approx(160.0)
    smooth = MEANS[0]
    for shown, value in zip(told.ewma.values[1:], MEANS[1:], strict=True):
        smooth = 0.25 * value + 0.75 * smooth
        assert shown == pytest.approx(smooth)
    moving = np.mean([2, 3, 9, 3, 29]) * math.sqrt(math.pi) / 2
    assert told.ewma.sd == pytest.approx(moving)
    assert told.cusum.target == pytest.approx(160.0)
    excess: float = 0.0
    for shown, value in zip(told.cusum.upper, MEANS, strict=True):
        excess = max(0.0, float(excess + value - 160.0 - moving / 2))
        assert shown == pytest.approx(excess)
    slopes = [
        (MEANS[j] - MEANS[i]) / (14 * (j - i)) * 30 for i in range(6) for j in range(i + 1, 6)
    ]
    assert told.ranks.slope_per_30_days.estimate == pytest.approx(np.median(slopes))
    assert told.variability.sd.estimate == pytest.approx(np.std(MEANS, ddof=1))


def test_sums_run_about_the_target_that_is_named() -> None:
    told = fitted().companions(target=140.0)
    assert told.cusum.target == 140.0
    assert told.cusum.upper[0] == pytest.approx(max(0.0, 10 - told.cusum.allowance))
    with pytest.raises(CallError, match="finite target"):
        fitted().companions(target=math.nan)


def test_sessions_beyond_the_gauge_are_left_out_and_counted() -> None:
    told = fitted(beyond=2).companions()
    assert (told.values.size, told.left_out) == (6, 2)
    assert 300 not in told.values
    assert "Left out, as beyond the gauge: 2." in told._repr_html_()


@pytest.mark.parametrize(("count", "rows"), [(2, 0), (6, 2)])
def test_sums_have_their_rows_where_they_have_limits(count: int, rows: int) -> None:
    assert fitted(MEANS[:count]).companions()._repr_html_().count("summed excess") == rows


@pytest.mark.parametrize("count", [1, 2])
def test_few_sessions_have_no_limits_and_say_so(count: int) -> None:
    told = fitted(MEANS[:count]).companions()
    assert told.ewma.lower is None
    assert told.cusum.limit is None
    assert "need 3" in told._repr_html_()
    frame = told.to_frame()
    assert len(frame) == count
    assert frame["ewma_lower"].isna().all()


def test_frame_json_and_pickle() -> None:
    told = fitted().companions()
    frame = told.to_frame()
    assert frame["value"].tolist() == list(MEANS)
    assert frame["ewma_outside"].tolist() == list(told.ewma.outside)  # type: ignore[arg-type]
    assert json.loads(json.dumps(told.to_dict(), allow_nan=False))["unit"] == "mmHg"
    assert pickle.loads(pickle.dumps(told)) == told
