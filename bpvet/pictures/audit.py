"""From an audit to its pictures: frozen numbers and words, for `bpvet.figures.clinic.audit`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.facts.words import METHOD_WORDS
from bpvet.figures.clinic.audit_picture import AuditPicture, BarsPanel, RowsPanel
from bpvet.maths.agreement.comparison import Estimated
from bpvet.models.agreement.situation import Situation
from bpvet.models.audit.audit import NOT_TO_JUDGE, Audit

_PLACES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def order_picture(audit: Audit) -> AuditPicture | None:
    """Return readings one by one against the mean of those after the first; None without any."""
    panels = [
        _rows(
            f"{_capital(METHOD_WORDS[one.method])}: {one.sessions} sessions",
            "mmHg above the mean of all readings after the first",
            [f"{_PLACES[held.place - 1]} (n = {held.sessions})" for held in one.places],
            [held.minus_rest for held in one.places],
            0.0,
            "No difference",
        )
        for one in audit.order
        if one.places
    ]
    if not panels:
        return None
    words = "Readings of a session one by one, in order of taking"
    return AuditPicture(
        title="First reading against the rest",
        panels=tuple(panels),
        marks_are=f"Mean over sessions, with its {_share(audit)} interval",
        caption=f"{words}; n is the number of sessions that have such a reading.",
        alt_text=f"{words}: {_told(panels)}.",
    )


def digits_picture(audit: Audit) -> AuditPicture | None:
    """Return how often each end digit came; None without readings."""
    panels = [
        BarsPanel(
            f"{_capital(METHOD_WORDS[one.method])}: read to {one.test.step} mmHg",
            "end digit of a reading",
            tuple(str(digit) for digit in one.test.digits),
            np.array(one.test.counts, dtype=float),
            sum(one.test.counts) / len(one.test.counts),
            "Expected of each digit, if none is preferred",
        )
        for one in audit.digits
        if sum(one.test.counts)
    ]
    if not panels:
        return None
    counted = "; ".join(
        f"{panel.heading.split(':')[0]} "
        + ", ".join(f"{n} {c:.0f}" for n, c in zip(panel.names, panel.count, strict=True))
        for panel in panels
    )
    return AuditPicture(
        title="End digits of readings",
        panels=tuple(panels),
        marks_are="",
        caption="How often readings end in each digit of the scale.",
        alt_text=f"Bars of how often readings end in each digit. {counted}.",
    )


def spread_picture(audit: Audit) -> AuditPicture | None:
    """Return the scatter of readings by operator, site and demeanour; None without groups."""
    panels = []
    whole = {one.method: one.sd.estimate for one in audit.spreads if not one.by}
    for method, sd in whole.items():
        held = [one for one in audit.spreads if one.method == method and one.shrunken is not None]
        if held and sd is not None:
            name = METHOD_WORDS[method]
            names = [f"{one.by}: {one.group} (n = {one.sessions})" for one in held]
            drawn = [one.shrunken for one in held if one.shrunken is not None]
            panel = _rows(
                _capital(name),
                "SD of readings within a session, mmHg",
                names,
                drawn,
                sd,
                "All sessions of the method",
            )
            panels.append(panel)
    if not panels:
        return None
    words = "Scatter of readings within a session, by who, where on the animal, and its demeanour"
    return AuditPicture(
        title="Scatter of readings, shrunken to a common value",
        panels=tuple(panels),
        marks_are=f"SD shrunken to the common value, with its {_share(audit)} interval",
        caption=f"{words}; n is the number of sessions. {NOT_TO_JUDGE}",
        alt_text=f"{words}: {_told(panels)}.",
    )


def operators_picture(audit: Audit) -> AuditPicture | None:
    """Return operators with shrinkage and intervals, in alphabetical order; None without any."""
    panels = [
        _rows(
            _capital(METHOD_WORDS[one.method]),
            "mmHg against the average, on the same animals",
            [f"{part.operator} (n = {part.sessions})" for part in one.effects],
            [part.effect for part in one.effects],
            0.0,
            "The average of all operators",
        )
        for one in audit.operators
        if one.effects and one.sd
    ]
    if not panels:
        return None
    words = "Operators in alphabetical order, shrunken to the average"
    return AuditPicture(
        title="Operators on the same animals",
        panels=tuple(panels),
        marks_are=f"Shrunken mean of the residuals, with its {_share(audit)} interval",
        caption=f"{words}; n is the number of sessions. {NOT_TO_JUDGE}",
        alt_text=f"{words}: {_told(panels)}.",
    )


def situation_picture(found: Situation) -> AuditPicture:
    """Return each animal's difference under a condition, and that of all."""
    where = {"home": "at home", "calmed": "after a calming drug"}[found.condition]
    panel = _rows(
        f"Difference {where}, {METHOD_WORDS[found.method]}",
        f"{found.unit}, {where} minus in the clinic",
        [
            "all animals",
            *(f"{one.animal} ({one.sessions[0]} and {one.sessions[1]})" for one in found.animals),
        ],
        [found.overall, *(one.shrunken for one in found.animals)],
        0.0,
        "No difference",
    )
    share = f"{100 * found.level:g} %"
    words = f"Pressure {where} minus pressure in the clinic, overall and by animal"
    return AuditPicture(
        title=f"The situational effect: {where} against the clinic",
        panels=(panel,),
        marks_are=f"Animals' differences shrunken to the mean, with their {share} intervals",
        caption=f"{words}; in brackets the sessions in the clinic and {where}.",
        alt_text=f"{words}: {_told([panel])}.",
    )


def _rows(
    heading: str,
    axis: str,
    names: Sequence[str],
    held: Sequence[Estimated],
    line: float,
    line_is: str,
) -> RowsPanel:
    ends = ([np.nan if v is None else v for v in (e.estimate, e.lower, e.upper)] for e in held)
    estimate, low, high = np.array(list(ends), dtype=float).T
    return RowsPanel(heading, axis, tuple(names), estimate, low, high, line, line_is)


def _told(panels: Sequence[RowsPanel]) -> str:
    """Return the estimates of panels in words."""
    parts = []
    for panel in panels:
        rows = (
            f"{name} {value:.1f}".replace("-", "−")
            for name, value in zip(panel.names, panel.estimate, strict=True)
        )
        parts.append(f"{panel.heading}; {', '.join(rows)}")
    return "; ".join(parts)


def _share(audit: Audit) -> str:
    return f"{100 * audit.level:g} %"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
