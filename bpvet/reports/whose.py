"""Whose a page or a letter is, in words: kind, age, and whether the animal left."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.records.records import Records
from bpvet.wording.en.phrases import capital, day

_DAYS_PER_YEAR = 365.25


def row_of(records: Records, animal: str) -> pd.Series[Any]:
    """Return an animal's row of the table of animals."""
    animals = records.animals
    return animals[animals["animal"] == animal].iloc[0]


def known(row: pd.Series[Any], answer: TrendAnswer | UnseenAnswer, ageless: str = "") -> str:
    """Return species, breed, sex and age as a sentence, what is not recorded left out.

    Parameters
    ----------
    row : Series
        The animal's, as `row_of` returns it.
    answer : TrendAnswer or UnseenAnswer
    ageless : str
        What stands for the age where no birth date is recorded.
    """
    species = capital(answer.species or answer.species_written) or "Species not recorded"
    kind = (species, answer.breed, _sex(row), _age(row, answer.as_of) or ageless)
    return f"{', '.join(filter(None, kind))}."


def left(row: pd.Series[Any]) -> str:
    """Return when and why the animal left the practice, as a sentence; blank where it did not."""
    if pd.isna(row["left_on"]):
        return ""
    why = f" ({row['left_reason']})" if row["left_reason"] else ""
    return f"Left the practice on {day(np.datetime64(row['left_on'], 'D'))}{why}."


def _sex(row: pd.Series[Any]) -> str:
    neutered = {"yes": "neutered ", "no": "entire "}.get(str(row["neutered"]), "")
    return f"{neutered}{row['sex']}".strip()


def _age(row: pd.Series[Any], as_of: np.datetime64) -> str:
    if pd.isna(row["birth_date"]):
        return ""
    born = np.datetime64(row["birth_date"], "D")
    years = int((as_of - born) / np.timedelta64(1, "D") // _DAYS_PER_YEAR)
    age = f"{years} year{'s' if years > 1 else ''}" if years >= 1 else "under one year"
    return f"born {day(born)} ({age})"
