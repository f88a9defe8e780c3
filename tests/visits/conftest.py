"""Small clinics for the tests of this room."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
import pytest

from bpvet.records.records import Records

Clinic = Callable[..., Records]


@pytest.fixture
def clinic() -> Clinic:
    """Return a function that makes records from rows; blanks and one cat are filled in."""

    def build(
        readings: Sequence[dict[str, Any]],
        treatments: Sequence[dict[str, Any]] = (),
        animals: Sequence[dict[str, Any]] = (),
        as_of: str = "2026-12-31",
    ) -> Records:
        rows = [{"animal": "A17", "method": "doppler", **row} for row in readings]
        ids = dict.fromkeys(row["animal"] for row in rows)
        known = [dict(row) for row in animals] or [{"animal": i, "species": "cat"} for i in ids]
        given = [{"animal": "A17", "drug": "amlodipine", **row} for row in treatments]
        return Records.from_frames(
            pd.DataFrame(rows),
            treatments=pd.DataFrame(given) if given else None,
            animals=pd.DataFrame(known),
            as_of=as_of,
        )

    return build


@pytest.fixture
def taken() -> Callable[..., list[dict[str, Any]]]:
    """Return a function that makes the rows of one session, a minute apart if a time is given."""

    def rows(at: str, *values: Any, **columns: Any) -> list[dict[str, Any]]:
        made = []
        for minute, value in enumerate(values):
            moment = at
            if "T" in at:
                start = pd.Timestamp(at) + pd.Timedelta(minutes=minute)
                moment = start.isoformat(timespec="minutes")
            made.append({"taken_at": moment, "systolic": value, **columns})
        return made

    return rows
