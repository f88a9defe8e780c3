"""Whether the protocol was kept: counts of sessions and decisions, each with what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.measuring import judged
from bpvet.facts.protocol import ENOUGH_READINGS, MIN_READINGS, limits
from bpvet.frozen import dataclass
from bpvet.maths.clusters import clustered_share
from bpvet.maths.estimate import Estimate
from bpvet.models.audit.spread import animal_codes
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.choice import Flag, split_flags
from bpvet.visits.treatments.courses import all_courses

#: Sessions this many days before a decision, and after the decision before it, bear on it.
DECISION_DAYS = int(judged("audit.decision"))
_NOT_SAID = ("operator", "site", "demeanour", "cuff_width_cm")


@dataclass(frozen=True)
class ProtocolItem:
    """How often something was so.

    Parameters
    ----------
    key, words : str
        What was counted.
    method : str
        The method, or blank for all.
    count, n : int
        How many of how many.
    share : Estimate
        0 to 1, the interval by animal.
    fact_id : str
        The fact of the protocol behind it; may be blank.
    """

    key: str
    words: str
    method: str
    count: int
    n: int
    share: Estimate
    fact_id: str


@dataclass(frozen=True)
class ReadingsTaken:
    """Readings a session by one method: a count of all that was done, so without intervals."""

    method: str
    sessions: int
    mean: float
    least: int
    median: float
    most: int
    mean_used: float


def readings_taken(table: pd.DataFrame) -> tuple[ReadingsTaken, ...]:
    """Return how many readings were taken a session, by method."""
    found = []
    for method, rows in table.groupby("method", sort=True):
        n = rows["n_taken"].to_numpy(dtype=float)
        used = rows["systolic_n"].to_numpy(dtype=float)
        found.append(
            ReadingsTaken(
                str(method),
                len(rows),
                float(n.mean()),
                int(n.min()),
                float(np.median(n)),
                int(n.max()),
                float(used.mean()),
            )
        )
    return tuple(found)


def protocol_items(table: pd.DataFrame, level: float) -> tuple[ProtocolItem, ...]:
    """Return how often sessions broke the protocol, and how, by method.

    Parameters
    ----------
    table : DataFrame
        Sessions awake, as from `bpvet.sessions`.
    level : float
        Probability of the intervals.
    """
    found = []
    for method, rows in table.groupby("method", sort=True):
        flags, animal = rows["flags"].map(split_flags), animal_codes(rows["animal"])
        for key, words, broken, fact_id in _breaks(rows, flags):
            share = clustered_share(broken, animal, level)
            count = int(broken.sum())
            found.append(ProtocolItem(key, words, str(method), count, len(rows), share, fact_id))
    return tuple(found)


def _breaks(rows: pd.DataFrame, flags: Any) -> Iterator[tuple[str, str, Any, str]]:
    """Yield key, words, whether each session was so, and the fact behind it."""
    taken, used = rows["n_taken"], rows["systolic_n"]
    few, enough = reason("audit.few", least=MIN_READINGS), Flag.NOT_ENOUGH
    yield "few", few, taken < MIN_READINGS, "protocol.n.minimum"
    yield "not_enough", enough, used < ENOUGH_READINGS, "protocol.n.enough"
    for key, flag, shown, fact_id in (
        ("inconsistent", Flag.INCONSISTENT, Flag.INCONSISTENT, "protocol.consistency.cv"),
        ("falling", Flag.FALLING, Flag.STILL_FALLING, "protocol.plateau"),
        ("pulse", Flag.COUNTED_PULSE, Flag.COUNTED_PULSE, "protocol.pulse_disagrees"),
        ("tense", Flag.TENSE, Flag.TENSE, "protocol.calm"),
    ):
        yield key, shown.value, flags.map(lambda flagged, flag=flag: flag in flagged), fact_id
    yield "excluded", reason("audit.excluded"), rows["n_excluded"] > 0, "protocol.record"
    for name in _NOT_SAID:
        blank = rows[name].isna() | (rows[name] == "")
        words = reason("audit.not_recorded", what=name.removesuffix("_cm").replace("_", " "))
        yield f"no_{name}", words, blank, "protocol.record"


@dataclass(frozen=True)
class CuffRatio:
    """Cuff width over limb circumference in one species.

    Parameters
    ----------
    species : str
    n, unknown : int
        Sessions with both lengths, and without.
    median : float or None
    below, within, above : int
        Sessions by the guideline's range.
    share_within : Estimate
        Share of those with both lengths that lie within, the interval by animal.
    low, high : float
        That range.
    fact_id : str
    """

    species: str
    n: int
    unknown: int
    median: float | None
    below: int
    within: int
    above: int
    share_within: Estimate
    low: float
    high: float
    fact_id: str


def cuff_ratios(table: pd.DataFrame, level: float) -> tuple[CuffRatio, ...]:
    """Return cuff ratios of sessions, by species."""
    found = []
    for species, rows in table.groupby("species", sort=True):
        width = rows["cuff_width_cm"].to_numpy(dtype=float)
        ratio = width / rows["limb_circumference_cm"].to_numpy(dtype=float)
        known = ratio[np.isfinite(ratio)]
        range_ = limits("cuff_ratio", str(species))
        inside = range_.usual(known)
        whose = animal_codes(rows["animal"])[np.isfinite(ratio)]
        below = int(np.sum(~inside & (known < range_.note_low)))
        above = int(np.sum(~inside & (known > range_.note_high)))
        found.append(
            CuffRatio(
                str(species),
                known.size,
                len(rows) - known.size,
                float(np.median(known)) if known.size else None,
                below,
                known.size - below - above,
                above,
                clustered_share(inside, whose, level),
                range_.note_low,
                range_.note_high,
                range_.fact.id,
            )
        )
    return tuple(found)


def _dates_of(table: pd.DataFrame) -> dict[str, NDArray[np.datetime64]]:
    """Return each animal's dates with a session, in order and once each."""
    code, names = pd.factorize(table["animal"])
    day = table["date"].to_numpy(dtype="datetime64[D]")
    order = np.lexsort((day, code))
    code, day = code[order], day[order]
    first = np.append(True, (np.diff(code) != 0) | (day[1:] != day[:-1]))[: len(code)]
    bounds = np.searchsorted(code[first], np.arange(len(names) + 1))
    once = day[first]
    return {
        str(name): once[start:stop]
        for name, start, stop in zip(names, bounds[:-1], bounds[1:], strict=True)
    }


def decisions(records: Records, table: pd.DataFrame, level: float) -> ProtocolItem:
    """Return how often a start or change of a pressure drug rested on at most one session's date.

    Sessions bear on a decision when they are of its day or at most `DECISION_DAYS` before, and
    not before the decision that went ahead of it.
    """
    dates = _dates_of(table)
    rested: list[bool] = []
    whose: list[str] = []
    for animal, treatments in all_courses(records).items():
        started = {span.started_on for span in treatments.spans if span.modelled}
        before: np.datetime64 | None = None
        for day in sorted(started):
            seen = dates.get(animal, np.empty(0, dtype="datetime64[D]"))
            first = day - np.timedelta64(DECISION_DAYS, "D")
            bearing = (seen <= day) & (seen >= first)
            if before is not None:
                bearing &= seen > before
            rested.append(bool(bearing.sum() <= 1))
            whose.append(str(animal))
            before = day
    words = reason("audit.one_session")
    share, count = clustered_share(rested, whose, level), sum(rested)
    return ProtocolItem(
        "one_session", words, "", count, len(rested), share, "acvim2018.confirm.rule"
    )
