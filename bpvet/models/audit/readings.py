"""What happens within sessions: first readings, drift, end digits, repeats, time of day."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.measuring import judged
from bpvet.facts.words import METHODS
from bpvet.frozen import dataclass
from bpvet.maths.clusters import centred, clustered_share, clustered_slope
from bpvet.maths.digits import DigitTest, end_digits, repeats_expected
from bpvet.maths.estimate import Estimate
from bpvet.models.audit.spread import animal_codes
from bpvet.records.records import Records
from bpvet.visits.readings import coded_readings_used

#: What each method's readings are read to, mmHg: a dial's marks, a display's digits.
STEPS = {method: int(judged(f"audit.step_{method}")) for method in METHODS}
#: Sessions of fewer readings say nothing of an order.
LEAST_READINGS = int(judged("audit.least_readings"))
#: Readings of a session that are looked at one by one.
MOST_PLACES = int(judged("audit.places"))
#: Share of sessions that must have a reading of a place for it to be looked at by itself.
_PLACE_SHARE = judged("audit.place_share")
NOON = judged("audit.noon")


@dataclass(frozen=True)
class Place:
    """Readings of one place in their sessions, less the mean of those after the first; mmHg."""

    place: int
    sessions: int
    minus_rest: Estimate


@dataclass(frozen=True)
class OrderEffects:
    """How readings go within a session by one method; mmHg.

    Parameters
    ----------
    method : str
    sessions : int
        Sessions of three or more plain readings.
    first_minus_rest : Estimate
        First reading taken less the mean of those after it.
    drift : Estimate
        Change for each further reading, the first included.
    drift_after_first : Estimate
        The same from the second reading on.
    places : tuple of Place
        The first readings of sessions one by one, from the first.
    """

    method: str
    sessions: int
    first_minus_rest: Estimate
    drift: Estimate
    drift_after_first: Estimate
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Digits:
    """End digits and repeats by one method.

    Parameters
    ----------
    method : str
    test : DigitTest
        Against no digit being preferred, on the instrument's own step.
    zeros : Estimate
        Share that ends in 0, of the readings on the step.
    repeats, pairs : int
        Consecutive readings that are equal, of how many.
    repeats_share : Estimate
    repeats_expected : float or None
        Share expected from the scatter of this method's readings alone.
    identical_sessions : int
        Sessions of three or more readings that are all equal.
    """

    method: str
    test: DigitTest
    zeros: Estimate
    repeats: int
    pairs: int
    repeats_share: Estimate
    repeats_expected: float | None
    identical_sessions: int


@dataclass(frozen=True)
class TimeOfDay:
    """How an animal's sessions differ by the hour, by one method; mmHg.

    Parameters
    ----------
    method : str
    sessions, morning, afternoon : int
        Sessions with a time, and those before and from noon.
    afternoon_minus_morning, per_hour : Estimate
        Within animals and conditions.
    """

    method: str
    sessions: int
    morning: int
    afternoon: int
    afternoon_minus_morning: Estimate
    per_hour: Estimate


def plain_readings(records: Records, rule: str, conditions: tuple[str, ...]) -> pd.DataFrame:
    """Return plain systolic readings taken awake, in order of taking, whatever the rule says.

    Parameters
    ----------
    records : Records
    rule : str
        By which readings are placed in their sessions.
    conditions : tuple of str
        Conditions to keep.

    Returns
    -------
    DataFrame
        animal, session, method, order, systolic, and `key`, the session's number among all.
    """
    coded = coded_readings_used(records, rule)
    kept = (
        coded["fate"].isin(["used", "left out"])
        & coded["systolic"].notna()
        & (coded["systolic_bound"] == "")
        & (coded["summary_n"] == 0)
        & coded["condition"].isin(conditions)
    ).to_numpy(dtype=bool)
    rows = pd.DataFrame(
        {
            "animal": coded["animal"][kept].astype("str"),
            "session": coded["session"][kept],
            "method": coded["method"][kept].astype("str"),
            "order": coded["order"][kept],
            "systolic": coded["systolic"][kept],
        }
    )
    rows["key"] = rows.groupby(["animal", "session"]).ngroup()
    return rows.sort_values(["key", "order"], kind="stable").reset_index(drop=True)


def order_effects(rows: pd.DataFrame, level: float) -> tuple[OrderEffects, ...]:
    """Return first reading against the rest and drift within sessions, by method."""
    found = []
    for method, of_method in rows.groupby("method", sort=True):
        size = of_method.groupby("key")["systolic"].transform("size")
        long = of_method[size >= LEAST_READINGS].copy()
        long["place"] = long.groupby("key").cumcount()
        rest = long[long["place"] > 0]
        first = long[long["place"] == 0].set_index("key")
        gap = first["systolic"] - rest.groupby("key")["systolic"].mean()
        ones = np.ones(len(first))
        found.append(
            OrderEffects(
                str(method),
                len(first),
                clustered_slope(
                    ones, gap.to_numpy(dtype=float), animal_codes(first["animal"]), level
                ),
                _drift(long, level),
                _drift(rest, level),
                _places(long, rest, level),
            )
        )
    return tuple(found)


def _places(long: pd.DataFrame, rest: pd.DataFrame, level: float) -> tuple[Place, ...]:
    about = rest.groupby("key")["systolic"].mean()
    found = []
    for nth, at_place in long[long["place"] < MOST_PLACES].groupby("place", sort=True):
        if len(at_place) < _PLACE_SHARE * long["key"].nunique():
            break
        gap = (at_place["systolic"] - at_place["key"].map(about)).to_numpy(dtype=float)
        offset = clustered_slope(
            np.ones(len(at_place)), gap, animal_codes(at_place["animal"]), level
        )
        found.append(Place(int(str(nth)) + 1, len(at_place), offset))
    return tuple(found)


def _drift(rows: pd.DataFrame, level: float) -> Estimate:
    x = centred(rows["place"], rows["key"])
    y = centred(rows["systolic"], rows["key"])
    return clustered_slope(x, y, animal_codes(rows["animal"]), level)


def digits(
    rows: pd.DataFrame, reading_sd: dict[str, float | None], level: float
) -> tuple[Digits, ...]:
    """Return end digits and repeats, by method.

    Parameters
    ----------
    rows : DataFrame
        As from `plain_readings`.
    reading_sd : dict
        SD of readings within sessions, by method.
    level : float
        Probability of the intervals.
    """
    return tuple(
        _digits(str(method), of_method, reading_sd.get(str(method)), level)
        for method, of_method in rows.groupby("method", sort=True)
    )


def _digits(method: str, readings: pd.DataFrame, sd: float | None, level: float) -> Digits:
    step = STEPS[method]
    test = end_digits(readings["systolic"], readings["key"], step)
    key, value = readings["key"].to_numpy(), readings["systolic"].to_numpy(dtype=float)
    together = key[1:] == key[:-1]
    animal = animal_codes(readings["animal"])
    equal = (value[1:] == value[:-1])[together]
    on_step = np.mod(value, step) == 0
    groups = readings.groupby("key")["systolic"].agg(["size", "min", "max"])
    identical = int(((groups["size"] >= LEAST_READINGS) & (groups["min"] == groups["max"])).sum())
    return Digits(
        method,
        test,
        clustered_share(np.mod(value[on_step], 10) == 0, animal[on_step], level),
        int(equal.sum()),
        equal.size,
        clustered_share(equal, animal[1:][together], level),
        None if sd is None else repeats_expected(sd, step),
        identical,
    )


def time_of_day(table: pd.DataFrame, level: float) -> tuple[TimeOfDay, ...]:
    """Return how sessions of one animal differ by the hour, by method."""
    timed = table[table["first_time"].notna() & table["systolic"].notna()]
    return tuple(
        _time_of_day(str(method), of_method, level)
        for method, of_method in timed.groupby("method", sort=True)
    )


def _time_of_day(method: str, readings: pd.DataFrame, level: float) -> TimeOfDay:
    hour = (readings["first_time"].dt.hour + readings["first_time"].dt.minute / 60).to_numpy(
        dtype=float
    )
    late: Any = (hour >= NOON).astype(float)
    group = readings.groupby(["animal", "condition"]).ngroup()
    y, animal = centred(readings["systolic"], group), animal_codes(readings["animal"])
    return TimeOfDay(
        method,
        len(readings),
        int(np.sum(late == 0)),
        int(np.sum(late == 1)),
        clustered_slope(centred(late, group), y, animal, level),
        clustered_slope(centred(hour, group), y, animal, level),
    )
