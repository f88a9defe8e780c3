"""Invented cohorts as frames: readings, and the same as sessions."""

from __future__ import annotations

import numpy as np
import pandas as pd


def readings(
    seed: int, animals: int = 25, clinics: int = 0, visit_sd: float = 6.0, sessions: int = 5
) -> pd.DataFrame:
    """Return readings with sessions by two methods, a slope, and treatment from some month on."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(animals):
        level, slope = rng.normal(150, 15), rng.normal(0, 1.0)
        clinic = i % max(clinics, 1)
        start = rng.uniform(0, 8)
        months = np.sort(rng.uniform(0, 12, rng.integers(3, sessions + 3)))
        for j, month in enumerate(months):
            method = str(rng.choice(["doppler", "oscillometric"]))
            wide = 1.6 if method == "oscillometric" else 1.0
            treated = bool(month > start)
            visit = rng.normal(0, visit_sd * wide)
            middle = level + slope * month - 12 * treated + 5 * clinic + visit + 4 * (wide > 1)
            for _ in range(rng.integers(2, 7)):
                reading = middle + rng.normal(0, 5 * wide)
                key = (f"A{i:03d}", f"clinic {clinic}", j, month, treated, method)
                rows.append((*key, reading))
    columns = ["animal", "clinic", "session", "months", "treated", "method", "systolic"]
    return pd.DataFrame(rows, columns=columns)


def as_sessions(frame: pd.DataFrame) -> pd.DataFrame:
    """Return one row a session: the outcome's mean, count and sum of squares."""
    keys = ["animal", "clinic", "session", "months", "treated", "method"]
    grouped = frame.groupby(keys, sort=False)["systolic"]
    one = grouped.agg(
        systolic="mean",
        systolic_n="count",
        systolic_ss=lambda y: float(((y - y.mean()) ** 2).sum()),
    )
    return one.reset_index().assign(systolic_bound="")
