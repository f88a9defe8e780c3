"""Worlds of simulated animals: one drawn from the model itself, the others breaking it on purpose.

Whole worlds are drawn as arrays, one row an animal, laid out as `Animals` says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bpvet.facts.priors.priors import Priors
from bpvet.facts.protocol import DROP_FIRST_FROM
from bpvet.models.trend.columns import SLOPE_DAYS
from reference_checks.coverage.animals import (
    DRUG,
    LATEST,
    METHOD,
    MOST_SESSIONS,
    SPECIES,
    Animals,
    Array,
    Flags,
    Rows,
)

MOST_READINGS = 6
#: Records reach back two years (in the world where the sicker are seen sooner: four).
LONGEST_DAYS = 730
#: The session to be foretold: so many days on, resting on so many readings.
NEXT_DAYS, NEXT_READINGS = 28, 5
#: A session at or above this starts the course where a high reading does.
HIGH = 160.0


@dataclass(frozen=True)
class World:
    """How the animals of a world differ from the model; by default, not at all.

    Parameters
    ----------
    key, words : str
        Its name, and what is different in words, as the table prints it.
    readings_df, visits_df : float or None
        Degrees of freedom of t-distributed noise with the same SD; None: normal.
    high_reading : str
        ``first`` or ``any``: one reading of each session stands `high_by` mmHg too high.
    high_by : float
        By how much, mmHg.
    excitement : (float, float, float) or None
        Mean and SD of the first-visit excitement, mmHg, and the visits over which it falls to
        1/e; None: the prior's.
    true_tau_days : float or None
        Time constant of the drug; None: the one that the fit assumes.
    sicker_sooner : bool
        Whether the time before a visit is the shorter the higher the pressure.
    step : float
        A lasting change at an unrecorded date, mmHg.
    home_share : float
        Share of the sessions taken at home and written down as if in the clinic.
    starts_when_high : bool
        Whether a course begins on the first session of 160 or more, not on a random one.
    """

    key: str
    words: str
    readings_df: float | None = None
    visits_df: float | None = None
    high_reading: str = ""
    high_by: float = 20.0
    excitement: tuple[float, float, float] | None = None
    true_tau_days: float | None = None
    sicker_sooner: bool = False
    step: float = 0.0
    home_share: float = 0.0
    starts_when_high: bool = False


WORLDS = (
    World("own", "own world: drawn from the priors"),
    World("t_readings", "t-distributed readings (3 df, same SD)", readings_df=3.0),
    World("t_visits", "t-distributed visits (3 df, same SD)", visits_df=3.0),
    World("first_high", "first reading of each session 20 high", high_reading="first"),
    World("one_high", "one reading of each session, any, 20 high", high_reading="any"),
    World("fading", "excitement 20 ± 10, over 4 visits not 1.5", excitement=(20.0, 10.0, 4.0)),
    World("sooner", "sicker seen sooner", sicker_sooner=True),
    World("tau_14", "tau truly 14 d, assumed 3 d", true_tau_days=14.0),
    World("tau_1", "tau truly 1 d, assumed 3 d", true_tau_days=1.0),
    World("step", "an unrecorded rise of 20 on a random date", step=20.0),
    World("home", "a third of the sessions at home, unrecorded", home_share=1 / 3),
    World("high_start", "treatment begun on a session of 160 or more", starts_when_high=True),
)


def cat_priors() -> Priors:
    """Return the priors that animals are drawn from and fitted under: a cat's, by Doppler."""
    return Priors.default(SPECIES, METHOD)


