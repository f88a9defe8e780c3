"""Groups of any size for the small panels of a cohort: made by rule, no chance in them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from bpvet.figures.clinic.cohort_picture import PopulationLine
from bpvet.models.clinic.needs import Need

FIRST = np.datetime64("2025-01-06")


def animal_rows(animal: str, values: list[float], every: int = 30, **given: object) -> pd.DataFrame:
    """Return an animal's counted sessions, so many days apart."""
    days = every * np.arange(len(values))
    held: dict[str, object] = {
        "animal": animal,
        "session": np.arange(len(values)),
        "date": FIRST + days,
        "months": days / 30.4375,
        "method": "doppler",
        "treated": False,
        "systolic": values,
        "systolic_n": 5,
        "systolic_bound": "",
    }
    return pd.DataFrame(held | given)


def group(count: int) -> pd.DataFrame:
    """Return a group of animals A0, A1 … of two to eight sessions, between 120 and 180."""
    parts = [
        animal_rows(
            f"A{place:03d}",
            [130.0 + 7 * (place % 6) + 3 * ((place + k) % 4) for k in range(2 + place % 7)],
        )
        for place in range(count)
    ]
    return pd.concat(parts, ignore_index=True)


def needs_in(rows: pd.DataFrame, **given: object) -> tuple[Need, ...]:
    """Return the animals in their order, treated to the guideline's target."""
    held: dict[str, object] = {"kind": "target", "target": 160.0, "floor": 120.0}
    return tuple(Need(str(one), **(held | given)) for one in rows["animal"].unique())  # type: ignore[arg-type]


def names_in(rows: pd.DataFrame, name: str = "") -> Mapping[str, str]:
    """Return what each is called: nothing, or all the same."""
    return {str(one): name for one in rows["animal"].unique()}


def lines() -> tuple[PopulationLine, ...]:
    """Return a population's two lines."""
    months = np.array([0.0, 12.0])
    value = np.array([150.0, 146.0])
    return tuple(
        PopulationLine(words, on, months, value - 9 * on, value - 9 * on - 6, value - 9 * on + 6)
        for on, words in ((False, "Population without a pressure-acting drug"), (True, "On one"))
    )
