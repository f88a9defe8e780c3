"""Whose a page or a letter is, in words: kind, age, what it rests on, whether the animal left."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.facts.words import (
    CONDITION_WORDS,
    LAB_QUANTITIES,
    METHOD_WORDS,
    QUANTITY_WORDS,
    TAKEN_BY,
)
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.uncounted.unborn import unborn_rows
from bpvet.wording.en.phrases import capital, day

_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Identity:
    """Whose a page is, and what it rests on; what is not recorded is blank.

    Parameters
    ----------
    name, id : str
        The animal's.
    known : str
        Species, breed, sex and age.
    left : str
        When and why it left the practice.
    basis : str
        The date that is spoken for, and what the trend is of.
    clinic : str
        As the records name it.
    """

    name: str
    id: str
    known: str
    left: str
    basis: str
    clinic: str


def identity(records: Records, answer: TrendAnswer | UnseenAnswer, ageless: str = "") -> Identity:
    """Return whose a page is and what it rests on, as sentences.

    Parameters
    ----------
    records : Records
    answer : TrendAnswer or UnseenAnswer
        Of an animal of them.
    ageless : str
        What stands for the age where no birth date is recorded.
    """
    row = records.rows_of("animals", answer.animal).iloc[0]
    species = capital(answer.species or answer.species_written) or "Species not recorded"
    neutered = {"yes": "neutered ", "no": "entire "}.get(str(row["neutered"]), "")
    kind = (
        species,
        answer.breed,
        f"{neutered}{row['sex']}".strip(),
        _age(row, answer.as_of, answer.animal in unborn_rows(records, answer.animal)) or ageless,
    )
    basis = f"Records as of {day(answer.as_of)}."
    if isinstance(answer, TrendAnswer):
        basis += f" {capital(QUANTITY_WORDS[answer.quantity])}{_measured(answer)}."
    return Identity(
        name=answer.name or answer.animal,
        id=answer.animal,
        known=f"{', '.join(filter(None, kind))}.",
        left=_left(row),
        basis=basis,
        clinic=str(row["clinic"]),
    )


def _measured(answer: TrendAnswer) -> str:
    """Return how the series was measured."""
    if answer.quantity in LAB_QUANTITIES:
        return f", {METHOD_WORDS[answer.method]}"
    return f" by {TAKEN_BY[answer.method]}, {CONDITION_WORDS[answer.condition]}"


def _left(row: pd.Series[Any]) -> str:
    """Return when and why the animal left the practice, as a sentence; blank where it did not."""
    if pd.isna(row["left_on"]):
        return ""
    why = f" ({row['left_reason']})" if row["left_reason"] else ""
    return f"Left the practice on {day(np.datetime64(row['left_on'], 'D'))}{why}."


def _age(row: pd.Series[Any], as_of: np.datetime64, unborn: bool) -> str:
    """Return the birth date with the age; without it where readings are dated before the birth."""
    if pd.isna(row["birth_date"]):
        return ""
    born = np.datetime64(row["birth_date"], "D")
    if unborn:
        return f"born {day(born)} as recorded, which is after a reading"
    years = int((as_of - born) / np.timedelta64(1, "D") // _DAYS_PER_YEAR)
    age = f"{years} year{'s' if years > 1 else ''}" if years >= 1 else "under one year"
    return f"born {day(born)} ({age})"
