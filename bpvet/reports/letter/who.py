"""Whose letter it is, from whom, to whom and why: what stands at its head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.facts.words import CONDITION_WORDS, QUANTITY_WORDS, TAKEN_BY
from bpvet.figures.lettering import written
from bpvet.reports.letter.source import Source
from bpvet.reports.whose import known, left, row_of
from bpvet.wording.en.phrases import capital, day

#: Letters of a name at the foot of a page; a longer one is named on the first page alone.
FOOT = 60


@dataclass(frozen=True)
class Who:
    """The head of a letter, in words; what is not recorded or not given is blank.

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
    to, question : str
        Addressee, and why the animal is referred.
    clinic : str
        Who writes, as the records name it.
    """

    name: str
    id: str
    known: str
    left: str
    basis: str
    to: str
    question: str
    clinic: str

    @property
    def lines(self) -> tuple[str, ...]:
        """Who the animal is and what it rests on, a line each."""
        return (f"Animal {self.id}. {self.known}", f"{self.basis} {self.left}".strip())

    def foot(self, as_of: np.datetime64) -> str:
        """Return what stands at the foot of each page; a name is never cut."""
        names = f"{self.name} (animal {self.id})"
        if len(names) > FOOT:
            names = f"Animal {self.id}" if len(self.id) <= FOOT else "The animal named on page 1"
        return f"{names}, {day(as_of)}"


def who_of(
    source: Source, answer: TrendAnswer | UnseenAnswer, to: str = "", question: str = ""
) -> Who:
    """Return whose letter it is, from whom, to whom and why.

    Parameters
    ----------
    source : Source
    answer : TrendAnswer or UnseenAnswer
    to, question : str
        Addressee and reason, as given; blank leaves lines to write on.
    """
    row = row_of(source.records, answer.animal)
    basis = f"Records as of {day(answer.as_of)}."
    if isinstance(answer, TrendAnswer):
        by = f"by {TAKEN_BY[answer.method]}, {CONDITION_WORDS[answer.condition]}"
        basis += f" {capital(QUANTITY_WORDS[answer.quantity])} {by}."
    said = {
        "name": answer.name or answer.animal,
        "id": answer.animal,
        "known": known(row, answer, "age not recorded"),
        "left": left(row),
        "basis": basis,
        "to": to,
        "question": question,
        "clinic": str(row["clinic"]),
    }
    return Who(**{name: written(text) for name, text in said.items()})