def simulate(world: World, animals: int, rng: np.random.Generator) -> Animals:
    """Draw the animals of a world.

    Parameters
    ----------
    world : World
    animals : int
        How many.
    rng : Generator
        Where all chance comes from.
    """
    priors = cat_priors()
    live = _sessions_there(animals, rng)
    level, slope = (
        centre + sd * rng.standard_normal(animals)
        for centre, sd in (priors.level, (0.0, priors.slope_sd))
    )
    of_groups, effect = _of_groups(priors, animals, rng)
    sv, sr, sw = (lognormal(pair, animals, rng) for pair in (priors.sv, priors.sr, priors.sw))
    start = _scheduled_starts(live, rng)
    # Where pressure itself decides who is treated, all animals are of the groups.
    level = np.where((start >= 0) | world.starts_when_high, of_groups, level)
    day, wander = _times(world, live, start, (level, slope, effect), sw, priors, rng)
    untreated = level[:, None] + slope[:, None] * day / SLOPE_DAYS + wander
    untreated += _stepped(world, day, live, rng)
    shift = _shift(world, live, priors, rng)
    shift += sv[:, None] * noise(world.visits_df, day.shape, rng)
    scatter, used = session_readings(world, sr, live, rng)
    used_count = used.sum(axis=2).astype(float)
    mean_scatter = np.where(used, scatter, 0.0).sum(axis=2) / used_count
    ss = np.where(used, (scatter - mean_scatter[:, :, None]) ** 2, 0.0).sum(axis=2)
    if world.starts_when_high:
        start = first_high(untreated + shift + mean_scatter, live)
    tau = world.true_tau_days or priors.tau_of(DRUG)
    share = risen(day, start, tau)
    usual = untreated + effect[:, None] * share
    treated = start >= 0
    return Animals(
        day=day,
        live=live,
        y=usual + shift + mean_scatter,
        ss=ss,
        k=used_count,
        start=start,
        usual=usual[:, LATEST],
        slope=slope,
        effect=np.where(treated, effect, np.nan),
        effect_now=np.where(treated, effect * share[:, LATEST], np.nan),
    )


