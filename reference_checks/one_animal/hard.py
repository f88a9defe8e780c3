"""The hard records of the model's definition, through the public library (`check.py` prints them).

Their answers in `hard.json` are those of `make_hard.py`. Tolerances: mean 0.005 posterior SD, SD
0.5 %, probabilities 0.003, ends 0.5 mmHg.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import bpvet

HERE = Path(__file__).parent
_DAY_0 = np.datetime64("2024-01-01")

Difference = tuple[str, float, float]


def cases() -> list[dict[str, Any]]:
    """Return the records with their dense answers."""
    return json.loads((HERE / "hard.json").read_text(encoding="utf-8"))


def _date(day: int) -> str:
    return str(_DAY_0 + np.timedelta64(day, "D"))


def differences(of: dict[str, Any]) -> Iterator[Difference]:
    """Yield every difference of a record."""
    rows = [
        {"animal": "one", "taken_at": _date(one["day"]), "method": "doppler", "systolic": value}
        for one in of["sessions"]
        for value in one["readings"]
    ]
    records = bpvet.Records.from_frames(
        pd.DataFrame(rows),
        animals=pd.DataFrame([{"animal": "one", "species": "cat"}]),
        as_of=_date(of["t0_day"]),
    )
    trend = bpvet.fit_trend(records, "one", rule="all")
    yield "log evidence", trend.log_marginal_likelihood - of["log_evidence"], 0.01
    for name, held in of["answers"].items():
        usual = name.startswith("usual")
        own = trend.at(_date(int(name.rpartition("_")[2]))) if usual else trend.slope
        yield "mean, in SDs", (own.mean - held["mean"]) / held["sd"], 0.005
        yield "SD, relative", own.sd / held["sd"] - 1, 0.005
        ends = zip(own.interval(0.95), held["quantiles_025_500_975"][::2], strict=True)
        yield from (("95 % ends, mmHg", float(mine - theirs), 0.5) for mine, theirs in ends)
        yield "probability", float(own.below(160.0)) - held["p_at_or_below_160"], 0.003
