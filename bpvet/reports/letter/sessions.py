"""The sessions of a letter: a row each with its readings as taken, and what is to be said of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, UNITS, Fate
from bpvet.figures.lettering import written
from bpvet.frozen import dataclass
from bpvet.printing import number
from bpvet.reports.letter.source import Source
from bpvet.visits.choice import split_flags
from bpvet.visits.readings import readings_used
from bpvet.wording.en.pages.letter import newer_words
from bpvet.wording.en.phrases import day

#: Behind a mean that has a remark below the table; the dagger is of figures from memory.
FLAGGED = "‡"

#: Sessions of so many days before the date that is spoken for are told cell by cell, so many at
#: least and so many at most; the older ones stand in a line each.
RECENT_DAYS, LEAST, MOST = 365, 6, 12

_SIGNS = {"at least": ">", "at most": "<", "no sound": "no sound"}


@dataclass(frozen=True)
class SessionRow:
    """A session as a row of the letter; `remarks` are what must be said beside its mean."""

    date: str
    method: str
    site: str
    cuff: str
    setting: str
    readings: str
    mean: str
    remarks: tuple[str, ...]

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells from left to right, the remarks apart."""
        return (
            *(self.date, self.method, self.site, self.cuff),
            *(self.setting, self.readings, self.mean),
        )

    @property
    def limb(self) -> str:
        """The circumference under the cuff, cm; blank where it is not recorded."""
        limb = self.cuff.partition("/")[2]
        return "" if limb == "–" else limb

    @property
    def way(self) -> str:
        """How it was measured, in a few words; parts that are not recorded are left out."""
        width = self.cuff.partition("/")[0]
        cuff = f"cuff {width} cm" if width not in ("", "–") else ""
        return ", ".join(filter(None, (self.method, self.site, cuff, self.setting)))