def _of_groups(priors: Priors, animals: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return untreated levels and full effects (animals,) of treated animals."""
    parts = priors.groups.parts if priors.groups is not None else ()
    group = rng.choice(len(parts), size=animals, p=[one.weight for one in parts])
    first, second = rng.standard_normal((2, animals))
    level, effect = np.zeros(animals), np.zeros(animals)
    for i, one in enumerate(parts):
        centre, sd = one.level
        own = centre + sd * first
        if one.under_drug is None:
            full = (one.effect_sd or 0.0) * second
        else:
            full = one.under_drug[0] + one.under_drug[1] * second - own
        level, effect = np.where(group == i, own, level), np.where(group == i, full, effect)
    return level, effect


def lognormal(pair: tuple[float, float], size: int, rng: np.random.Generator) -> Array:
    """Return draws of a noise SD from its (median, log-SD)."""
    return pair[0] * np.exp(pair[1] * rng.standard_normal(size))


def noise(df: float | None, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    """Return noise of SD 1: normal, or t with `df` degrees of freedom."""
    if df is None:
        return rng.standard_normal(shape)
    return rng.standard_t(df, shape) * math.sqrt((df - 2) / df)


def _sessions_there(animals: int, rng: np.random.Generator) -> Flags:
    """1 to 14 sessions each, all equally likely."""
    count = rng.integers(1, MOST_SESSIONS + 1, animals)
    return np.arange(MOST_SESSIONS) >= MOST_SESSIONS - count[:, None]


def _scheduled_starts(live: Flags, rng: np.random.Generator) -> Rows:
    """Half of the animals with two sessions or more start on the date of one but the latest."""
    count = live.sum(axis=1)
    treated = (rng.random(count.size) < 0.5) & (count >= 2)
    column = MOST_SESSIONS - count + (rng.random(count.size) * (count - 1)).astype(np.int64)
    return np.where(treated, column, -1)


def _times(
    world: World,
    live: Flags,
    start: Rows,
    path: tuple[Array, Array, Array],
    sw: Array,
    priors: Priors,
    rng: np.random.Generator,
) -> tuple[Rows, Array]:
    """Return the days of all sessions and the wander there, drawn backwards from the latest.

    The wander is reversible, so a gap may hang on the pressure of the visit that ends it.
    """
    level, slope, effect = path
    animals = sw.size
    day = np.zeros((animals, MOST_SESSIONS + 1), dtype=np.int64)
    day[:, LATEST + 1] = NEXT_DAYS
    gaps = _plain_gaps(live, start, rng)
    wander = np.empty(day.shape)
    wander[:, LATEST] = sw * rng.standard_normal(animals)
    wander[:, LATEST + 1] = _carried(wander[:, LATEST], day[:, LATEST + 1], sw, priors, rng)
    for column in range(LATEST, 0, -1):
        gap = gaps[:, column]
        if world.sicker_sooner:
            on = (start >= 0) & (column > start)
            pressure = level + slope * day[:, column] / SLOPE_DAYS + wander[:, column] + on * effect
            gap = _sooner_gap(pressure, rng)
        day[:, column - 1] = day[:, column] - gap
        wander[:, column - 1] = _carried(wander[:, column], gap, sw, priors, rng)
    return day, wander


def _carried(
    wander: Array, gap: Rows, sw: Array, priors: Priors, rng: np.random.Generator
) -> Array:
    phi = np.exp(-gap / priors.wander_days)
    return phi * wander + np.sqrt(1 - phi**2) * sw * rng.standard_normal(sw.size)


def _plain_gaps(live: Flags, start: Rows, rng: np.random.Generator) -> Rows:
    """Days before each session: about five weeks, 1 to 3 weeks after a start, two years in all."""
    gap = np.clip(np.rint(35 * np.exp(0.8 * rng.standard_normal(live.shape))), 2, 240)
    recheck = rng.integers(7, 22, live.shape)
    after_start = np.arange(MOST_SESSIONS) == start[:, None] + 1
    gap = np.where(after_start & (start >= 0)[:, None], recheck, gap)
    ends_gap = live & np.roll(live, 1, axis=1)
    ends_gap[:, 0] = False
    total = np.where(ends_gap, gap, 0).sum(axis=1)
    shrink = np.minimum(1.0, LONGEST_DAYS / np.maximum(total, 1))
    return np.maximum(np.floor(gap * shrink[:, None]), 1).astype(np.int64)


def _sooner_gap(pressure: Array, rng: np.random.Generator) -> Rows:
    """Return a month at 150 mmHg, an e-fold sooner for each 25 mmHg above it."""
    typical = 30 * np.exp(-(pressure - 150) / 25 + 0.4 * rng.standard_normal(pressure.size))
    return np.clip(np.rint(typical), 3, 120).astype(np.int64)


def _stepped(world: World, day: Rows, live: Flags, rng: np.random.Generator) -> Array:
    """Return what was lacking before an unrecorded rise between first and latest session."""
    first = np.where(live, day[:, :MOST_SESSIONS], 0).min(axis=1)
    moment = first * rng.random(first.size)
    return np.where(day < moment[:, None], -world.step, 0.0)


def _shift(world: World, live: Flags, priors: Priors, rng: np.random.Generator) -> Array:
    """Return excitement, and home minus clinic, of each session, (N, 15)."""
    at_home = np.zeros((live.shape[0], MOST_SESSIONS + 1), dtype=bool)
    at_home[:, :MOST_SESSIONS] = rng.random(live.shape) < world.home_share
    centre, sd = priors.condition_offset["home"]
    home = centre + sd * rng.standard_normal(live.shape[0])
    mean, spread = priors.first_visit or (0.0, 0.0)
    decay = Priors.first_visit_fading
    if world.excitement is not None:
        mean, spread, decay = world.excitement
    excitement = mean + spread * rng.standard_normal(live.shape[0])
    there = np.concatenate([live, np.ones((live.shape[0], 1), dtype=bool)], axis=1)
    visit = np.cumsum(there & ~at_home, axis=1) - 1
    fading = excitement[:, None] * np.exp(-np.maximum(visit, 0) / decay)
    return np.where(at_home, home[:, None], fading)


def session_readings(
    world: World, sr: Array, live: Flags, rng: np.random.Generator
) -> tuple[Array, Flags]:
    """Return each reading's own scatter and whether the guideline's rule uses it, (N, 15, 6).

    Sessions of three to six readings; of four or more the first is left out.
    """
    animals = sr.size
    taken = rng.integers(3, MOST_READINGS + 1, (animals, MOST_SESSIONS + 1))
    taken[:, LATEST + 1] = NEXT_READINGS + 1
    position = np.arange(MOST_READINGS)
    scatter = sr[:, None, None] * noise(
        world.readings_df, (animals, MOST_SESSIONS + 1, MOST_READINGS), rng
    )
    any_place = (rng.random(taken.shape) * taken).astype(np.int64)
    if world.high_reading:
        place = any_place if world.high_reading == "any" else np.zeros_like(taken)
        scatter += world.high_by * (position == place[:, :, None])
    used = position < taken[:, :, None]
    used &= (position > 0) | (taken < DROP_FIRST_FROM)[:, :, None]
    return scatter, used


def first_high(measured: Array, live: Flags) -> Rows:
    """Return the column of the first session of 160 or more before the latest; −1 without."""
    high = live & (measured[:, :MOST_SESSIONS] >= HIGH)
    high[:, LATEST] = False
    return np.where(high.any(axis=1), high.argmax(axis=1), -1)


def risen(day: Rows, start: Rows, tau_days: float) -> Array:
    """Return how far the course has risen at each session, 0 to 1; 0 without a course."""
    started = np.take_along_axis(day, np.maximum(start, 0)[:, None], axis=1)
    share = -np.expm1(-np.maximum(day - started, 0) / tau_days)
    return np.where((start >= 0)[:, None], share, 0.0)
