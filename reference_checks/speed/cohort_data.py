"""Invented cohorts of any size as data frames: readings nested in sessions nested in animals."""

from __future__ import annotations

import numpy as np
import pandas as pd


def readings(
    animals: int, seed: int = 0, sessions: int = 10, by_method: bool = True
) -> pd.DataFrame:
    """Return about 4 readings in each of about `sessions` sessions of each animal.

    Parameters
    ----------
    animals : int
    seed : int
    sessions : int
        Mean number of sessions; it varies between half and one and a half of it.
    by_method : bool
        Whether the two methods differ in their SDs.
    """
    rng = np.random.default_rng(seed)
    number = rng.integers(sessions // 2, sessions + sessions // 2 + 1, animals)
    animal = np.repeat(np.arange(animals), number)
    n = len(animal)
    first = np.repeat(np.cumsum(number) - number, number)
    session = np.arange(n) - first
    months = session + rng.uniform(0, 0.9, n)
    treated = months > np.repeat(rng.uniform(0, 12, animals), number)
    doppler = rng.random(n) < 0.6
    wide = np.where(doppler, 1.0, 1.5) if by_method else np.ones(n)
    level = rng.normal(150, 15, animals)[animal] + rng.normal(0, 1.0, animals)[animal] * months
    visit = level - 12 * treated + 4 * ~doppler + rng.normal(0, 8, n) * wide
    count = rng.integers(3, 6, n)
    row = np.repeat(np.arange(n), count)
    labels = np.array([f"A{i:07d}" for i in range(animals)], dtype=object)
    return pd.DataFrame(
        {
            "animal": pd.Series(labels[animal[row]], dtype="str"),
            "session": session[row],
            "months": months[row],
            "treated": treated[row],
            "method": pd.Series(np.where(doppler, "doppler", "oscillometric")[row], dtype="str"),
            "systolic": np.round(visit[row] + rng.normal(0, 6, len(row)) * wide[row], 1),
        }
    )
