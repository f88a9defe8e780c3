"""What is urgent before any trend: signs of organ damage, very high and very low pressures.

Judged on the systolic of every session, by any method, of the animal's latest date with a
clinic, home or calmed session, whatever series is shown. The rules are facts with the ids
``project.urgent.*`` (judgements) and the guideline's floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.facts.categories import Guideline
from bpvet.facts.signs import sign_group
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.records.records import Records
from bpvet.visits.series import Course

DAMAGE_GROUPS = ("eye", "brain")
_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Sign:
    """A recorded sign that counts on the animal's latest date.

    Parameters
    ----------
    text : str
        As written.
    group : str
        ``eye``, ``brain`` or ``weak``.
    seen_on : datetime64[D]
        Date of its newest row.
    """

    text: str
    group: str
    seen_on: np.datetime64


@dataclass(frozen=True, eq=False)
class LatestDate:
    """The animal's latest date with an awake or calmed session, and what was found then.

    Parameters
    ----------
    date : datetime64[D]
        The date.
    sessions : DataFrame
        Its sessions in order; rows of `bpvet.sessions`.
    signs : tuple of Sign
        Signs that count, the newest first.
    on_drug : bool
        Whether a modelled course is on that day.
    """

    date: np.datetime64
    sessions: pd.DataFrame
    signs: tuple[Sign, ...]
    on_drug: bool

    @property
    def damage(self) -> tuple[Sign, ...]:
        """Signs of damage to eye or brain."""
        return tuple(sign for sign in self.signs if sign.group in DAMAGE_GROUPS)

    @property
    def weak(self) -> tuple[Sign, ...]:
        """Signs of weakness, collapse or fainting."""
        return tuple(sign for sign in self.signs if sign.group == "weak")

    @property
    def highest(self) -> float | None:
        """Highest session mean, mmHg; None where no session gave a number."""
        values = self.sessions["systolic"].dropna()
        return float(values.max()) if len(values) else None

    @property
    def lowest(self) -> float | None:
        """Lowest session mean, mmHg; None where no session gave a number."""
        values = self.sessions["systolic"].dropna()
        return float(values.min()) if len(values) else None

    @property
    def soundless(self) -> bool:
        """Whether some session gave no number at all although sound was listened for."""
        silent = self.sessions["n_no_sound"] > 0
        return bool((silent & (self.sessions["n_used"] == 0)).any())


@dataclass(frozen=True)
class Urgent:
    """One urgent line.

    Parameters
    ----------
    kind : str
        ``damage``, ``severe``, ``low with signs``, ``low on a drug`` or ``no sound``.
    rule : str
        Id of the fact behind it.
    date : datetime64[D]
        The date that it speaks of.
    value : float or None
        The session mean that it rests on, mmHg.
    signs : tuple of str
        The signs that it rests on, as written.
    bound : str
        ``at least``, ``at most`` or both where the value is a bound; else blank.
    """

    kind: str
    rule: str
    date: np.datetime64
    value: float | None = None
    signs: tuple[str, ...] = ()
    bound: str = ""


def latest_date(
    records: Records, animal: str, sessions: pd.DataFrame, courses: tuple[Course, ...]
) -> LatestDate | None:
    """Return the animal's latest date with a clinic, home or calmed session, or None.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    sessions : DataFrame
        Its sessions, as `bpvet.sessions` gives them.
    courses : tuple of Course
        Its modelled courses.
    """
    awake = sessions[sessions["condition"].isin(TREND_CONDITIONS)]
    taken = awake[(awake["n_used"] > 0) | (awake["n_no_sound"] > 0)]
    if taken.empty:
        return None
    dates = taken["date"].to_numpy(dtype="datetime64[D]")
    date = dates.max()
    on_drug = any(
        course.started_on < date and (np.isnat(course.stopped_on) or course.stopped_on >= date)
        for course in courses
    )
    return LatestDate(date, taken[dates == date], signs_on(records, animal, date), on_drug)


def signs_on(records: Records, animal: str, date: np.datetime64) -> tuple[Sign, ...]:
    """Return the signs that count on a date: each sign's newest row, present and not too old.

    A row counts up to the date the records speak for; rows older than 14 days before `date` do
    not. Signs that are none of eye, brain or weakness are left to the vet's own reading.
    """
    rows = records.observations
    rows = rows[(rows["animal"] == animal) & (rows["set_aside"] == "")]
    seen = rows["seen_on"].to_numpy(dtype="datetime64[D]")
    oldest = date - int(fact("project.urgent.sign_days").value or 0) * _DAY
    newest: dict[str, Sign | None] = {}
    order = np.argsort(seen, kind="stable")
    for i in order:
        text, status = str(rows["sign"].iloc[i]), str(rows["status"].iloc[i])
        group = sign_group(text)
        if group is None or np.isnat(seen[i]) or seen[i] > records.as_of:
            continue
        counts = status == "present" and seen[i] >= oldest
        newest[" ".join(text.casefold().split())] = Sign(text, group, seen[i]) if counts else None
    found = [sign for sign in newest.values() if sign is not None]
    return tuple(sorted(found, key=lambda sign: sign.seen_on, reverse=True))


def urgent(latest: LatestDate, guideline: Guideline) -> tuple[Urgent, ...]:
    """Return the urgent lines of an animal's latest date, the most pressing first."""
    severe = float(fact("project.urgent.severe").value or 0)
    low_on_drug = float(fact("project.urgent.low_on_drug").value or 0)
    found = []
    highest, lowest = latest.highest, latest.lowest
    damage = tuple(sign.text for sign in latest.damage)
    weak = tuple(sign.text for sign in latest.weak)
    if damage:
        found.append(
            Urgent(
                "damage",
                "acvim2018.emergency",
                latest.date,
                highest,
                damage,
                _bound_at(latest, highest),
            )
        )
    elif highest is not None and highest >= severe:
        rule, bound = "project.urgent.severe", _bound_at(latest, highest)
        found.append(Urgent("severe", rule, latest.date, highest, (), bound))
    if lowest is not None and weak and lowest < guideline.floor.value:
        rule, bound = guideline.floor.fact.id, _bound_at(latest, lowest)
        found.append(Urgent("low with signs", rule, latest.date, lowest, weak, bound))
    elif lowest is not None and latest.on_drug and lowest < low_on_drug:
        rule, bound = "project.urgent.low_on_drug", _bound_at(latest, lowest)
        found.append(Urgent("low on a drug", rule, latest.date, lowest, (), bound))
    if latest.soundless and weak:
        found.append(Urgent("no sound", "project.urgent.no_sound", latest.date, None, weak))
    return tuple(found)


def _bound_at(latest: LatestDate, value: float | None) -> str:
    if value is None:
        return ""
    rows = latest.sessions[latest.sessions["systolic"] == value]
    return str(rows["systolic_bound"].iloc[0])
