"""The quality of measuring: what a head technician asks of a clinic's own records.

Systolic pressure of sessions awake. Nobody is ranked: operators stand in alphabetical order,
drawn towards each other by how little is known of each, with intervals.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.errors import CallError, RecordsError
from bpvet.facts.words import METHOD_WORDS, TREND_CONDITIONS
from bpvet.frozen import dataclass, field_names
from bpvet.maths.estimate import values_of
from bpvet.models.agreement.situation import Situational, situations
from bpvet.models.audit.operators import Operators, operators
from bpvet.models.audit.precision import Precision, precision
from bpvet.models.audit.protocol import (
    CuffRatio,
    ProtocolItem,
    ReadingsTaken,
    cuff_ratios,
    decisions,
    protocol_items,
    readings_taken,
)
from bpvet.models.audit.readings import (
    Digits,
    OrderEffects,
    TimeOfDay,
    digits,
    order_effects,
    plain_readings,
    time_of_day,
)
from bpvet.models.audit.spread import Spread, spreads
from bpvet.printing import ShortTable, Tabled, number, probability
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.sessions import sessions

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.answers.audit.audit import AuditAnswer
    from bpvet.reports.writing import Written

_SPREAD_COLUMNS = (
    *("method", "by", "group", "sessions", "df", "sd", "lower", "upper"),
    *("shrunken", "shrunken_lower", "shrunken_upper"),
)
NOT_TO_JUDGE = reason("audit.not_to_judge")


@dataclass(frozen=True, eq=False, repr=False)
class Audit(Tabled, Content):
    """The quality of measuring in a clinic's records.

    Parameters
    ----------
    sessions, animals : int
        Sessions awake, and their animals.
    taken : tuple of ReadingsTaken
        Readings a session, by method.
    protocol : tuple of ProtocolItem
        Sessions that broke the protocol, and how.
    cuffs : tuple of CuffRatio
        Cuff width over limb circumference, by species.
    decisions : ProtocolItem
        Decisions that rested on one session.
    order : tuple of OrderEffects
        First reading against the rest, and drift.
    digits : tuple of Digits
        End digits and repeats.
    times : tuple of TimeOfDay
        Morning and afternoon.
    spreads : tuple of Spread
        Scatter of readings by method, operator, site and demeanour.
    operators : tuple of Operators
        Operators' effects, drawn together.
    precision : tuple of Precision
        What would help most.
    situations : tuple of Situational
        Home, and after a calming drug, against the clinic.
    rule : str
        Which readings count.
    level : float
        Probability of the intervals.
    as_of, digest : str
        The date the records speak for, and the digest of their content.
    """

    sessions: int
    animals: int
    taken: tuple[ReadingsTaken, ...]
    protocol: tuple[ProtocolItem, ...]
    cuffs: tuple[CuffRatio, ...]
    decisions: ProtocolItem
    order: tuple[OrderEffects, ...]
    digits: tuple[Digits, ...]
    times: tuple[TimeOfDay, ...]
    spreads: tuple[Spread, ...]
    operators: tuple[Operators, ...]
    precision: tuple[Precision, ...]
    situations: tuple[Situational, ...]
    rule: str
    level: float
    as_of: str
    digest: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is missing is None with its reason beside it."""
        names = [name for name in field_names(self) if name != "situations"]
        values = {name: values_of(getattr(self, name)) for name in names}
        values["situations"] = [situation.to_dict() for situation in self.situations]
        return values | {"caution": NOT_TO_JUDGE}

    def to_frame(self) -> pd.DataFrame:
        """Return the scatter of readings: a row a method, operator, site and demeanour."""
        rows = []
        for spread in self.spreads:
            drawn = spread.shrunken
            rows.append(
                {
                    "method": spread.method,
                    "by": spread.by,
                    "group": spread.group,
                    "sessions": spread.sessions,
                    "df": spread.df,
                    "sd": spread.sd.estimate,
                    "lower": spread.sd.lower,
                    "upper": spread.sd.upper,
                    "shrunken": np.nan if drawn is None else drawn.estimate,
                    "shrunken_lower": np.nan if drawn is None else drawn.lower,
                    "shrunken_upper": np.nan if drawn is None else drawn.upper,
                }
            )
        return pd.DataFrame(rows, columns=list(_SPREAD_COLUMNS))

    def plot(
        self, ax: Axes | None = None, *, what: str = "order", width_mm: float = 160.0
    ) -> Figure | Axes:
        """Return one of the figures, or draw it in an Axes of yours, whose box it fills.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
        what : str
            ``order``: readings one by one against those after the first; ``digits``: end digits;
            ``spread``: the scatter of readings by operator, site and demeanour; ``operators``:
            their effects.
        width_mm : float
            Width of a figure of its own.

        Raises
        ------
        CallError
            For another figure, or where the records hold nothing to draw in it.
        """
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.audit import audit_picture

        return plotted(audit_picture(self, what), ax, width_mm)

    def report(self, folder: str | Path, records: str | Path, **choices: Any) -> Written[Any]:
        """Write the report into a folder; `records`: where they are. As `bpvet.report` does it."""
        from bpvet.reports.results import report

        return report(self, folder, records, **choices)

    def answer(self) -> AuditAnswer:
        """Return what ``bpvet audit --json`` prints: the numbers, and what they say."""
        from bpvet.answers.audit.audit import audit_answer

        return audit_answer(self)

    def _table(self) -> ShortTable:
        rows = [
            (
                item.words,
                METHOD_WORDS.get(item.method, ""),
                f"{item.count} of {item.n}",
                probability(item.share.estimate),
            )
            for item in (*self.protocol, self.decisions)
        ]
        for spread in self.spreads:
            if not spread.by:
                interval = f"{number(spread.sd.lower)} to {number(spread.sd.upper)} mmHg"
                name = METHOD_WORDS[spread.method]
                rows.append((reason("audit.spread"), name, number(spread.sd.estimate), interval))
        title = reason("audit.title", sessions=self.sessions, animals=self.animals)
        columns = ("", "method", "", reason("audit.share"))
        return ShortTable(title, columns, tuple(rows), (NOT_TO_JUDGE,))


def audit(records: Records, rule: str = "guideline", *, level: float = 0.95) -> Audit:
    """Return the quality of measuring in these records.

    Parameters
    ----------
    records : Records
    rule : str
        Which readings count.
    level : float
        Probability of the intervals.

    Raises
    ------
    CallError
        When the rule or the level is not one.
    RecordsError
        When no session was taken awake.
    """
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    table = sessions(records, rule)
    table = table[table["condition"].isin(TREND_CONDITIONS)].reset_index(drop=True)
    if table.empty:
        raise RecordsError(
            "No session of these records was taken awake: there is nothing to audit."
        )
    rows = plain_readings(records, rule, TREND_CONDITIONS)
    scatter = spreads(table, level)
    sds = {spread.method: spread.sd.estimate for spread in scatter if not spread.by}
    return Audit(
        sessions=len(table),
        animals=int(table["animal"].nunique()),
        taken=readings_taken(table),
        protocol=protocol_items(table, level),
        cuffs=cuff_ratios(table, level),
        decisions=decisions(records, table, level),
        order=order_effects(rows, level),
        digits=digits(rows, sds, level),
        times=time_of_day(table, level),
        spreads=scatter,
        operators=operators(table, level),
        precision=precision(table, level),
        situations=situations(records, rule, level),
        rule=rule,
        level=level,
        as_of=str(records.as_of)[:10],
        digest=records.digest,
    )
