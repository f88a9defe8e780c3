"""From an audit to its pictures: frozen numbers and words, for `bpvet.figures.clinic.audit`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.errors import CallError
from bpvet.figures.clinic.audit_picture import AuditPicture, BarsPanel, RowsPanel
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.situation import Situation
from bpvet.models.audit.audit import Audit
from bpvet.wording.en.pictures import audit as words
from bpvet.wording.en.pictures.audit import AuditWords
from bpvet.wording.en.pictures.drawn import NO_INTERVAL


def audit_picture(audit: Audit, what: str) -> AuditPicture:
    """Return the picture of this name: ``order``, ``digits``, ``spread`` or ``operators``.

    Raises
    ------
    CallError
        For another name, or where there is nothing to draw.
    """
    made = {
        "order": order_picture,
        "digits": digits_picture,
        "spread": spread_picture,
        "operators": operators_picture,
    }
    if what not in made:
        raise CallError(f'an audit has figures of {", ".join(made)}, and none of "{what}".')
    picture = made[what](audit)
    if picture is None:
        raise CallError(f"these records hold nothing that a figure of {what} could show.")
    return picture


def order_picture(audit: Audit) -> AuditPicture | None:
    """Return readings one by one against the mean of those after the first; None without any."""
    panels = [
        _rows(
            words.ORDER,
            words.sessions_heading(one.method, one.sessions),
            [words.place_name(held.place, held.sessions) for held in one.places],
            [held.minus_rest for held in one.places],
        )
        for one in audit.order
        if one.places
    ]
    return _picture(words.ORDER, panels, audit.level)


def digits_picture(audit: Audit) -> AuditPicture | None:
    """Return how often each end digit came; None without readings."""
    panels = [
        (
            one.method,
            BarsPanel(
                words.scale_heading(one.method, one.test.step),
                words.DIGITS.axis,
                tuple(str(digit) for digit in one.test.digits),
                np.array(one.test.counts, dtype=float),
                sum(one.test.counts) / len(one.test.counts),
                words.DIGITS.line_is,
            ),
        )
        for one in audit.digits
        if sum(one.test.counts)
    ]
    if not panels:
        return None
    return AuditPicture(
        title=words.DIGITS.title,
        panels=tuple(panel for _, panel in panels),
        marks_are="",
        caption=words.DIGITS_CAPTION,
        alt_text=words.digits_alt_text(panels),
        no_interval=NO_INTERVAL,
    )


def spread_picture(audit: Audit) -> AuditPicture | None:
    """Return the scatter of readings by operator, site and demeanour; None without groups."""
    panels = []
    whole = {one.method: one.sd.estimate for one in audit.spreads if not one.by}
    for method, sd in whole.items():
        held = [one for one in audit.spreads if one.method == method and one.shrunken is not None]
        if held and sd is not None:
            names = [words.counted_name(f"{one.by}: {one.group}", one.sessions) for one in held]
            drawn = [one.shrunken for one in held if one.shrunken is not None]
            panels.append(_rows(words.SPREAD, words.method_heading(method), names, drawn, sd))
    return _picture(words.SPREAD, panels, audit.level)


def operators_picture(audit: Audit) -> AuditPicture | None:
    """Return operators with shrinkage and intervals, in alphabetical order; None without any."""
    panels = [
        _rows(
            words.OPERATORS,
            words.method_heading(one.method),
            [words.counted_name(part.operator, part.sessions) for part in one.effects],
            [part.effect for part in one.effects],
        )
        for one in audit.operators
        if one.effects and one.sd
    ]
    return _picture(words.OPERATORS, panels, audit.level)


def situation_picture(found: Situation) -> AuditPicture:
    """Return each animal's difference under a condition, and that of all."""
    told = words.situation_words(found)
    panel = _rows(
        told,
        words.situation_heading(found),
        words.situation_names(found),
        [found.overall, *(one.shrunken for one in found.animals)],
    )
    return _of_panels(told, [panel], found.level)


def _picture(told: AuditWords, panels: list[RowsPanel], level: float) -> AuditPicture | None:
    return _of_panels(told, panels, level) if panels else None


def _of_panels(told: AuditWords, panels: list[RowsPanel], level: float) -> AuditPicture:
    return AuditPicture(
        title=told.title,
        panels=tuple(panels),
        marks_are=told.marks(level),
        caption=told.caption,
        alt_text=told.alt_text(panels),
        no_interval=NO_INTERVAL,
    )


def _rows(
    told: AuditWords,
    heading: str,
    names: Sequence[str],
    held: Sequence[Estimate],
    line: float = 0.0,
) -> RowsPanel:
    ends = ([np.nan if v is None else v for v in (e.estimate, e.lower, e.upper)] for e in held)
    estimate, low, high = np.array(list(ends), dtype=float).T
    return RowsPanel(heading, told.axis, tuple(names), estimate, low, high, line, told.line_is)
