"""Records for the room and the kitchen table: ordinary ones, and some with long words."""

from __future__ import annotations

import pandas as pd

import bpvet

AS_OF = "2026-11-01"
LONG = "how it went and what helped that day, at length and in every detail; " * 8


def readings(
    values: dict[str, tuple[int, ...]], animal: str = "A1", **columns: str
) -> pd.DataFrame:
    """Return readings a minute apart, by date."""
    rows = [
        {"animal": animal, "taken_at": f"{day}T10:{minute:02d}", "method": "doppler"}
        | {"systolic": value}
        | columns
        for day, taken in values.items()
        for minute, value in enumerate(taken)
    ]
    return pd.DataFrame(rows)


def records(
    values: dict[str, tuple[int, ...]],
    *,
    name: str = "Pilchard",
    left: tuple[str, str] = ("", ""),
    signs: tuple[tuple[str, str], ...] = (),
    drug: str = "",
    **columns: str,
) -> bpvet.Records:
    """Return the records of one cat."""
    animals = {"animal": ["A1"], "species": ["cat"], "name": [name]}
    animals |= {"left_on": [left[0]], "left_reason": [left[1]]}
    observed = [{"animal": "A1", "seen_on": day, "sign": sign} for day, sign in signs]
    given = [{"animal": "A1", "drug": drug, "started_on": "2026-01-10"}] if drug else []
    return bpvet.Records.from_frames(
        readings(values, **columns),
        animals=pd.DataFrame(animals),
        observations=pd.DataFrame(observed) if observed else None,
        treatments=pd.DataFrame(given) if given else None,
        as_of=AS_OF,
    )


def crowded() -> bpvet.Records:
    """Return records whose every text is long, and of which much is urgent."""
    signs = ("sudden blindness", "seizures x3", "retinal detachment OU", "hyphaema", "stupor")
    words = {"site": LONG, "posture": LONG, "demeanour": LONG, "operator": LONG, "note": LONG}
    return records(
        {"2026-10-20": (225, 231, 228, 219, 233)},
        name="Countess Wilhelmina " * 12,
        signs=tuple((f"2026-10-2{i}", f"{sign} xyzzy{i} {LONG}") for i, sign in enumerate(signs)),
        instrument=LONG,
        setting="clinic",
        **words,
    )
