"""Whose letter it is, from whom, to whom and why: what stands at its head."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.figures.lettering import written
from bpvet.frozen import dataclass
from bpvet.reports.letter.source import Source
from bpvet.wording.en.pages.identity import Identity, identity
from bpvet.wording.en.pages.letter import NOTES, animal_words, foot_words

#: Letters of a name at the foot of a page; a longer one is named on the first page alone.
FOOT = 60


@dataclass(frozen=True)
class Who(Identity):
    """The head of a letter, in words; what is not recorded or not given is blank.

    Parameters
    ----------
    name, id, known, left, basis
        As `Identity` has them.
    clinic : str
        Who writes.
    to, question : str
        Addressee, and why the animal is referred.
    """

    to: str
    question: str

    @property
    def lines(self) -> tuple[str, ...]:
        """Who the animal is and what it rests on, a line each."""
        return (f"{animal_words(self.id)}. {self.known}", f"{self.basis} {self.left}".strip())

    def foot(self, as_of: np.datetime64) -> str:
        """Return what stands at the foot of each page; a name is never cut."""
        return foot_words(self.name, self.id, as_of, FOOT)


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
    whose = identity(source.records, answer, NOTES["age"])
    words = {**vars(whose), "to": to, "question": question}
    return Who(**{name: written(text) for name, text in words.items()})
