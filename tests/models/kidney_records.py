"""Small invented records with laboratory values, for the tests of the kidneys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from bpvet.records.records import Records
from tests.models.small_records import rows, sign, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]
CKD = sign("2026-01-10", "CKD")


def lab(sampled_on: str, analyte: str, value: float | str, unit: str) -> dict[str, object]:
    """A row of labs."""
    return {
        "animal": "A1",
        "sampled_on": sampled_on,
        "analyte": analyte,
        "value": value,
        "unit": unit,
    }


def creatinine(values: Sequence[float | str], unit: str = "umol/L") -> list[dict[str, object]]:
    """Creatinine on the first of `DATES`."""
    return [lab(day, "creatinine", one, unit) for day, one in zip(DATES, values, strict=False)]


def sdma(values: Sequence[float | str], unit: str = "ug/dL") -> list[dict[str, object]]:
    """SDMA on the first of `DATES`."""
    return [lab(day, "sdma", one, unit) for day, one in zip(DATES, values, strict=False)]


def upc(values: Sequence[float | str], dates: Sequence[str] = DATES) -> list[dict[str, object]]:
    """Urine protein to creatinine ratios."""
    return [lab(day, "upc", one, "ratio") for day, one in zip(dates, values, strict=False)]


def with_labs(
    labs: Sequence[dict[str, object]],
    observations: Sequence[dict[str, object]] = (),
    pressure: float | None = 150,
    dates: Sequence[str] = DATES,
    as_of: str = "2026-11-01",
    treatments: Sequence[dict[str, object]] = (),
    **animal: Any,
) -> Records:
    """Records of the cat A1 with laboratory values; no pressure at all where it is None.

    Another animal was measured, so that there are readings.
    """
    named = {"animal": "A1", "species": "cat", **animal}
    readings = rows(steady(140, ["2026-01-05"]), animal="ZZ1")
    if pressure is not None:
        readings += rows(steady(pressure, dates))
    return Records.from_frames(
        pd.DataFrame(readings),
        labs=pd.DataFrame(list(labs)) if labs else None,
        observations=pd.DataFrame(list(observations)) if observations else None,
        treatments=pd.DataFrame(list(treatments)) if treatments else None,
        animals=pd.DataFrame([named, {"animal": "ZZ1", "species": "cat"}]),
        as_of=as_of,
    )
