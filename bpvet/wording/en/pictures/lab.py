"""What the picture of a laboratory value alone says, in the laboratory's own unit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from bpvet.facts.analytes import analyte as analyte_of
from bpvet.facts.analytes import decimals
from bpvet.facts.cautions import licensed
from bpvet.facts.labs import DRAWN
from bpvet.facts.sources import credit, fact
from bpvet.facts.stages import NEWER, Staging
from bpvet.figures.pictures import CourseSpan, Panel, SessionMarks, SignMark
from bpvet.frozen import dataclass
from bpvet.models.kidney.rate import rate_of
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.trend import Trend
from bpvet.printing import number, probability, prose_date
from bpvet.visits.labs.history import LabValue
from bpvet.wording.en.pictures.trend import age_words, doses_on, signs_words, treatments_words

#: Months from which a doubling is not told as a time.
_NEVER = 600
_SIGNS = {"at least": "> ", "at most": "< "}
#: Names of the levels of potassium, from the lowest.
POTASSIUM_LEVELS = ("low", "", "repeat", "high")


@dataclass(frozen=True)
class LabWords:
    """The words of the picture of a laboratory value's trend.

    Parameters
    ----------
    trend : Trend
    kidney : Kidney
        Whether kidney disease is recorded.
    known : sequence of LabValue
        Every value, bounds too, in order of date; the newest gives the unit.
    scale : float
        What a value of the model's unit is divided by.
    bounds : Staging or None
        The stages in that unit.
    level : float
        Of the outer band and of the interval of the change.
    """

    trend: Trend
    kidney: Kidney
    known: Sequence[LabValue]
    scale: float
    bounds: Staging | None
    level: float

    @property
    def unit(self) -> str:
        """The laboratory's unit."""
        return self.known[-1].unit

    @property
    def whose(self) -> str:
        """Whose the stages are, and whether they are conditional; blank without any."""
        if self.bounds is None:
            return ""
        edition = self.bounds.edition
        return edition if self.kidney.diagnosed else f"{edition}, if kidney disease is diagnosed"

    def level_name(self, stage: str) -> str:
        """Return a stage as it stands at the right edge."""
        return stage if self.kidney.diagnosed else f"would be {stage}"

    def caption(self, panel: Panel, spans: Sequence[CourseSpan], signs: Sequence[SignMark]) -> str:
        """Return the written caption of the trend's own panel, with what is beside it."""
        dates = self.trend.series.date
        parts = [
            f"{panel.heading}: {_count(dates.size)}, {prose_date(dates[0])} to "
            f"{prose_date(dates[-1])}{_in(self.unit)}; as of {prose_date(self.trend.as_of)}.",
            *self._mixed(),
            panel.band.words if panel.band is not None else "",
            *self._stages(),
            *self._rate(),
            *_hollow(panel.others),
            *treatments_words(spans),
            *signs_words(signs),
            panel.note,
            f"Priors: {self.trend.priors.source}.",
            licensed(),
        ]
        return _joined(parts)

    def alt_text(self, panel: Panel, spans: Sequence[CourseSpan], signs: Sequence[SignMark]) -> str:
        """Return the trend's own panel in words."""
        shown = np.concatenate([panel.sessions.mean, *(marks.mean for marks in panel.others)])
        low, high = (number(float(end), self._digits) for end in (np.min(shown), np.max(shown)))
        parts = [
            f"Line chart over time. {panel.heading}: {_count(shown.size)} between {low} and {high}"
            f"{_unit(self.unit)}, {prose_date(self.known[0].date)} to "
            f"{prose_date(self.known[-1].date)}.",
            self.newest,
            *self._rate(),
            *treatments_words(spans),
            *signs_words(signs),
        ]
        return _joined(parts)

    @property
    def newest(self) -> str:
        """The newest value, a bound too, its age, and where the usual value lies."""
        trend, value = self.trend, self.known[-1]
        first, last = trend.series.date[0], trend.series.date[-1]
        given = (
            f"Newest: {_SIGNS.get(value.bound, '')}{value.value:g}{_unit(value.unit)} on "
            f"{prose_date(value.date)} ({age_words(trend.as_of, value.date)}), "
            f"{doses_on(trend, value.date)}."
        )
        low, high = (self._value(end) for end in trend.latest.interval(self.level))
        then = "then" if last == value.date else f"on {prose_date(last)}"
        text = f"{given} Usual value {then} {self._value(trend.latest.mean)} "
        text += f"({low} to {high} with {100 * self.level:.0f} %)"
        if first == last:
            return f"{text}."
        before = self._value(trend.at(first).mean)
        return f"{text}; at the first value, {prose_date(first)}, {before}."

    @property
    def _digits(self) -> int:
        return decimals(self.trend.series.quantity, self.unit)

    def _value(self, value: float | np.ndarray) -> str:
        return number(float(value) / self.scale, self._digits)

    def _mixed(self) -> Iterator[str]:
        others = [value for value in self.known if value.unit != self.unit]
        count = sum(1 for value in others if value.modelled is not None)
        if count:
            units = dict.fromkeys(value.unit for value in others)
            yield (
                f"Of the values {count} in {' and '.join(units)} {'is' if count == 1 else 'are'} "
                f"drawn in {self.unit}, joined by the standard factor."
            )

    def _stages(self) -> Iterator[str]:
        bounds, diagnosis = self.bounds, self.kidney.diagnosis
        if bounds is None:
            return
        kind = analyte_of(bounds.analyte).staged_as
        why = "if kidney disease is diagnosed"
        if diagnosis is not None:
            why = (
                f"drawn as stages because kidney disease is recorded (“{diagnosis.text}”, "
                f"{prose_date(diagnosis.on)})"
            )
        yield (
            f"Dotted lines: bounds of the {kind}s of the {bounds.edition} ({bounds.species}), "
            f"{why}: {bounds.words()}. {NEWER} One value does not make a {kind}."
        )

    def _rate(self) -> Iterator[str]:
        """Say how fast it changes, and in which time it doubles where it rises."""
        rate = rate_of(self.trend, self.level)
        if rate is None:
            return
        apart = "Apart from the drugs it" if self.trend.series.courses else "It"
        yield (
            f"{apart} changes by {number(rate.percent, 1)} % a month ({100 * self.level:.0f} % "
            f"interval {number(rate.lower, 1)} to {number(rate.upper, 1)}; a rise is "
            f"{probability(rate.p_rising)} likely)."
        )
        middle, soonest, latest = rate.doubling
        if analyte_of(self.trend.series.quantity).worse == "fall" or soonest >= _NEVER:
            return
        slowest = "perhaps never" if latest >= _NEVER else f"{number(latest, 0)} at the slowest"
        ends = f"{number(soonest, 0)} months at the fastest, {slowest}"
        if rate.p_rising >= float(fact("project.verdict.sure").value or 1):
            yield f"At that rate it doubles in {number(middle, 0)} months ({ends})."
        else:
            yield f"Whether and when it doubles cannot be told yet: in {ends}."


