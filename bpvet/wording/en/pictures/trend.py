"""What the picture of a trend says: its marks, its bands, its caption, its alternative text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from bpvet.answers.trend.verdicts import surprise_by
from bpvet.facts.analytes import analyte
from bpvet.facts.cautions import licensed
from bpvet.facts.stages import NEWER, staging
from bpvet.facts.words import CONDITION_WORDS, DECIMALS, METHOD_WORDS, QUANTITY_WORDS
from bpvet.figures.pictures import CourseSpan, Panel, SessionMarks, SignMark
from bpvet.models.trend.outlook import surprise
from bpvet.models.trend.trend import Trend
from bpvet.printing import number, prose_date
from bpvet.records.animal_rows import animal_rows
from bpvet.visits.treatments.courses import Span
from bpvet.wording.en.phrases import CONTEXTS
from bpvet.wording.en.pictures.drawn import TREND
from bpvet.wording.en.trend.control import category_withheld
from bpvet.wording.en.trend.usual import SURPRISES


def title(trend: Trend) -> str:
    """Return whose trend it is, and of what."""
    animal = trend.series.animal
    row = animal_rows(trend.records).get(animal)
    who = f"{row.name} ({animal})" if row is not None and row.name else animal
    return f"{who}: {QUANTITY_WORDS[trend.series.quantity]}"


def heading(trend: Trend) -> str:
    """Return quantity, method and condition in words."""
    series = trend.series
    what = QUANTITY_WORDS[series.quantity]
    if trend.logarithmic:
        return f"{what[:1].upper()}{what[1:]}, {METHOD_WORDS[series.method]}"
    methods = sorted(set(series.methods.tolist()), key=lambda method: method != series.method)
    by = " and ".join("Doppler" if method == "doppler" else "oscillometric" for method in methods)
    where = sorted(
        set(series.conditions.tolist()), key=lambda condition: condition != series.condition
    )
    taken = " and ".join(CONDITION_WORDS[condition] for condition in where)
    return f"{what[:1].upper()}{what[1:]}, {by}, {taken}"


def group_name(method: str, condition: str, joined: bool = False) -> str:
    """Return what sessions of one method under one condition are, for the key.

    Parameters
    ----------
    method, condition : str
    joined : bool
        Whether they are part of the trend through the join between two methods.
    """
    by = TREND.methods["doppler"] if method == "doppler" else METHOD_WORDS[method]
    return f"{by}, {CONDITION_WORDS[condition]}{', joined' if joined else ''}"


def left_out_name(bounds_alone: bool) -> str:
    """Return what laboratory values are that no trend takes."""
    return "bounds" if bounds_alone else "bounds and values of 0"


def bound_label(bound: str, value: float, digits: int = 0) -> str:
    """Return what letters a session that is known as a bound alone; blank for any other."""
    return f"{TREND.bounds[bound]} {number(value, digits)}" if bound else ""


def session_labels(trend: Trend, bounds: Sequence[str], scale: float = 1.0) -> list[str]:
    """Letter the newest session, with whether it surprises, the first visit, and every bound.

    Parameters
    ----------
    trend : Trend
    bounds : (n,) sequence of str
        ``at least``, ``at most`` or blank: how each session is drawn.
    scale : float
        What values are divided by, as the digits of the model's unit show them.
    """
    series, digits = trend.series, DECIMALS.get(trend.series.quantity, 0)
    parts = [
        [bound_label(bound, float(mean), digits)] if bound else []
        for bound, mean in zip(bounds, trend.observed, strict=True)
    ]
    if not parts[-1]:
        newest = number(float(trend.observed[-1]), digits)
        parts[-1].append(newest if scale == 1.0 else f"{float(newest) / scale:.3g}")
    if trend.first_visit is not None and series.visit[0] == 0 and series.y.size > 1:
        parts[0].append("first visit")
    found = surprise(trend)
    if found is not None and (word := SURPRISES.get(surprise_by(found.tail))):
        parts[-1].append(word)
    return [", ".join(words) for words in parts]


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


def doubt_words(
    trend: Trend, missed: int, gaps: Sequence[tuple[np.datetime64, np.datetime64]]
) -> Iterator[str]:
    """Yield sentences on where the band is hatched, and where its line is broken.

    Parameters
    ----------
    trend : Trend
    missed : int
        Sessions outside of the band, where they are too many.
    gaps : sequence of (datetime64[D], datetime64[D])
        Dates before and after each gap that is too long to draw across.
    """
    series, noun = trend.series, _value_or_session(trend)
    if missed:
        yield (
            f"The band is hatched because it does not fit: {missed} of "
            f"{int(np.sum(series.bound == ''))} {noun}s lie outside its 95 % even when the usual "
            "noise of a visit is allowed for. It describes no state of this animal."
        )
    elif gaps:
        spans = "; ".join(f"{prose_date(a)} to {prose_date(b)}" for a, b in gaps)
        yield f"The band is hatched where no {noun} was taken for more than 180 days: {spans}."
    if np.any(series.bound != ""):
        yield (
            f"Where a {noun} is known only as a bound (an arrow), the line of the best estimate is "
            "left out: the true value lies further out."
        )


def notes(trend: Trend, withheld: str | None) -> Iterator[str]:
    """Yield what must be said with the panel.

    Parameters
    ----------
    trend : Trend
    withheld : str or None
        Why no category is named; None where they are.
    """
    if trend.bridged:
        yield "Methods or conditions are joined through an estimated difference."
    if trend.one_sided:
        yield (
            f"Three in four readings or more lie beyond the gauge: of the usual pressure only "
            f"that it is {trend.one_sided} a value is known."
        )
    if withheld:
        yield category_withheld(withheld).short


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
    sentences = [
        f"{panel.heading}: {count} {_value_or_session(trend)}{'s' if count > 1 else ''}, "
        f"{prose_date(series.date[0])} to {prose_date(series.date[-1])}{_in_unit(trend)}; as of "
        f"{prose_date(trend.as_of)}.",
    ]
    if not trend.logarithmic:
        sentences.append(
            "Ticks are readings, large marks session means with one standard deviation of "
            "the readings either way; every mark stands on its own date."
        )
    sentences.append(panel.band.words if panel.band is not None else "")
    if trend.changes:
        named = (CONTEXTS.get(step.change.kind, step.change.kind) for step in trend.changes)
        kinds = list(dict.fromkeys(named))
        others = kinds[0] if len(kinds) == 1 else f"{', '.join(kinds[:-1])} or {kinds[-1]}"
        sentences.append(
            f"Sessions recorded with another {others} are drawn as they read; the line stands as "
            "measured at the latest session."
        )
    if panel.guideline:
        sentences.append(_levels(trend, panel.guideline))
    if joined:
        names = "; ".join(marks.name for marks in joined)
        sentences.append(f"Hollow marks that are part of the trend through the join: {names}.")
    if len(panel.others) > len(joined):
        names = "; ".join(marks.name for marks in panel.others[len(joined) :])
        sentences.append(f"Hollow marks, not part of the trend: {names}.")
    sentences += treatments_words(trend.context.treatments.spans)
    sentences += signs_words(signs)
    sentences += [panel.note] if panel.note else []
    sentences += [f"Priors: {trend.priors.source}.", licensed()]
    return " ".join(sentences)


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


def _value_or_session(trend: Trend) -> str:
    return "value" if trend.logarithmic else "session"


def treatments_words(spans: Sequence[Span] | Sequence[CourseSpan]) -> Iterator[str]:
    """Yield the treatments as a caption tells them; nothing without any."""
    if spans:
        yield f"Treatment as written: {'; '.join(map(_treatment_words, spans))}."


def signs_words(signs: Sequence[SignMark]) -> Iterator[str]:
    """Yield the signs as a caption tells them; nothing without any."""
    if signs:
        seen = (f"{sign.label} on {prose_date(sign.date)}" for sign in signs)
        yield f"Signs: {'; '.join(seen)}."


#: On the flag of a day without a usable reading.
NO_USABLE_READING = "no usable reading"


def sign_label(sign: str, status: str) -> str:
    """Return a sign, with its status where it is not simply present."""
    return sign if status in ("", "present") else f"{sign} ({status})"


def _treatment_words(span: Span | CourseSpan) -> str:
    end = "ongoing" if np.isnat(span.stopped_on) else f"to {prose_date(span.stopped_on)}"
    dose = f" {span.dose}" if span.dose else ""
    return f"{span.drug}{dose} from {prose_date(span.started_on)}, {end}"


def newest_words(trend: Trend, level: float) -> str:
    """Return the newest value, its date, the dose on that day, and where the usual value lies."""
    series, digits = trend.series, DECIMALS.get(trend.series.quantity, 0)
    newest = f"{series.bound[-1]} {number(float(trend.observed[-1]), digits)}".strip()
    text = f"Newest: {newest}{_unit(trend)} on {prose_date(series.date[-1])}"
    text += f" ({age_words(trend.as_of, series.date[-1])}), {doses_on(trend)}."
    low, high = (number(float(end), digits) for end in trend.latest.interval(level))
    if only := trend.one_sided:
        return f"{text} Usual value then {only} {high if only == 'at most' else low}."
    usual = number(float(trend.latest.mean), digits)
    text += f" Usual value then {usual} ({low} to {high} with {100 * level:.0f} %)"
    first, last = series.date[0], series.date[-1]
    if first == last:
        return f"{text}."
    before = number(float(trend.at(first).mean), digits)
    return f"{text}; at the first {_value_or_session(trend)}, {prose_date(first)}, {before}."


def age_words(as_of: np.datetime64, date: np.datetime64) -> str:
    """Return how long ago a date was."""
    days = int((as_of - date) / np.timedelta64(1, "D"))
    return {0: "today", 1: "yesterday"}.get(days, f"{number(days, 0)} days ago")


def doses_on(trend: Trend, date: np.datetime64 | None = None) -> str:
    """Return the pressure drugs of a day with their doses as written.

    Parameters
    ----------
    trend : Trend
    date : datetime64[D], optional
        The newest session's by default.
    """
    day = trend.series.date[-1] if date is None else date
    spans = [span for span in trend.context.treatments.spans if span.modelled and span.on(day)]
    named = [f"{span.drug} {span.dose}".strip() for span in spans]
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
    sentences = [
        f"Line chart over time. {heading(trend)}: {'; '.join(shown)}, "
        f"{prose_date(series.date[0])} to {prose_date(series.date[-1])}.",
        newest_words(trend, level),
    ]
    lines = [line.words for line in (panel.target, panel.floor) if line is not None and line.words]
    if panel.floor is not None:
        # Only where sessions lie below the floor has the range under it a name.
        under = (shaded.name for shaded in panel.levels if shaded.high == panel.floor.value)
        lines += filter(None, under)
    sentences += [f"Lines across: {'; '.join(lines)}."] if lines else []
    spans = trend.context.treatments.spans
    sentences += [f"Treatment: {'; '.join(map(_treatment_words, spans))}."] if spans else []
    sentences += signs_words(signs)
    return " ".join(sentences)
