"""What a picture of a trend says in words: heading, bands, caption and alternative text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from bpvet.facts.analytes import analyte
from bpvet.facts.cautions import licensed
from bpvet.facts.stages import NEWER, staging
from bpvet.facts.words import CONDITION_WORDS, DECIMALS, METHOD_WORDS, QUANTITY_WORDS
from bpvet.figures.pictures import Panel, SessionMarks, SignMark
from bpvet.printing import number, prose_date
from bpvet.visits.treatments.courses import Span

if TYPE_CHECKING:
    from bpvet.models.trend.trend import Trend


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


def band_words(trend: Trend, level: float, inner: float) -> str:
    """Return what the bands are: the probabilities that the outer and the inner one hold."""
    what = (
        "pressure" if trend.series.quantity == "systolic" else QUANTITY_WORDS[trend.series.quantity]
    )
    usual = "Usual value" if trend.logarithmic else f"Usual {what} as measured here"
    return (
        f"{usual}: the line is the best estimate; the dark band holds it "
        f"with {100 * inner:.0f} %, the light band with {100 * level:.0f} % probability."
    )


def caption(
    trend: Trend,
    panel: Panel,
    joined: Sequence[SessionMarks],
    signs: Sequence[SignMark],
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
    """
    series = trend.series
    count = series.y.size
    said = [
        f"{panel.heading}: {count} {_one(trend)}{'s' if count > 1 else ''}, "
        f"{prose_date(series.date[0])} to {prose_date(series.date[-1])}{_in_unit(trend)}; as of "
        f"{prose_date(trend.as_of)}.",
    ]
    if not trend.logarithmic:
        said.append(
            "Ticks are readings, large marks session means with one standard deviation of "
            "the readings either way; every mark stands on its own date."
        )
    said.append(panel.band.words if panel.band is not None else "")
    if trend.changes:
        kinds = list(dict.fromkeys(one.change.kind for one in trend.changes))
        others = kinds[0] if len(kinds) == 1 else f"{', '.join(kinds[:-1])} or {kinds[-1]}"
        said.append(
            f"Sessions recorded with another {others} are drawn as they read; the line stands as "
            "measured at the latest session."
        )
    if panel.guideline:
        said.append(_levels(trend, panel.guideline))
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
    said += [panel.note] if panel.note else []
    said += [f"Priors: {trend.priors.source}.", licensed()]
    return " ".join(said)


def _levels(trend: Trend, whose: str) -> str:
    """Return whose levels are drawn; of laboratory values with their bounds as printed."""
    series = trend.series
    found = staging(series.quantity, series.species, series.unit) if trend.logarithmic else None
    if found is None:
        return f"Dotted lines: bounds of the categories of the {whose}."
    kind = analyte(series.quantity).staged_as
    return (
        f"Dotted lines: bounds of the {kind}s of the {whose} ({series.species}): {found.words()}. "
        f"{NEWER} One value does not make a {kind}."
    )


def _in_unit(trend: Trend) -> str:
    return "" if trend.series.unit == "ratio" else f", in {trend.series.unit}"


def _one(trend: Trend) -> str:
    return "value" if trend.logarithmic else "session"


def _treatment_words(span: Span) -> str:
    end = "ongoing" if np.isnat(span.stopped_on) else f"to {prose_date(span.stopped_on)}"
    dose = f" {span.dose}" if span.dose else ""
    return f"{span.drug}{dose} from {prose_date(span.started_on)}, {end}"


def newest_words(trend: Trend, level: float) -> str:
    """Return the newest value, its date, the dose on that day, and where the usual value lies."""
    series, digits = trend.series, DECIMALS.get(trend.series.quantity, 0)
    newest = f"{series.bound[-1]} {number(float(trend.observed[-1]), digits)}".strip()
    said = f"Newest: {newest}{_unit(trend)} on {prose_date(series.date[-1])}"
    said += f" ({_age(trend)}), {doses_on(trend)}."
    low, high = (number(float(end), digits) for end in trend.latest.interval(level))
    if only := trend.one_sided:
        return f"{said} Usual value then {only} {high if only == 'at most' else low}."
    usual = number(float(trend.latest.mean), digits)
    said += f" Usual value then {usual} ({low} to {high} with {100 * level:.0f} %)"
    first, last = series.date[0], series.date[-1]
    if first == last:
        return f"{said}."
    before = number(float(trend.at(first).mean), digits)
    return f"{said}; at the first {_one(trend)}, {prose_date(first)}, {before}."


def _age(trend: Trend) -> str:
    days = int((trend.as_of - trend.series.date[-1]) / np.timedelta64(1, "D"))
    return {0: "today", 1: "yesterday"}.get(days, f"{number(days, 0)} days ago")


def doses_on(trend: Trend) -> str:
    """Return the pressure drugs of the newest session's day with their doses as written."""
    day = trend.series.date[-1]
    spans = [one for one in trend.context.treatments.spans if one.modelled and one.on(day)]
    named = [f"{one.drug} {one.dose}".strip() for one in spans]
    return f"on {', '.join(named)}" if named else "no blood-pressure drug on record that day"


def _unit(trend: Trend) -> str:
    return "" if trend.series.unit == "ratio" else f" {trend.series.unit}"


def alt_text(trend: Trend, panel: Panel, level: float, signs: Sequence[SignMark]) -> str:
    """Return the trend's own panel in words, for a reader who does not see it.

    Parameters
    ----------
    trend : Trend
    panel : Panel
        Its panel: what lies across it is named.
    level : float
        Probability of the interval.
    signs : sequence of SignMark
        The signs that the picture shows.
    """
    series, values = trend.series, trend.observed
    what = "values" if trend.logarithmic else "session means"
    digits = DECIMALS.get(series.quantity, 0)
    plain, shown = values[series.plain], []
    if plain.size:
        ends = (number(float(end), digits) for end in (plain.min(), plain.max()))
        shown.append(f"{plain.size} {what} between {' and '.join(ends)}{_unit(trend)}")
    shown += [
        f"one session {bound} {number(float(value), digits)}{_unit(trend)}"
        for bound, value in zip(series.bound, values, strict=True)
        if bound
    ]
    said = [
        f"Line chart over time. {heading(trend)}: {'; '.join(shown)}, "
        f"{prose_date(series.date[0])} to {prose_date(series.date[-1])}.",
        newest_words(trend, level),
    ]
    lines = [line.words for line in (panel.target, panel.floor) if line is not None and line.words]
    lines += [one.name for one in panel.levels if one.name.startswith("below")]
    said += [f"Lines across: {'; '.join(lines)}."] if lines else []
    spans = trend.context.treatments.spans
    said += [f"Treatment: {'; '.join(map(_treatment_words, spans))}."] if spans else []
    seen = [f"{one.label} on {prose_date(one.date)}" for one in signs]
    said += [f"Signs: {'; '.join(seen)}."] if seen else []
    return " ".join(said)