@dataclass(frozen=True)
class RecordedWords:
    """The words of the picture of values that have no trend.

    Parameters
    ----------
    analyte : str
    panels : tuple of Panel
        One a unit.
    spans, signs : sequence of CourseSpan, of SignMark
        What stands beside them.
    as_of : datetime64[D]
    """

    analyte: str
    panels: tuple[Panel, ...]
    spans: Sequence[CourseSpan]
    signs: Sequence[SignMark]
    as_of: np.datetime64

    @property
    def caption(self) -> str:
        """The written caption."""
        return _joined([*self._parts(), licensed()])

    @property
    def alt_text(self) -> str:
        """The picture in words."""
        return _joined(["Chart over time.", *self._parts()])

    @property
    def newest(self) -> str:
        """The newest value, its date and age."""
        marks, unit = self.panels[-1].sessions, _unit(self.panels[-1].unit)
        value = f"{_SIGNS.get(str(marks.bound[-1]), '')}{marks.mean[-1]:g}{unit}"
        date = marks.date[-1]
        return f"Newest: {value} on {prose_date(date)} ({age_words(self.as_of, date)})."

    def _parts(self) -> Iterator[str]:
        yield from (_as_recorded(panel) for panel in self.panels)
        yield (
            f"As of {prose_date(self.as_of)}; every mark stands on its own date, and nothing was "
            "converted."
        )
        if self.analyte == "potassium":
            yield from _potassium_bounds()
        yield from treatments_words(self.spans)
        yield from signs_words(self.signs)


def recorded_title(animal: str, name: str, analyte: str) -> str:
    """Return whose values they are."""
    return f"{f'{name} ({animal})' if name else animal}: {DRAWN[analyte]}"


def _potassium_bounds() -> Iterator[str]:
    names = ("kidney.potassium.low", "kidney.potassium.repeat", "kidney.potassium.high")
    low, repeat, high = map(fact, names)
    yield (
        f"Bounds, dotted where they come into view: below {low.value:g} and above {high.value:g} "
        f"mmol/L a vet looks at once, from {repeat.value:g} on it is repeated ({credit(high)}). "
        "Haemolysis and some breeds raise it falsely."
    )


def _as_recorded(panel: Panel) -> str:
    values, unit = panel.sessions.mean, _unit(panel.unit)
    shown = [
        f"{_SIGNS.get(str(bound), '')}{value:g}{unit} on {prose_date(date)}"
        for value, bound, date in zip(
            values, panel.sessions.bound, panel.sessions.date, strict=True
        )
    ]
    if len(shown) == 1:
        return f"{panel.heading}, one value as recorded, not modelled: {shown[0]}."
    return (
        f"{panel.heading}, {len(shown)} values as recorded, not modelled, between "
        f"{float(np.min(values)):g} and {float(np.max(values)):g}{unit}: the first {shown[0]}, "
        f"the newest {shown[-1]}."
    )


def _hollow(others: Sequence[SessionMarks]) -> Iterator[str]:
    names = "; ".join(marks.name for marks in others)
    if names:
        yield f"Hollow marks with arrows, not part of the trend: {names}."


def _count(count: int) -> str:
    return "one value" if count == 1 else f"{count} values"


def _unit(unit: str) -> str:
    return "" if unit in ("", "ratio") else f" {unit}"


def _in(unit: str) -> str:
    return "" if unit == "ratio" else f", in {unit}"


def _joined(parts: Sequence[str]) -> str:
    return " ".join(filter(None, parts))
