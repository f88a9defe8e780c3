"""What a letter tells of the records: short texts, the newest first."""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.signs import sign_group
from bpvet.facts.words import METHOD_WORDS
from bpvet.figures.lettering import written
from bpvet.models.trend import Trend
from bpvet.printing import number
from bpvet.reports.recorded import analyte_words, own_rows
from bpvet.visits.readings import readings_used

#: Letters of one cell before it is cut; the table beside the letter holds it whole.
_LONGEST = 160
_SIGNS = {"at least": ">", "at most": "<", "no sound": "no sound"}
#: Words of an entry that speaks of the eyes, besides the signs that are known as theirs.
_EYES = re.compile(
    r"\b(eyes?|retina\w*|fundus|fundic|fundoscop\w*|ophthalm\w*|ocular|intraocular|choroid\w*"
    r"|hyph(a?e)ma|vitre\w*)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class SessionRow:
    """A session as a row of the letter."""

    date: str
    method: str
    site: str
    cuff: str
    setting: str
    readings: str
    mean: str

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells from left to right."""
        return (
            *(self.date, self.method, self.site, self.cuff),
            *(self.setting, self.readings, self.mean),
        )


def session_rows(trend: Trend) -> tuple[SessionRow, ...]:
    """Return every session of the animal with its raw readings, newest first.

    Parameters
    ----------
    trend : Trend
        Of a pressure, by any method and under any condition.
    """
    quantity = trend.series.quantity
    frame = animal_readings(trend)
    taken: dict[Any, pd.DataFrame] = dict(iter(frame.groupby("session")))
    return tuple(
        _session_row(row, taken[int(row["session"])], quantity)
        for row in trend.context.sessions.iloc[::-1].to_dict("records")
    )


def animal_readings(trend: Trend) -> pd.DataFrame:
    """Return the animal's readings in the order of taking; session 0 holds those of no session.

    Parameters
    ----------
    trend : Trend
    """
    frame = readings_used(trend.records, trend.context.rule)
    frame = frame[frame["animal"] == trend.series.animal]
    return frame.sort_values(["session", "order"], kind="stable")


def _session_row(row: dict[Hashable, Any], readings: pd.DataFrame, quantity: str) -> SessionRow:
    used = "" if pd.isna(row[quantity]) else _mean(row, quantity)
    state = "" if row["state"] in ("", "awake") else str(row["state"])
    return SessionRow(
        date=str(np.datetime64(row["date"], "D")),
        method=METHOD_WORDS[str(row["method"])],
        site=short(" ".join(filter(None, (str(row["site"]), str(row["side"])))), 60),
        cuff=_cuff(row),
        setting=short(", ".join(filter(None, (str(row["setting"]), state))), 60),
        readings=" ".join(_reading(one) for one in readings.to_dict("records")),
        mean=used,
    )


def _mean(row: dict[Hashable, Any], quantity: str) -> str:
    sd = row[f"{quantity}_sd"]
    spread = "" if pd.isna(sd) else f" (SD {number(sd, 0)})"
    mark = "†" if row["flags"] else ""
    bound = f"{row[f'{quantity}_bound']} " if row[f"{quantity}_bound"] else ""
    return f"{bound}{number(row[quantity], 0)}{spread}{mark}"


def _cuff(row: dict[Hashable, Any]) -> str:
    width, limb = row["cuff_width_cm"], row["limb_circumference_cm"]
    if pd.isna(width) and pd.isna(limb):
        return ""
    return "/".join("–" if pd.isna(one) else f"{one:g}" for one in (width, limb))


def _reading(row: dict[Hashable, Any]) -> str:
    """Return one reading as it was taken, in brackets where it does not count."""
    names = ("systolic", "diastolic", "mean")
    values = ["" if pd.isna(row[name]) else f"{row[name]:g}" for name in names]
    text = "/".join(values).rstrip("/")
    text = f"{_SIGNS.get(str(row['systolic_bound']), '')}{text}" or "–"
    if row["summary_n"]:
        text = f"mean of {row['summary_n']}: {text}"
    return text if row["fate"] == "used" else f"({text})"


def treatment_lines(trend: Trend) -> tuple[str, ...]:
    """Return the treatments with their doses as written, newest first.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.treatments, "started_on").iloc[::-1]
    found = []
    for row in frame.to_dict("records"):
        stop = row["stopped_on"]
        ended = not pd.isna(stop) and np.datetime64(stop, "D") <= trend.as_of
        until = f"to {iso(stop)}" if ended else "no stop recorded"
        dose = " ".join(filter(None, (str(row["dose"]), str(row["dose_unit"]))))
        parts = (f"{row['drug']} {dose}".strip(), f"{iso(row['started_on'])} {until}")
        beside = (str(row["note"]), row["set_aside"] and f"set aside: {row['set_aside']}")
        found.append(short(", ".join(filter(None, (*parts, *beside)))))
    return tuple(found)


def sign_lines(trend: Trend) -> tuple[str, ...]:
    """Return the signs as recorded, a line a date, newest first.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.observations, "seen_on")
    days = reversed(list(frame.groupby("seen_on")))
    return tuple(
        short(f"{iso(date)}: {'; '.join(map(_sign, rows.to_dict('records')))}")
        for date, rows in days
    )


def eyes_line(trend: Trend) -> str:
    """Return the date of the newest entry about the eyes and what it says.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.observations, "seen_on")
    frame = frame[frame["set_aside"] == ""]
    about = [_of_the_eyes(one) for one in frame.to_dict("records")]
    newest = frame[np.array(about, dtype=bool)].to_dict("records") if any(about) else []
    if not newest:
        return "No entry in these records speaks of the eyes."
    last = newest[-1]["seen_on"]
    said = "; ".join(_sign(one) for one in newest if one["seen_on"] == last)
    return short(f"Last entry about them {iso(last)}: {said}")


def _of_the_eyes(row: dict[Hashable, Any]) -> bool:
    sign, note = str(row["sign"]), str(row["note"])
    return sign_group(sign) == "eye" or _EYES.search(f"{sign} {note}") is not None


def _sign(row: dict[Hashable, Any]) -> str:
    note = f" ({row['note']})" if row["note"] else ""
    aside = f", set aside: {row['set_aside']}" if row["set_aside"] else ""
    return short(f"{row['sign']} {row['status']}{note}{aside}")


def lab_lines(trend: Trend) -> tuple[str, ...]:
    """Return the laboratory values in the units given, a line a date, newest first.

    Parameters
    ----------
    trend : Trend
    """
    frame = own_rows(trend, trend.records.labs, "sampled_on")
    frame = frame[frame["set_aside"] == ""]
    found = []
    for date, rows in reversed(list(frame.groupby("sampled_on"))):
        values = [
            f"{analyte_words(str(one['analyte']))} {one['value']:.10g} {one['unit']}".rstrip()
            for one in rows.to_dict("records")
        ]
        found.append(short(f"{iso(date)}: {', '.join(values)}"))
    return tuple(found)


def iso(value: Any) -> str:
    """Return a date in ISO form; blank where there is none."""
    return "" if pd.isna(value) else str(np.datetime64(value, "D"))


def short(text: str, most: int = _LONGEST) -> str:
    """Return text on one line, cut with an ellipsis where it is too long for a letter."""
    line = written(text)
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"
