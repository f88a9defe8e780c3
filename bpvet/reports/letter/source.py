"""What a letter is made from besides its answer: one animal's records, with or without a trend."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.frozen import dataclass
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.visits.sessions import session_store


@dataclass(frozen=True, eq=False)
class Source:
    """One animal's records, and which of its sessions a trend rests on.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    as_of : datetime64[D]
        The date that is spoken for.
    rule : str
        Which readings count.
    quantity : str
        The pressure that the sessions' means are of.
    sessions : DataFrame
        Every session of the animal, in order of time, as `bpvet.sessions` gives them.
    series : frozenset of int
        Numbers of those that the trend rests on; empty without a trend.
    """

    records: Records
    animal: str
    as_of: np.datetime64
    rule: str
    quantity: str
    sessions: pd.DataFrame
    series: frozenset[int] = frozenset()

    @classmethod
    def of_trend(cls, trend: Trend) -> Source:
        """Return what a letter about a trend is made from."""
        return cls(
            records=trend.records,
            animal=trend.series.animal,
            as_of=trend.as_of,
            rule=trend.context.rule,
            quantity=trend.series.quantity,
            sessions=trend.context.sessions,
            series=frozenset(int(number) for number in trend.series.session),
        )

    @classmethod
    def of_unseen(cls, records: Records, answer: UnseenAnswer, rule: str) -> Source:
        """Return what a letter about an animal without a session of a trend is made from."""
        return cls(
            records=records,
            animal=answer.animal,
            as_of=answer.as_of,
            rule=rule,
            quantity="systolic",
            sessions=session_store(records, rule).of_animal(answer.animal).frame,
        )

    def rows(self, frame: pd.DataFrame, by: str) -> pd.DataFrame:
        """Return the animal's rows of a table that a letter may speak of, those undated first.

        Parameters
        ----------
        frame : DataFrame
            One of the tables of the records.
        by : str
            Its column of dates.
        """
        rows = frame[(frame["animal"] == self.animal) & ~frame["future"].astype(bool)]
        return rows.sort_values(by, kind="stable", na_position="first")
