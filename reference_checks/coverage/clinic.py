"""A clinic of simulated animals: visit by visit through the same code as real records.

Each round is one visit of every animal that is due. Their records up to that visit, moved so that
each animal's visit falls on one day, are read as data frames, fitted in one pass, and judged; the
window that comes out says when each animal comes next.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

import bpvet
from bpvet.facts.categories import guideline
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import Safety, safety
from reference_checks.coverage.patients import (
    CREATININE_CV,
    EXCITEMENT_VISITS,
    TAILS,
    TAU_DAYS,
    Patients,
    World,
)

AS_OF = np.datetime64("2026-06-01")
DRUG = {"cat": "amlodipine", "dog": "telmisartan"}
#: Truly above target is a usual pressure above this, mmHg.
TARGET = float(guideline("acvim2018").target.value)
#: The vet steps up where two sessions in a row lie at or above this, down where one lies below.
STEP_UP, STEP_DOWN, MOST_STEPS = 160.0, 100.0, 3
#: Share of the visits with such words, where a world has them.
UNREAD_SHARE, WEAK_SHARE = 0.10, 0.05
UNREAD = ("knackered", "walks oddly", "? seizure", "not herself", "zoomies")
WEAK = ("lethargic", "weakness")
SIGNS = (
    "sudden blindness",
    "retinal detachment OD",
    "seizure x2",
    "hyphaema",
    "circling and disorientation",
    "cannot see",
    "retinal haemorrhage OU",
    "mydriasis, absent menace",
    "head pressing",
    "detached retina",
)


@dataclass
class Diary:
    """What stands in the records of one animal, by days of the simulation."""

    visits: list[int] = field(default_factory=list)
    readings: list[np.ndarray] = field(default_factory=list)
    courses: list[tuple[int, float]] = field(default_factory=list)
    labs: list[tuple[int, float]] = field(default_factory=list)
    seen: list[tuple[int, str]] = field(default_factory=list)

    def mean(self, visit: int) -> float:
        """Return a session's mean by the guideline's rule, mmHg."""
        values = self.readings[visit]
        return float((values[1:] if values.size > 3 else values).mean())


@dataclass(frozen=True)
class Visit:
    """One visit: the truth, what was said, and when the animal came next.

    Parameters
    ----------
    animal, day, number : int
        Which, on which day of the simulation, and which visit of the animal's (from 0).
    usual : float
        True usual pressure on that day, mmHg.
    treated : bool
    rules : tuple of str
        Urgent lines.
    state : str
        State of the window; blank where visits stand at fixed intervals.
    wait : int
        Days until the next visit.
    unseen : tuple of int
        Of each day until then with a true usual pressure above target, the days left to wait.
    """

    animal: int
    day: int
    number: int
    usual: float
    treated: bool
    rules: tuple[str, ...]
    state: str
    wait: int
    unseen: tuple[int, ...]


def visits(
    world: World,
    of: Patients,
    days: int,
    rng: np.random.Generator,
    *,
    every: int | None = None,
) -> list[Visit]:
    """Follow the animals of a block for some days; return their visits, by round and animal.

    An animal whose event is recognised is not followed further.

    Parameters
    ----------
    world : World
    of : Patients
    days : int
        The last day on which a visit may begin.
    every : int, optional
        A fixed interval, days; nothing is asked of the program then.
    """
    diaries = [Diary() for _ in range(len(of))]
    day = np.zeros(len(of), dtype=np.int64)
    found: list[Visit] = []
    due = np.arange(len(of))
    while due.size:
        for i in due:
            _measured(world, of, int(i), int(day[i]), diaries[i], rng)
        said = {} if every else asked(of, due, day, diaries)
        for i in due:
            one = int(i)
            usual = usual_on(of, one, int(day[one]), diaries[one])
            treated = bool(diaries[one].courses)
            # A change takes effect on the records of the next visit; the window counts from it.
            changed = world.acts and _acted(of, one, int(day[one]), diaries[one], rng)
            rules, state, wait = (), "", every or 0
            if every is None:
                answer = said[one]
                rules = tuple(line.rule for line in answer.lines)
                state, wait = _next(answer, world.at)
                after = {"middle": 8, "latest": 10}[world.at]
                if changed and after < wait:
                    state, wait = "changed", after
            number = len(diaries[one].visits) - 1
            unseen = _unseen(of, one, int(day[one]), wait, days, diaries[one])
            found.append(
                Visit(one, int(day[one]), number, usual, treated, rules, state, wait, unseen)
            )
            day[one] += wait
            if recognised(of, one, found[-1]):
                day[one] = days + 1
        due = due[day[due] <= days]
    return found


def recognised(of: Patients, animal: int, visit: Visit) -> bool:
    """Return whether a visit tells what has begun in this animal."""
    telling = {
        "rise": ("severe",),
        "fall": ("low", "low_on_treatment"),
        "sign": ("sign_current", "sign_open"),
        "": (),
    }[str(of.event[animal])]
    begun = visit.day >= of.event_day[animal]
    return bool(begun and set(telling) & set(visit.rules))


def usual_on(of: Patients, animal: int, day: int, diary: Diary) -> float:
    """Return the true usual pressure of an animal on a day, mmHg."""
    fall = sum(full * -np.expm1(-(day - start) / TAU_DAYS) for start, full in diary.courses)
    return float(of.path[animal, day] - fall)


def _unseen(
    of: Patients, animal: int, day: int, wait: int, days: int, diary: Diary
) -> tuple[int, ...]:
    ahead = range(day + 1, min(day + wait, days) + 1)
    above = (on for on in ahead if usual_on(of, animal, on, diary) > TARGET)
    return tuple(day + wait - on for on in above)


def _measured(
    world: World, of: Patients, i: int, day: int, diary: Diary, rng: np.random.Generator
) -> None:
    def noise(size: int | None = None) -> np.ndarray | float:
        if world.harder:
            return rng.standard_t(TAILS, size) / np.sqrt(TAILS / (TAILS - 2))
        return rng.standard_normal(size)

    number = len(diary.visits)
    session = (
        usual_on(of, i, day, diary)
        + of.excitement[i] * np.exp(-number / EXCITEMENT_VISITS)
        + of.visit_sd[i] * noise()
    )
    values = session + of.reading_sd[i] * noise(int(rng.integers(4, 7)))
    diary.visits.append(day)
    diary.readings.append(np.clip(np.rint(values), 40, 290))
    if number == 0 and of.treated[i]:
        diary.courses.append((day, float(of.response[i])))
    _sampled(of, i, day, diary, rng)
    if world.wordy:
        if rng.random() < UNREAD_SHARE:
            diary.seen.append((day, str(rng.choice(UNREAD))))
        if rng.random() < WEAK_SHARE:
            diary.seen.append((day, str(rng.choice(WEAK))))
    if of.event[i] == "sign" and day >= of.event_day[i]:
        diary.seen.append((day, SIGNS[i % len(SIGNS)]))


def _sampled(of: Patients, i: int, day: int, diary: Diary, rng: np.random.Generator) -> None:
    """Take creatinine at the first visit, on a drug every 120 days, without one every 300."""
    wait = 120 if diary.courses else 300
    early = bool(diary.courses) and 3 <= day - diary.courses[0][0] <= 30 and len(diary.labs) == 1
    if diary.labs and day - diary.labs[-1][0] < wait and not early:
        return
    raised = 1.6 if of.reaction[i] and diary.labs else 1.0
    value = of.creatinine[i] * raised * np.exp(CREATININE_CV * rng.standard_normal())
    diary.labs.append((day, float(np.rint(value))))


def _acted(of: Patients, i: int, day: int, diary: Diary, rng: np.random.Generator) -> bool:
    """Change the drug by what is measured; return whether it was changed."""
    last = [diary.mean(visit) for visit in range(len(diary.visits))[-2:]]
    settled = not diary.courses or day - diary.courses[-1][0] >= 7
    if not settled:
        return False
    if last[-1] < STEP_DOWN and diary.courses:
        total = sum(full for _, full in diary.courses)
        diary.courses.append((day, -0.5 * total))
        return True
    high = len(last) == 2 and min(last) >= STEP_UP
    if high and len(diary.courses) < MOST_STEPS:
        first = float(of.response[i])
        full = first if not diary.courses else 0.4 * first + 4 * float(rng.standard_normal())
        diary.courses.append((day, full))
        return True
    return False


def _next(answer: Safety, at: str) -> tuple[str, int]:
    again = answer.recheck
    assert again is not None  # every animal here is a cat or a dog that has not left
    latest = int((again.latest - AS_OF).astype(int))
    # A window without an earliest day is one day, "at the latest".
    early = again.latest if np.isnat(again.earliest) else again.earliest
    earliest = max(int((early - AS_OF).astype(int)), 0)
    wait = latest if at == "latest" else (earliest + latest) // 2
    return again.row.state, max(wait, 1)


def asked(
    of: Patients, due: np.ndarray, day: np.ndarray, diaries: list[Diary]
) -> dict[int, Safety]:
    """Return what is said of each animal at the visit that it is at."""
    records = records_of(of, due, day, diaries)
    trends = bpvet.fit_trends(records, conditions=("clinic",), progress=False)
    chosen = {name: guideline("acvim2018", name) for name in ("cat", "dog")}
    said = {}
    for (animal, *_), trend in trends.items():
        sessions, treatments = trend.context.sessions, trend.context.treatments
        own = chosen[trend.series.species]
        case = AnimalCase(records, animal, sessions, treatments, trend)
        said[int(animal)] = safety(case, own)
    return said


def records_of(
    of: Patients, due: np.ndarray, day: np.ndarray, diaries: list[Diary]
) -> bpvet.Records:
    """Return the records of the animals that are due, each one's visit moved to `AS_OF`."""
    readings: dict[str, list[object]] = {name: [] for name in ("animal", "taken_at", "method")}
    values: list[np.ndarray] = []
    treatments, labs, seen, animals = [], [], [], []
    for i in due:
        diary, name = diaries[i], str(i)
        moved = AS_OF - int(day[i])
        for on, session in zip(diary.visits, diary.readings, strict=True):
            readings["animal"] += [name] * session.size
            readings["taken_at"] += [str(moved + on)] * session.size
            readings["method"] += [str(of.method[i])] * session.size
            values.append(session)
        treatments += _rows(diary, name, DRUG[str(of.species[i])], moved)
        labs += [
            {"animal": name, "sampled_on": str(moved + on), "analyte": "creatinine", "value": value}
            for on, value in diary.labs
        ]
        seen += [{"animal": name, "seen_on": str(moved + on), "sign": s} for on, s in diary.seen]
        born = moved - int(of.age_years[i] * 365.25)
        animals.append({"animal": name, "species": str(of.species[i]), "birth_date": str(born)})
    tables = {"labs": labs, "treatments": treatments, "observations": seen, "animals": animals}
    frames = {name: pd.DataFrame(rows) for name, rows in tables.items() if rows}
    frames["labs"]["unit"] = "µmol/L"
    return bpvet.Records.from_frames(
        pd.DataFrame(readings).assign(systolic=np.concatenate(values)),
        **frames,
        as_of=str(AS_OF),
    )


def _rows(diary: Diary, animal: str, drug: str, moved: np.datetime64) -> list[dict[str, object]]:
    """Return a row a course: each other dose ends the one before."""
    ends = [start for start, _ in diary.courses[1:]]
    return [
        {
            "animal": animal,
            "drug": drug,
            "started_on": str(moved + start),
            "stopped_on": str(moved + ends[k]) if k < len(ends) else "",
            "dose": str(k + 1),
            "dose_unit": "dose",
        }
        for k, (start, _) in enumerate(diary.courses)
    ]
