"""Small invented records for the tests of trends and answers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from bpvet.records.records import Records

DAY = np.timedelta64(1, "D")


def rows(
    sessions: Sequence[tuple[str, Sequence[float | str]]],
    animal: str = "A1",
    method: str = "doppler",
    **columns: str,
) -> list[dict[str, object]]:
    """Readings of sessions given as (date, values), numbered in order."""
    return [
        {
            "animal": animal,
            "taken_at": date,
            "method": method,
            "systolic": value,
            "reading": i + 1,
            **columns,
        }
        for date, values in sessions
        for i, value in enumerate(values)
    ]


def records(
    readings: list[dict[str, object]],
    treatments: list[dict[str, object]] = (),  # type: ignore[assignment]
    observations: list[dict[str, object]] = (),  # type: ignore[assignment]
    as_of: str = "2026-11-01",
    species: str = "cat",
    **animal: object,
) -> Records:
    """Records of the animal A1."""
    animals = [{"animal": "A1", "species": species, **animal}]
    return Records.from_frames(
        pd.DataFrame(readings),
        treatments=pd.DataFrame(list(treatments)) if treatments else None,
        observations=pd.DataFrame(list(observations)) if observations else None,
        animals=pd.DataFrame(animals),
        as_of=as_of,
    )


def drug(started_on: str, name: str = "amlodipine", **columns: object) -> dict[str, object]:
    """A row of treatment."""
    return {"animal": "A1", "drug": name, "started_on": started_on, **columns}


def sign(seen_on: str, text: str, status: str = "present") -> dict[str, object]:
    """A row of observations."""
    return {"animal": "A1", "seen_on": seen_on, "sign": text, "status": status}


def steady(value: float, dates: Sequence[str], step: float = 2.0) -> list[tuple[str, list[float]]]:
    """Sessions of five readings about `value`, after a first one a little high."""
    spread = (4 * step, -step, 0.0, step, -step, step)
    return [(date, [value + part for part in spread]) for date in dates]
