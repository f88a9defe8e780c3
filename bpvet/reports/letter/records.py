"""Drugs of a letter: what is current first, and all that came before; and rows dated later."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.figures.lettering import written
from bpvet.reports.letter.source import Source
from bpvet.visits.treatments.spells import SPELL_GAP_DAYS, Row, treatment_rows
from bpvet.wording.en.pages.letter import drug_line, until_words
from bpvet.wording.en.phrases import day


class Told(NamedTuple):
    """Lines of what is current, and of what came before, the newest first."""

    now: tuple[str, ...]
    earlier: tuple[str, ...]


def drug_lines(source: Source) -> Told:
    """Return the treatments with doses as written: the current ones, and those before.

    A row without a stop is current until a later row of the same drug starts; so is a row that
    is set aside and has not ended, because it may be on.

    Parameters
    ----------
    source : Source
    """
    frame = source.rows(source.records.treatments, "started_on")
    usable = treatment_rows(frame, source.as_of)
    known = {(row.file, row.line): row for row in usable}
    now: list[str] = []
    earlier: list[str] = []
    for row in frame.iloc[::-1].to_dict("records"):
        used = known.get((row["file"], row["line"]))
        after = None if used is None else _next_start(used, usable)
        stop = row["stopped_on"]
        ended = not pd.isna(stop) and np.datetime64(stop, "D") <= source.as_of
        if ended or (after is not None and used is not None and used.stop_is_blank):
            until = until_words(stop, None if ended else after)
            earlier.append(written(drug_line(row, until, "", "")))
        else:
            first = None if used is None else day(_spell_start(used, usable))
            ahead = "" if pd.isna(stop) else day(np.datetime64(stop, "D"))
            now.append(written(drug_line(row, "", first or "", ahead)))
    return Told(tuple(now), tuple(earlier))


def _next_start(row: Row, rows: list[Row]) -> np.datetime64 | None:
    later = [treatment.started_on for treatment in rows if treatment.name == row.name]
    return min((day for day in later if day > row.started_on), default=None)


def _spell_start(row: Row, rows: list[Row]) -> np.datetime64:
    """Return since when a drug has been on without a gap, up to the start of a row."""
    spells = sorted(
        (spell for spell in rows if spell.name == row.name), key=lambda spell: spell.started_on
    )
    first, gap = row.started_on, np.timedelta64(SPELL_GAP_DAYS, "D")
    for spell in reversed([spell for spell in spells if spell.started_on < row.started_on]):
        on = spell.stop_is_blank or np.isnat(spell.stopped_on) or first - spell.stopped_on <= gap
        if not on:
            break
        first = spell.started_on
    return first


def future_lines(answer: TrendAnswer | UnseenAnswer) -> tuple[str, ...]:
    """Return rows that are dated after the date that is spoken for, and are not used.

    Parameters
    ----------
    answer : TrendAnswer or UnseenAnswer
    """
    return tuple(
        written(f"{day(row.date)}, among the {row.table}: “{row.text}”")
        for row in answer.not_used
        if not np.isnat(row.date) and row.date > answer.as_of
    )


def iso(value: Any) -> str:
    """Return a date in ISO form; blank where there is none."""
    return "" if pd.isna(value) else str(np.datetime64(value, "D"))
