"""From an arm to simulated animals with the truth about them, laid out as `Animals` says."""

from __future__ import annotations

import numpy as np

from bpvet.facts.priors.priors import Priors
from reference_checks.coverage.animals import (
    LATEST,
    METHOD,
    MOST_SESSIONS,
    SPECIES,
    Animals,
    Array,
    Flags,
    Rows,
)
from reference_checks.coverage.worlds import NEXT_DAYS, lognormal, risen
from reference_checks.trials.arms import HABITUATION, Arm

#: Five readings are taken and the rule leaves out the first.
_USED = 4.0
#: Animals that are drawn at once where only those count that begin on a high day.
_AT_ONCE = 2_000
#: Draws after which an arm is given up as one that hardly ever begins.
_MOST_DRAWS = 400
SLOPE_SD, SLOPE_DAYS, WANDER_DAYS = 2.0, 30.0, 60.0
TRUE_TAU = 3.0


def animals_of(arm: Arm, count: int, rng: np.random.Generator) -> Animals:
    """Draw `count` animals of an arm.

    Raises
    ------
    RuntimeError
        Where hardly any of its animals begins on a high day.
    """
    parts: list[Animals] = []
    for _ in range(_MOST_DRAWS):
        parts.append(_drawn(arm, count if arm.begun_at is None else _AT_ONCE, rng))
        if sum(len(part) for part in parts) >= count:
            return _joined(parts, count)
    raise RuntimeError(f"hardly any animal of {arm.key} begins")


def _drawn(arm: Arm, n: int, rng: np.random.Generator) -> Animals:
    level, effect, factor = arm.population(n, rng)
    day, live, start = _varied(arm, n, rng) if arm.varied else _common(arm, n)
    own = Priors.default(SPECIES, METHOD)
    sv, sr, sw = (lognormal(pair, n, rng) for pair in (own.sv, own.sr, own.sw))
    slope = SLOPE_SD * rng.standard_normal(n)
    usual = level[:, None] + slope[:, None] * day / SLOPE_DAYS + _wander(day, sw, rng)
    share = risen(day, start, TRUE_TAU)
    usual += effect[:, None] * share
    mean, sd, decay = HABITUATION[arm.habituation]
    visit = np.cumsum(np.concatenate([live, np.ones((n, 1), dtype=bool)], axis=1), axis=1) - 1
    excitement = mean + sd * rng.standard_normal(n)
    y = usual + excitement[:, None] * np.exp(-np.maximum(visit, 0) / decay)
    y += (factor * sv)[:, None] * rng.standard_normal(day.shape)
    y += sr[:, None] / np.sqrt(_USED) * rng.standard_normal(day.shape)
    ss = sr[:, None] ** 2 * rng.chisquare(_USED - 1, day.shape)
    treated = start >= 0
    found = Animals(
        day=day,
        live=live,
        y=y,
        ss=ss,
        k=np.full(day.shape, _USED),
        start=start,
        usual=usual[:, LATEST].copy(),
        slope=slope,
        effect=np.where(treated, effect, np.nan),
        effect_now=np.where(treated, effect * share[:, LATEST], np.nan),
    )
    return found if arm.begun_at is None else _taken(found, _begins(found, arm.begun_at))


def _common(arm: Arm, n: int) -> tuple[Rows, Flags, Rows]:
    """Return one schedule for all: days from the latest session, sessions, column of the start."""
    days = np.array([*arm.before, *arm.after])
    day = np.full(MOST_SESSIONS + 1, days[0] - days[-1])
    day[MOST_SESSIONS - days.size : MOST_SESSIONS] = days - days[-1]
    day[LATEST + 1] = NEXT_DAYS
    live = np.arange(MOST_SESSIONS) >= MOST_SESSIONS - days.size
    start = MOST_SESSIONS - len(arm.after) - 1 if arm.after else -1
    return np.tile(day, (n, 1)), np.tile(live, (n, 1)), np.full(n, start)


def _varied(arm: Arm, n: int, rng: np.random.Generator) -> tuple[Rows, Flags, Rows]:
    """Return schedules of 1 to 4 sessions before, the last on the start, and 1 to 6 after."""
    before, after = rng.integers(1, 5, n), rng.integers(1, 7, n)
    start = MOST_SESSIONS - after - 1
    column = np.arange(MOST_SESSIONS)
    live = column >= (start - before + 1)[:, None]
    gap = rng.integers(7, 61, (n, MOST_SESSIONS))
    day = np.zeros((n, MOST_SESSIONS + 1), dtype=np.int64)
    day[:, LATEST + 1] = NEXT_DAYS
    for i in range(LATEST, 0, -1):
        day[:, i - 1] = day[:, i] - np.where(live[:, i - 1], gap[:, i], 0)
    return day, live, start


def _wander(day: Rows, sw: Array, rng: np.random.Generator) -> Array:
    """Return the slow wander at the days, (N, 15)."""
    wander = np.empty(day.shape)
    wander[:, 0] = sw * rng.standard_normal(sw.size)
    for i in range(1, day.shape[1]):
        kept = np.exp(-(day[:, i] - day[:, i - 1]) / WANDER_DAYS)
        fresh = np.sqrt(1 - kept**2) * sw * rng.standard_normal(sw.size)
        wander[:, i] = kept * wander[:, i - 1] + fresh
    return wander


def _begins(found: Animals, high: float) -> Flags:
    """Return which animals read high for the first time on the day that the course begins."""
    column = np.arange(MOST_SESSIONS)
    before = found.live & (column < found.start[:, None])
    at_start = np.take_along_axis(found.y, found.start[:, None], axis=1)[:, 0]
    earlier = np.where(before, found.y[:, :MOST_SESSIONS], -np.inf).max(axis=1)
    return (at_start >= high) & (earlier < high)


def _taken(found: Animals, chosen: Flags) -> Animals:
    return Animals(**{name: values[chosen] for name, values in vars(found).items()})


def _joined(parts: list[Animals], count: int) -> Animals:
    return Animals(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])[:count]
            for name in vars(parts[0])
        }
    )
