"""Animals that come back to a clinic: the truth about them, drawn from published sizes.

The sizes are those of the facts' sources (levels, scatter, effects), not the priors of a fit:
the model must not be judged by its own beliefs alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Healthy cats by Doppler, 121 ± 16 (780) and, nine years and older, 132 ± 19 (124); by
#: oscillometer 147 ± 18 (137). Dogs 131 ± 20 to 147 ± 25. Single visits: the true spread is less.
HEALTHY = {
    ("cat", "doppler", False): (120.6, 16.0),
    ("cat", "doppler", True): (132.0, 19.0),
    ("cat", "oscillometric", False): (140.0, 18.0),
    ("cat", "oscillometric", True): (147.0, 18.0),
    ("dog", "doppler", False): (131.0, 20.0),
    ("dog", "doppler", True): (147.0, 24.6),
    ("dog", "oscillometric", False): (131.0, 20.0),
    ("dog", "oscillometric", True): (149.0, 26.0),
}
#: Cats and dogs on a drug: 154 ± 17 at the end of a trial of 42 cats.
ON_DRUG = (154.0, 17.0)
#: Cats of seven years and more in practice: median 150, 21 % at 180 or more (8884): log-normal.
#: Less what a single visit adds to the spread.
PRACTICE = (np.log(145.0), 0.20)
#: Animals that hold out against drugs (J): usual pressure without one.
HARD = (np.log(188.0), 0.08)
#: Scatter within a session: Doppler 9.0, oscillometric 13.3 (29 dogs).
READING_SD = {"doppler": 9.0, "oscillometric": 13.3}
#: Two means of one hour: 9.3 each (40 dogs). With the wander 12 to 14 between visits: 12 to 19 in
#: cats on placebo, 4 to 12 % in trained dogs.
VISIT_SD, WANDER_SD, WANDER_DAYS = 9.3, 8.0, 60.0
#: The harder world's.
HARD_VISIT_SD, TAILS = 14.0, 3.0
#: Getting used to visits: a fall of 8 to 12 on placebo (cats), more in dogs.
EXCITEMENT = {"cat": (10.0, 8.0), "dog": (16.0, 16.0)}
EXCITEMENT_VISITS = 1.5
#: Net effects of 10 to 16; raw falls of 20 to 50, the larger the higher the start.
TAU_DAYS = 5.0
#: Two creatinine samples of a steady animal (D).
CREATININE_CV = 0.08
TRUE_RANGE = (120.0, 150.0)


@dataclass(frozen=True)
class World:
    """One world of animals.

    Parameters
    ----------
    key, words : str
        Its name, and in words.
    kind : str
        ``steady`` (truly at 120 to 150), ``mixed`` (a clinic) or ``hard`` (drugs do little).
    harder : bool
        Visit SD 14, and visits and readings with the tails of t with 3 degrees of freedom.
    wordy : bool
        Whether a third of the treated had a kidney reaction and words unread, unclear or weak
        stand in the records.
    events : bool
        Whether each animal becomes urgent: a rise, a fall on a drug or a sign, a third each.
    at : str
        When the owner comes within the window: ``middle`` or ``latest``.
    """

    key: str
    words: str
    kind: str
    harder: bool = False
    wordy: bool = False
    events: bool = False
    at: str = "middle"

    @property
    def acts(self) -> bool:
        """Whether the vet changes drugs by what is measured."""
        return self.kind != "steady"


@dataclass(frozen=True, eq=False)
class Patients:
    """Simulated animals with the truth about them; arrays of N, one entry an animal.

    Parameters
    ----------
    species, method : (N,) str
    age_years : (N,)
        On day 0.
    treated : (N,) bool
        On a drug from day 0 on.
    path : (N, days)
        Usual pressure without a drug on each day, mmHg.
    response : (N,)
        Full effect of a first drug, mmHg: how far it lowers.
    excitement, visit_sd, reading_sd : (N,)
        mmHg.
    creatinine : (N,)
        µmol/L without a reaction.
    reaction : (N,) bool
        Whether creatinine rose by 60 % after the drug began.
    event, event_day : (N,)
        ``rise``, ``fall``, ``sign`` or blank, and the day on which it begins.
    """

    species: NDArray[np.str_]
    method: NDArray[np.str_]
    age_years: Array
    treated: NDArray[np.bool_]
    path: Array
    response: Array
    excitement: Array
    visit_sd: Array
    reading_sd: Array
    creatinine: Array
    reaction: NDArray[np.bool_]
    event: NDArray[np.str_]
    event_day: NDArray[np.int64]

    def __len__(self) -> int:
        return self.species.size


def patients(world: World, count: int, days: int, rng: np.random.Generator) -> Patients:
    """Draw the animals of a world.

    Parameters
    ----------
    world : World
    count : int
        How many.
    days : int
        Length of their paths.
    """
    species = np.where(rng.random(count) < 0.65, "cat", "dog")
    method = np.where(rng.random(count) < 0.6, "doppler", "oscillometric")
    age = rng.uniform(3, 17, count)
    treated = np.arange(count) % 2 == 0 if world.kind == "steady" else np.full(count, False)
    if world.kind == "hard":
        treated[:] = True
    event = np.full(count, "", dtype="<U4")
    if world.events:
        event = np.array(["rise", "fall", "sign"])[np.arange(count) // 2 % 3]
        # A pressure falls too low on a drug; the other two with and without.
        treated |= event == "fall"
    level, response = _levels(world, species, method, age, treated, rng)
    path = level[:, None] + _wander(count, days, rng)
    event_day = rng.integers(150, 350, count)
    _begun(path, event, event_day, level, response, treated, rng)
    return Patients(
        species=species,
        method=method,
        age_years=age,
        treated=treated,
        path=path,
        response=response,
        excitement=np.array([_normal(EXCITEMENT[str(one)], rng) for one in species]),
        visit_sd=(HARD_VISIT_SD if world.harder else VISIT_SD) * _spread(count, rng),
        reading_sd=np.array([READING_SD[str(one)] for one in method]) * _spread(count, rng),
        # Half without kidney disease, a third in stages 1 and 2, a sixth in 3 and 4.
        creatinine=np.array([(100.0, 190.0, 320.0)[_third(rng)] for _ in range(count)])
        * np.exp(0.15 * rng.standard_normal(count)),
        reaction=treated & world.wordy & (rng.random(count) < 1 / 3),
        event=event,
        event_day=event_day,
    )


def _spread(count: int, rng: np.random.Generator) -> Array:
    """Return factors (N,) of SDs that differ between animals; their mean square is 1."""
    sd = 0.3
    factor: Array = np.exp(sd * rng.standard_normal(count) - sd**2)
    return factor


def _third(rng: np.random.Generator) -> int:
    return int(np.searchsorted([1 / 2, 5 / 6], rng.random()))


def _normal(of: tuple[float, float], rng: np.random.Generator) -> float:
    return of[0] + of[1] * float(rng.standard_normal())


def _levels(
    world: World,
    species: NDArray[np.str_],
    method: NDArray[np.str_],
    age: Array,
    treated: NDArray[np.bool_],
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Return the usual pressure without a drug and what a first drug takes off it, (N,) each."""
    level, response = np.empty(species.size), np.empty(species.size)
    for i in range(species.size):
        healthy = HEALTHY[str(species[i]), str(method[i]), bool(age[i] >= 9)]
        if world.kind == "steady":
            on_drug = _within(ON_DRUG if treated[i] else healthy, rng)
            response[i] = max(5.0, _normal((27.0, 12.0), rng))
            level[i] = on_drug + (response[i] if treated[i] else 0.0)
        elif world.kind == "mixed":
            old = species[i] == "cat" and age[i] >= 7
            level[i] = np.exp(_normal(PRACTICE, rng)) if old else _normal(healthy, rng)
            response[i] = max(5.0, _normal((20 + 0.5 * max(level[i] - 170, 0), 10.0), rng))
        else:
            level[i] = np.exp(_normal(HARD, rng))
            response[i] = _normal((8.0, 6.0), rng)
    return level, response


