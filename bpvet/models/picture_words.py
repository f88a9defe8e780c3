"""What a picture of a trend says in words: heading, bands, caption and alternative text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from bpvet.facts.words import CONDITION_WORDS, DECIMALS, METHOD_WORDS, QUANTITY_WORDS
from bpvet.figures.pictures import Panel, SessionMarks, SignMark
from bpvet.printing import number, prose_date
from bpvet.visits.courses import Span

if TYPE_CHECKING:
    from bpvet.models.trend import Trend


def heading(trend: Trend) -> str:
    """Return quantity, method and condition in words."""
    series = trend.series
    what = QUANTITY_WORDS[series.quantity]
    if trend.logarithmic:
        return f"{what[:1].upper()}{what[1:]}, {METHOD_WORDS[series.method]}"
    methods = sorted(set(series.methods.tolist()), key=lambda one: one != series.method)
    by = " and ".join("Doppler" if one == "doppler" else "oscillometric" for one in methods)
    where = sorted(set(series.conditions.tolist()), key=lambda one: one != series.condition)
    said = " and ".join(CONDITION_WORDS[one] for one in where)
    return f"{what[:1].upper()}{what[1:]}, {by}, {said}"


def band_words(trend: Trend, level: float) -> str:
    """Return what the bands are; the outer one holds `level`, a probability."""
    usual = "Usual value" if trend.logarithmic else "Usual pressure as measured here"
    return (
        f"{usual}: the line is the best estimate; the dark band holds it "
        f"with 50 %, the light band with {100 * level:.0f} % probability."
    )


def caption(
    trend: Trend,
    panel: Panel,
    joined: Sequence[SessionMarks],
    signs: Sequence[SignMark],
    level: float,
) -> str:
    """Return the written caption: what, how, what the bands are, and what is beside.

    Parameters
    ----------
    trend : Trend
    panel : Panel
        The trend's own panel.
    joined : sequence of SessionMarks
        Those of its other sessions that are part of a bridged trend.
    signs : sequence of SignMark
        The signs that the picture shows.
    level : float
        Probability of the outer band.
    """
    series = trend.series
    count = series.y.size
    said = [
        f"{panel.heading}: {count} {_one(trend)}{'s' if count > 1 else ''}, "
        f"{prose_date(series.date[0])} to {prose_date(series.date[-1])}, in {series.unit}; as of "
        f"{prose_date(trend.as_of)}.",
    ]
    if not trend.logarithmic:
        said.append(
            "Small marks are readings, large ones session means with one standard deviation of "
            "the readings either way."
        )
    said.append(band_words(trend, level))
    if panel.guideline:
        kind = "stages" if trend.logarithmic else "categories"
        said.append(f"Shaded levels: {kind} of the {panel.guideline}.")
    if joined:
        names = "; ".join(one.name for one in joined)
        said.append(f"Hollow marks that are part of the trend through the join: {names}.")
    if len(panel.others) > len(joined):
        names = "; ".join(one.name for one in panel.others[len(joined) :])
        said.append(f"Hollow marks, not part of the trend: {names}.")
    given = [_treatment_words(span) for span in trend.context.treatments.spans]
    seen = [f"{one.label} on {prose_date(one.date)}" for one in signs]
    said += [f"Treatment as written: {'; '.join(given)}."] if given else []
    said += [f"Signs: {'; '.join(seen)}."] if seen else []
    said += [f"{panel.note}."] if panel.note else []
    said.append(f"Priors: {trend.priors.source}.")
    return " ".join(said)


def _one(trend: Trend) -> str:
    return "value" if trend.logarithmic else "session"


def _treatment_words(span: Span) -> str:
    end = "ongoing" if np.isnat(span.stopped_on) else f"to {prose_date(span.stopped_on)}"
    dose = f" {span.dose}" if span.dose else ""
    return f"{span.drug}{dose} from {prose_date(span.started_on)}, {end}"


def alt_text(trend: Trend, level: float) -> str:
    """Return the trend's own panel in words, for a reader who does not see it."""
    series, latest, values = trend.series, trend.latest, trend.observed
    low, high = latest.interval(level)
    what = "values" if trend.logarithmic else "session means"
    digits = DECIMALS.get(series.quantity, 0)
    return (
        f"Line chart over time. {heading(trend)}: {series.y.size} {what} between "
        f"{number(float(values.min()), digits)} and {number(float(values.max()), digits)} "
        f"{series.unit}, {prose_date(series.date[0])} to {prose_date(series.date[-1])}. "
        f"The usual value at the latest "
        f"session is {number(float(latest.mean), digits)} {series.unit}, {100 * level:.0f} % "
        f"interval {number(float(low), digits)} to {number(float(high), digits)}."
    )