@dataclass(frozen=True)
class Sessions:
    """Every session of a letter: the recent ones, and the older ones by how they were measured.

    Both are newest first.
    """

    recent: tuple[SessionRow, ...]
    older: tuple[tuple[str, tuple[SessionRow, ...]], ...]

    @property
    def rows(self) -> tuple[SessionRow, ...]:
        """All of them, in the order in which they stand."""
        return (*self.recent, *(row for _, rows in self.older for row in rows))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be said beside their means, each once."""
        return tuple(dict.fromkeys(flag for row in self.rows for flag in row.remarks))


def sessions_of(source: Source) -> Sessions:
    """Return every session of an animal, none left out.

    Parameters
    ----------
    source : Source
    """
    rows = session_rows(source)
    since = str(source.as_of - np.timedelta64(RECENT_DAYS, "D"))
    young = sum(row.date > since for row in rows)
    kept = min(max(young, LEAST), MOST)
    if len(rows) <= MOST:
        kept = len(rows)
    older: dict[str, list[SessionRow]] = {}
    for row in rows[kept:]:
        older.setdefault(row.way, []).append(row)
    ways = tuple((f"{way}{_limbs(members)}", tuple(members)) for way, members in older.items())
    return Sessions(rows[:kept], ways)


def _limbs(rows: list[SessionRow]) -> str:
    """Return the circumferences under the cuff of some sessions, from the least to the greatest."""
    found = sorted({row.limb for row in rows if row.limb}, key=float)
    ends = found if len(found) < 2 else (found[0], found[-1])
    return f", limb {' to '.join(ends)} cm" if found else ""


def session_rows(source: Source) -> tuple[SessionRow, ...]:
    """Return every session of the animal with its raw readings, newest first.

    Parameters
    ----------
    source : Source
        By any method and under any condition.
    """
    frame = animal_readings(source)
    taken: dict[Any, pd.DataFrame] = dict(iter(frame.groupby("session")))
    return tuple(
        _session_row(row, taken[int(row["session"])], source.quantity)
        for row in source.sessions.iloc[::-1].to_dict("records")
    )


def newer_lines(source: Source) -> tuple[str, ...]:
    """Return the sessions that are newer than the trend and no part of it, in a sentence each.

    Parameters
    ----------
    source : Source
        Without a trend, the newest session of all is told.
    """
    frame = source.sessions
    used = frame["session"].isin(source.series)
    rest = frame[frame["date"] > frame.loc[used, "date"].max()] if used.any() else frame.iloc[-1:]
    return tuple(_newer(row, source) for row in rest.iloc[::-1].to_dict("records"))


def _newer(row: dict[Hashable, Any], source: Source) -> str:
    quantity = source.quantity
    read = "" if pd.isna(row[quantity]) else f"{_mean(row, quantity)} {UNITS[quantity]}"
    how = METHOD_WORDS[str(row["method"])], CONDITION_WORDS[str(row["condition"])]
    return newer_words(np.datetime64(row["date"], "D"), how, read, bool(source.series))


def animal_readings(source: Source) -> pd.DataFrame:
    """Return the animal's readings in the order of taking; session 0 holds those of no session.

    Parameters
    ----------
    source : Source
    """
    frame = readings_used(source.records, source.rule, animal=source.animal)
    return frame.sort_values(["session", "order"], kind="stable")


def _session_row(row: dict[Hashable, Any], readings: pd.DataFrame, quantity: str) -> SessionRow:
    used = "" if pd.isna(row[quantity]) else _mean(row, quantity)
    state = "" if row["state"] in ("", "awake") else str(row["state"])
    return SessionRow(
        date=str(np.datetime64(row["date"], "D")),
        method=METHOD_WORDS[str(row["method"])],
        site=written(" ".join(filter(None, (str(row["site"]), str(row["side"]))))),
        cuff=_cuff(row),
        setting=written(", ".join(filter(None, (str(row["setting"]), state)))),
        readings=" ".join(_reading(reading) for reading in readings.to_dict("records")),
        mean=used,
        remarks=split_flags(str(row["flags"])),
    )


def _mean(row: dict[Hashable, Any], quantity: str) -> str:
    sd = row[f"{quantity}_sd"]
    spread = "" if pd.isna(sd) else f" (SD {number(sd, 0)})"
    bound = f"{row[f'{quantity}_bound']} " if row[f"{quantity}_bound"] else ""
    return f"{bound}{number(row[quantity], 0)}{spread}"


def _cuff(row: dict[Hashable, Any]) -> str:
    width, limb = row["cuff_width_cm"], row["limb_circumference_cm"]
    if pd.isna(width) and pd.isna(limb):
        return ""
    return "/".join("–" if pd.isna(size) else f"{size:g}" for size in (width, limb))


def _reading(row: dict[Hashable, Any]) -> str:
    """Return one reading as it was taken, in brackets where it does not count."""
    if row["fate"] == Fate.SET_ASIDE:
        # What cannot be read is neither a number nor a reading without a sound.
        return f"({Fate.SET_ASIDE})"
    names = ("systolic", "diastolic", "mean")
    values = ["" if pd.isna(row[name]) else f"{row[name]:g}" for name in names]
    text = "/".join(values).rstrip("/")
    text = f"{_SIGNS.get(str(row['systolic_bound']), '')}{text}" or "–"
    if row["summary_n"]:
        text = f"mean of {row['summary_n']}: {text}"
    return text if row["fate"] == "used" else f"({text})"


def readings_apart(source: Source) -> tuple[str, ...]:
    """Return why readings stand in no session, and how many for each reason.

    Parameters
    ----------
    source : Source
    """
    frame = animal_readings(source)
    frame = frame[frame["session"] == 0]
    reasons = Counter(_reason(row, source) for row in frame.to_dict("records"))
    return tuple(written(f"{count} × {reason}") for reason, count in reasons.items())


def _reason(row: dict[Hashable, Any], source: Source) -> str:
    if not pd.isna(row["date"]) and np.datetime64(row["date"], "D") > source.as_of:
        return f"dated after {day(source.as_of)}"
    return str(row["reason"] or row["fate"]).rstrip(".")