def _within(of: tuple[float, float], rng: np.random.Generator) -> float:
    """Draw a level that is truly at 120 to 150."""
    low, high = TRUE_RANGE
    while True:
        value = _normal(of, rng)
        if low <= value <= high:
            return value


def _wander(count: int, days: int, rng: np.random.Generator) -> Array:
    phi = np.exp(-1 / WANDER_DAYS)
    steps = WANDER_SD * rng.standard_normal((count, days))
    steps[:, 1:] *= np.sqrt(1 - phi**2)
    for day in range(1, days):
        steps[:, day] += phi * steps[:, day - 1]
    return steps


def _begun(
    path: Array,
    event: NDArray[np.str_],
    day: NDArray[np.int64],
    level: Array,
    response: Array,
    treated: NDArray[np.bool_],
    rng: np.random.Generator,
) -> None:
    """Let pressures rise to 190 to 200 within 30 days, or fall to 85 to 95 within 14."""
    for i in np.flatnonzero((event == "rise") | (event == "fall")):
        length = 30 if event[i] == "rise" else 14
        end = rng.uniform(190, 200) if event[i] == "rise" else rng.uniform(85, 95)
        now = level[i] - (response[i] if treated[i] else 0.0)
        share = np.clip((np.arange(path.shape[1]) - day[i]) / length, 0, 1)
        path[i] += share * (end - now)
        # What has happened stays: no slow wander takes it back.
        path[i] += share * (level[i] + share * (end - now) - path[i])
