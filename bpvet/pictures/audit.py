"""From an audit to its pictures: frozen numbers and words, for `bpvet.figures.clinic.audit`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.errors import CallError
from bpvet.figures.clinic.audit_picture import AuditPicture, BarsPanel, RowsPanel
from bpvet.frozen import replace
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.situation import Situation
from bpvet.models.audit.audit import Audit
from bpvet.wording.en.pictures import audit as words
from bpvet.wording.en.pictures.audit import AuditWords
from bpvet.wording.en.pictures.drawn import ESTIMATES


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
        rows_panel(
            words.ORDER,
            words.sessions_heading(effects.method, effects.sessions),
            [words.place_name(nth.place, nth.sessions) for nth in effects.places],
            [nth.minus_rest for nth in effects.places],
        )
        for effects in audit.order
        if effects.places
    ]
    return _picture(words.ORDER, panels, audit.level)


def digits_picture(audit: Audit) -> AuditPicture | None:
    """Return how often each end digit came; None without readings."""
    panels = [
        (
            digits.method,
            BarsPanel(
                words.scale_heading(digits.method, digits.test.step),
                words.DIGITS.axis,
                tuple(str(digit) for digit in digits.test.digits),
                np.array(digits.test.counts, dtype=float),
                sum(digits.test.counts) / len(digits.test.counts),
                words.DIGITS.line_is,
            ),
        )
        for digits in audit.digits
        if sum(digits.test.counts)
    ]
    if not panels:
        return None
    return AuditPicture(
        title=words.DIGITS.title,
        panels=tuple(panel for _, panel in panels),
        marks_are="",
        caption=words.DIGITS_CAPTION,
        alt_text=words.digits_alt_text(panels),
        words=ESTIMATES,
    )


def spread_picture(audit: Audit) -> AuditPicture | None:
    """Return the scatter of readings by operator, site and demeanour; None without groups."""
    panels = []
    whole = {spread.method: spread.sd.estimate for spread in audit.spreads if not spread.by}
    for method, sd in whole.items():
        groups = [
            spread
            for spread in audit.spreads
            if spread.method == method and spread.shrunken is not None
        ]
        if groups and sd is not None:
            names = [
                words.counted_name(f"{spread.by}: {spread.group}", spread.sessions)
                for spread in groups
            ]
            drawn = [spread.shrunken for spread in groups if spread.shrunken is not None]
            panels.append(rows_panel(words.SPREAD, words.method_heading(method), names, drawn, sd))
    return _picture(words.SPREAD, panels, audit.level)


def operators_picture(audit: Audit) -> AuditPicture | None:
    """Return operators with shrinkage and intervals, in alphabetical order; None without any."""
    panels = [
        rows_panel(
            words.OPERATORS,
            words.method_heading(operators.method),
            [words.counted_name(who.operator, who.sessions) for who in operators.effects],
            [who.effect for who in operators.effects],
        )
        for operators in audit.operators
        if operators.effects and operators.sd
    ]
    return _picture(words.OPERATORS, panels, audit.level)


def situation_picture(found: Situation) -> AuditPicture:
    """Return each animal's difference under a condition, and that of all."""
    texts = words.situation_words(found)
    panel = rows_panel(
        texts,
        words.situation_heading(found),
        words.situation_names(found),
        [found.overall, *(animal.shrunken for animal in found.animals)],
    )
    return of_panels(texts, [panel], found.level)


def _picture(texts: AuditWords, panels: list[RowsPanel], level: float) -> AuditPicture | None:
    return of_panels(texts, panels, level) if panels else None


def of_panels(texts: AuditWords, panels: list[RowsPanel], level: float) -> AuditPicture:
    """Return estimates one below the other as a picture; `level` is that of their intervals."""
    return AuditPicture(
        title=texts.title,
        panels=tuple(panels),
        marks_are=texts.marks(level),
        caption=texts.caption,
        alt_text=texts.alt_text(panels),
        words=replace(ESTIMATES, no_interval=texts.no_interval),
    )


def rows_panel(
    texts: AuditWords,
    heading: str,
    names: Sequence[str],
    estimates: Sequence[Estimate],
    line: float = 0.0,
    span: tuple[float, float] | None = None,
) -> RowsPanel:
    """Return a panel of named estimates, with the axis and the line of comparison of `texts`.

    Parameters
    ----------
    texts : AuditWords
    heading : str
    names : sequence of str
        From top to bottom.
    estimates : sequence of Estimate
    line : float
        Where the line of comparison stands.
    span : (float, float), optional
        What the axis reaches to at least.
    """
    ends = ([np.nan if v is None else v for v in (e.estimate, e.lower, e.upper)] for e in estimates)
    estimate, low, high = np.array(list(ends), dtype=float).T
    return RowsPanel(
        heading, texts.axis, tuple(names), estimate, low, high, line, texts.line_is, span
    )
