"""What the pictures of an audit say: headings, axes, captions and alternative texts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.facts.words import METHOD_WORDS
from bpvet.figures.clinic.audit_picture import BarsPanel, RowsPanel
from bpvet.frozen import dataclass
from bpvet.models.agreement.situation import Situation
from bpvet.models.audit.audit import NOT_TO_JUDGE
from bpvet.printing import number
from bpvet.wording.en.phrases import capital
from bpvet.wording.en.pictures.drawn import ESTIMATES

_PLACES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
#: Where a situation's readings were taken, other than in the clinic.
_WHERE = {"home": "at home", "calmed": "after a calming drug"}


@dataclass(frozen=True)
class AuditWords:
    """The words of one picture of the audit that are the same whatever the records hold.

    Parameters
    ----------
    title : str
    axis, line_is : str
        Below the panels; and what the line of comparison is.
    marks_are : str
        What a mark with its whiskers is, with the level of its interval; blank for bars.
    words : str
        What is shown: opens caption and alternative text.
    note : str
        What the caption adds.
    ends : bool
        Whether the alternative text names the ends of intervals.
    no_interval : str
        What a mark without an interval is.
    """

    title: str
    axis: str
    line_is: str
    marks_are: str
    words: str
    note: str
    ends: bool = False
    no_interval: str = ESTIMATES.no_interval

    def marks(self, level: float) -> str:
        """Return what a mark with its whiskers is."""
        return self.marks_are.format(share=f"{100 * level:g} %")

    @property
    def caption(self) -> str:
        """The written caption."""
        return f"{self.words}; {self.note}"

    def alt_text(self, panels: Sequence[RowsPanel]) -> str:
        """Return the estimates of the panels in words."""
        return f"{self.words}: {_rows_in_words(panels, self.ends)}."


ORDER = AuditWords(
    title="First reading against the rest",
    axis="mmHg above the mean of all readings after the first",
    line_is="No difference",
    marks_are="Mean over sessions, with its {share} interval",
    words="Readings of a session one by one, in order of taking",
    note="n is the number of sessions that have such a reading.",
)
SPREAD = AuditWords(
    title="Scatter of readings, shrunken to a common value",
    axis="SD of readings within a session, mmHg",
    line_is="All sessions of the method",
    marks_are="SD shrunken to the common value, with its {share} interval",
    words="Scatter of readings within a session, by who, where on the animal, and its demeanour",
    note=f"n is the number of sessions. {NOT_TO_JUDGE}",
)
OPERATORS = AuditWords(
    title="Operators on the same animals",
    axis="mmHg against the average, on the same animals",
    line_is="The average of all operators",
    marks_are="Shrunken mean of the residuals, with its {share} interval",
    words="Operators in alphabetical order, shrunken to the average",
    note=f"n is the number of sessions. {NOT_TO_JUDGE}",
)
DIGITS = AuditWords(
    title="End digits of readings",
    axis="end digit of a reading",
    line_is="Expected of each digit, if none is preferred",
    marks_are="",
    words="Bars of how often readings end in each digit",
    note="",
)
DIGITS_CAPTION = "How often readings end in each digit of the scale."


def situation_words(found: Situation) -> AuditWords:
    """Return the words of the picture of a situational effect."""
    where = _WHERE[found.condition]
    return AuditWords(
        title=f"The situational effect: {where} against the clinic",
        axis=f"{found.unit}, {where} minus in the clinic",
        line_is="No difference",
        marks_are="Animals' differences shrunken to the mean, with their {share} intervals",
        words=f"Pressure {where} minus pressure in the clinic, overall and by animal",
        note=f"in brackets the sessions in the clinic and {where}.",
    )


def situation_heading(found: Situation) -> str:
    """Return what the panel of a situational effect shows."""
    return f"Difference {_WHERE[found.condition]}, {METHOD_WORDS[found.method]}"


def situation_names(found: Situation) -> list[str]:
    """Return the names of its rows: all animals first."""
    each = (
        f"{animal.animal} ({animal.sessions[0]} and {animal.sessions[1]})"
        for animal in found.animals
    )
    return ["all animals", *each]


def method_heading(method: str) -> str:
    """Return a method as a panel's heading."""
    return capital(METHOD_WORDS[method])


def sessions_heading(method: str, sessions: int) -> str:
    """Return a method with the sessions that are compared."""
    return f"{method_heading(method)}: {sessions} sessions"


def scale_heading(method: str, step: int) -> str:
    """Return a method with the marks of its scale."""
    return f"{method_heading(method)}: read to {step} mmHg"


def place_name(nth: int, sessions: int) -> str:
    """Return a reading by its place in the session, from 1."""
    return counted_name(_PLACES[nth - 1], sessions)


def counted_name(name: str, sessions: int) -> str:
    """Return a name with the number of its sessions."""
    return f"{name} (n = {sessions})"


def digits_alt_text(panels: Sequence[tuple[str, BarsPanel]]) -> str:
    """Return how often each digit came, by method.

    Parameters
    ----------
    panels : sequence of (str, BarsPanel)
        Method and panel.
    """
    counts = "; ".join(
        f"{method_heading(method)} "
        + ", ".join(f"{n} {c:.0f}" for n, c in zip(panel.names, panel.count, strict=True))
        for method, panel in panels
    )
    return f"{DIGITS.words}. {counts}."


def _rows_in_words(panels: Sequence[RowsPanel], ends: bool) -> str:
    parts = []
    for panel in panels:
        columns = (panel.names, panel.estimate, panel.low, panel.high)
        rows = (
            _row_in_words(name, value, *((low, high) if ends else (np.nan, np.nan)))
            for name, value, low, high in zip(*columns, strict=True)
        )
        parts.append(f"{panel.heading}; {', '.join(rows)}")
    return "; ".join(parts)


def _row_in_words(name: str, value: float, low: float, high: float) -> str:
    """Return an estimate in words, with the ends that are known."""
    if np.isnan(value):
        return name
    ends = f" ({number(low, 1)} to {number(high, 1)})" if np.isfinite([low, high]).all() else ""
    return f"{name} {number(value, 1)}{ends}"
