"""What the picture of one animal's variability says."""

from __future__ import annotations

from bpvet.models.trend.variability import Variability
from bpvet.printing import number
from bpvet.wording.en.phrases import counted, interval
from bpvet.wording.en.pictures.audit import AuditWords


def variability_words(found: Variability) -> AuditWords:
    """Return the words of the picture; its axis is that of statistics in the values' unit."""
    centre = found.mean
    ends = ""
    if centre.lower is not None and centre.upper is not None:
        ends = f" ({interval(found.level, centre.lower, centre.upper, 1)})"
    return AuditWords(
        title=f"Visit-to-visit variability of {counted(found.sessions, 'session')}",
        axis=found.unit,
        line_is="",
        marks_are="Estimate, with its {share} interval",
        words="How much one animal's sessions vary from visit to visit",
        note=(
            f"their mean is {number(centre.estimate, 1)} {found.unit}{ends}. "
            f"{' '.join(found.assumptions)}"
        ),
        ends=True,
        no_interval="Estimate without an interval",
    )


#: Of statistics in per cent.
PERCENT_AXIS = "% of the mean"
#: Headings of the panels: in the values' unit, and in per cent.
HEADINGS = ("In the unit of the pressure", "Against the mean")
