"""One animal's variability as a picture: each statistic with its interval."""

from __future__ import annotations

from bpvet.errors import CallError
from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.frozen import replace
from bpvet.models.trend.variability import Variability
from bpvet.pictures.audit import of_panels, rows_panel
from bpvet.wording.en.pictures import variability as words


def variability_picture(found: Variability) -> AuditPicture:
    """Return the statistics of scatter that have a number, in their unit and in per cent.

    Raises
    ------
    CallError
        Where no statistic has a number.
    """
    texts, panels = words.variability_words(found), []
    statistics = [row for row in found.statistics[1:] if row[1].estimate is not None]
    if not statistics:
        raise CallError(f"no variability can be drawn: {found.sd.reason}.")
    axes = dict(zip((found.unit, "%"), words.HEADINGS, strict=True))
    for unit, heading in axes.items():
        rows = [(name, statistic) for name, statistic, of in statistics if of == unit]
        if rows:
            axis = words.PERCENT_AXIS if unit == "%" else texts.axis
            names, estimates = [name for name, _ in rows], [statistic for _, statistic in rows]
            panels.append(rows_panel(replace(texts, axis=axis), heading, names, estimates))
    return of_panels(texts, panels, found.level)
