"""Records of animals drawn by chance, as plain days and numbers and as records of bpvet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

import bpvet
from reference_checks.answers.dense import TAU, Animal, Session, Spell

DAY_0 = np.datetime64("2024-03-01")
_DAY = np.timedelta64(1, "D")
GUIDELINES = ("acvim2018", "isfm2017", "iris2023")
KINDS = ("untreated", "one", "stopped", "dosed", "restarted", "added", "methods", "home")


@dataclass(frozen=True)
class Drawn:
    """One animal: what is recorded, when it is spoken for, and by which guideline."""

    key: str
    animal: Animal
    as_of: int
    guideline: str
    own_target: float | None
    born: int | None
    creatinine_on: int | None

    def records(self) -> bpvet.Records:
        """Return the records as a clinic's files would give them."""
        readings = [
            {
                "animal": "one",
                "taken_at": f"{date(one.day)}T{10 + place:02d}:{minute:02d}",
                "method": one.method,
                "systolic": value,
                "reading": minute + 1,
                "setting": "home" if one.condition == "home" else "clinic",
            }
            for place, one in enumerate(self.animal.sessions)
            for minute, value in enumerate(one.readings)
        ]
        one = {"animal": "one", "species": self.animal.species}
        if self.own_target is not None:
            one["target_systolic"] = f"{self.own_target:g}"
        if self.born is not None:
            one["birth_date"] = str(date(self.born))
        rows = [row for spell in self.animal.spells for row in _rows(spell)]
        labs = None
        if self.creatinine_on is not None:
            on = str(date(self.creatinine_on))
            labs = pd.DataFrame(
                [
                    {
                        "animal": "one",
                        "sampled_on": on,
                        "analyte": "creatinine",
                        "value": "110",
                        "unit": "µmol/L",
                    }
                ]
            )
        return bpvet.Records.from_frames(
            pd.DataFrame(readings),
            treatments=pd.DataFrame(rows) if rows else None,
            labs=labs,
            animals=pd.DataFrame([one]),
            as_of=str(date(self.as_of)),
        )


def date(day: int) -> np.datetime64:
    """Return the date that stands for a day."""
    return DAY_0 + day * _DAY


def _rows(spell: Spell) -> list[dict[str, str]]:
    starts = (spell.start, *spell.changes)
    ends = (*spell.changes, spell.stop)
    return [
        {
            "animal": "one",
            "drug": spell.drug,
            "started_on": str(date(start)),
            "stopped_on": "" if end is None else str(date(end)),
            "dose": str(i + 1),
            "dose_unit": "mg",
        }
        for i, (start, end) in enumerate(zip(starts, ends, strict=True))
    ]


def draw(number: int) -> Drawn:
    """Return the animal of a number: always the same one."""
    rng = np.random.default_rng([20263, number])
    kind = KINDS[number % len(KINDS)]
    count = int(rng.integers(2 if kind != "untreated" else 1, 9))
    days = np.cumsum(np.concatenate([[0], rng.integers(3, 70, count - 1)]))
    spells = _spells(kind, int(days[-1]), rng)
    level = float(rng.choice([118.0, 135.0, 152.0, 168.0, 185.0, 210.0]))
    lowers = {one: float(rng.choice([0.0, 12.0, 30.0, 0.35 * level])) for one in spells}
    sessions = []
    for day in days.tolist():
        mean = (
            level
            + 9.0 * rng.standard_normal()
            - sum(fall * one.on(day) for one, fall in lowers.items())
        )
        method = "doppler"
        if kind == "methods" and rng.random() < 0.5:
            method = "oscillometric"
        condition = "home" if kind == "home" and rng.random() < 0.6 else "clinic"
        values = mean + 6.0 * rng.standard_normal(int(rng.integers(1, 7)))
        held = tuple(float(round(value)) for value in np.clip(values, 70, 260))
        sessions.append(Session(day, held, method, condition))
    if number % 12 == 9:
        # A newest session that nobody expected.
        last, off = sessions[-1], (35.0, 60.0)[number % 24 == 9]
        sessions[-1] = replace(last, readings=tuple(value + off for value in last.readings))
    animal = Animal(tuple(sessions), spells)
    if kind == "home" and not animal.joins:
        last = replace(animal.sessions[-1], condition="home")
        animal = replace(animal, sessions=(*animal.sessions[:-1], last))
    as_of = int(days[-1]) + int(rng.choice([0, 5, 30, 100, 400]))
    return Drawn(
        key=f"{number}: {kind}",
        animal=animal,
        as_of=as_of,
        guideline=str(rng.choice(GUIDELINES)),
        own_target=float(rng.choice([145.0, 150.0])) if rng.random() < 0.25 else None,
        born=-int(rng.integers(500, 5500)) if rng.random() < 0.6 else None,
        creatinine_on=int(days[-1]) if rng.random() < 0.5 else None,
    )


def _spells(kind: str, last: int, rng: np.random.Generator) -> tuple[Spell, ...]:
    def inside(low: float, high: float) -> int:
        return round(last * rng.uniform(low, high))

    first, second = rng.permutation(sorted(TAU))[:2].tolist()
    if kind == "untreated":
        return ()
    if kind in ("one", "methods", "home"):
        return (Spell(first, inside(0.0, 0.8)),)
    if kind == "dosed":
        start = inside(0.0, 0.4)
        return (Spell(first, start, None, (start + 1 + inside(0.1, 0.5),)),)
    start = inside(0.0, 0.3)
    stop = start + 2 + inside(0.1, 0.4)
    if kind == "stopped":
        return (Spell(first, start, stop),)
    if kind == "restarted":
        return (Spell(first, start, stop), Spell(first, stop + 2 + inside(0.0, 0.2)))
    return (Spell(first, start), Spell(second, stop))
