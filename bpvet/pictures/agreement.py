"""From an agreement to its picture: frozen numbers, for `bpvet.figures.clinic.agreement`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bpvet.facts.measuring import judged
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.figures.clinic.agreement import MARKERS
from bpvet.figures.clinic.agreement_picture import (
    AgreementPicture,
    FittedLine,
    LevelLine,
    PairMarks,
)
from bpvet.maths.agreement.comparison import Estimated, Line
from bpvet.models.agreement.device import NO_REFERENCE
from bpvet.printing import number

if TYPE_CHECKING:
    from bpvet.models.agreement.result import Agreement

#: The line of difference on mean is drawn when its slope is as clear as this.
_TOLD = judged("agreement.told")


def agreement_picture(agree: Agreement) -> AgreementPicture:
    """Return the picture of an agreement; animals have marks of their own where they are few."""
    data = agree.data
    few = len(data.animals) <= len(MARKERS) and data.first.size > len(data.animals)
    bias = _level("Bias", agree.bias, agree)
    # The same intervals as the sentences': one page says one thing.
    low, high = agree.limits(intervals="better")
    lower = _level("Lower limit of agreement", low, agree)
    upper = _level("upper limit of agreement", high, agree)
    what = QUANTITY_WORDS.get(data.quantity, data.quantity)
    return AgreementPicture(
        title=_capital(f"{data.labels[1]} against {data.labels[0]}: {what}"),
        labels=data.labels,
        unit=data.unit,
        animals=data.animals if few else (),
        points=PairMarks(data.first, data.second, data.point_animal),
        readings=_readings(agree),
        points_are=data.points_are,
        bias=bias,
        lower=lower,
        upper=upper,
        trend=_trend(agree),
        lines=tuple(
            drawn
            for drawn in (_fitted(line) for line in (agree.deming(), agree.passing_bablok()))
            if drawn is not None
        ),
        caption=_caption(agree, bias, lower, upper),
        alt_text=_alt_text(agree, bias, lower, upper),
    )


def _readings(agree: Agreement) -> PairMarks:
    """Return the readings behind the points; none where a point is one reading by each."""
    data = agree.data
    if data.readings.shape[0] <= data.first.size:
        return PairMarks(data.first[:0], data.second[:0], data.point_animal[:0])
    animal = data.point_animal[data.reading_point]
    return PairMarks(data.readings[:, 0], data.readings[:, 1], animal)


def _level(name: str, e: Estimated, agree: Agreement) -> LevelLine:
    value = float(e.estimate or 0.0)
    words = f"{name} {number(value)}"
    if e.lower is not None and e.upper is not None:
        held = f"{100 * agree.level:g} % interval {number(e.lower)} to {number(e.upper)}"
        words = f"{words} ({held})"
    return LevelLine(value, e.lower, e.upper, words)


def _trend(agree: Agreement) -> FittedLine | None:
    found = agree.proportional
    slope, intercept = found.slope.estimate, found.intercept.estimate
    if slope is None or intercept is None or found.p is None or found.p >= _TOLD:
        return None
    per = number(10 * slope)
    words = f"Difference on mean: {per} {agree.data.unit} for each 10 {agree.data.unit}"
    return FittedLine(slope, intercept, words)


def _fitted(line: Line) -> FittedLine | None:
    if line.slope.estimate is None or line.intercept.estimate is None:
        return None
    held = ""
    if line.slope.lower is not None and line.slope.upper is not None:
        held = f" ({number(line.slope.lower, 2)} to {number(line.slope.upper, 2)})"
    words = f"{line.words}: slope {number(line.slope.estimate, 2)}{held}"
    return FittedLine(line.slope.estimate, line.intercept.estimate, words)


def _caption(agree: Agreement, bias: LevelLine, lower: LevelLine, upper: LevelLine) -> str:
    data = agree.data
    unlinked = (
        "" if agree.linked else " (for orientation only: unlinked readings have no true partner)"
    )
    parts = [
        _capital(
            f"{data.labels[1]} minus {data.labels[0]} against the mean of both, and one against "
            f"the other: {data.first.size} {data.points_are} of {len(data.animals)} animals."
        ),
        f"{bias.words}; {_small(lower.words)}; {upper.words}"
        + (f", in {data.unit}." if data.unit else "."),
        "Limits are for single readings.",
    ]
    if _readings(agree).first.size:
        parts.append(f"Small marks are readings paired in order of taking{unlinked}.")
    if agree.reference is None:
        parts.append(f"{_capital(NO_REFERENCE)}.")
    return " ".join(part for part in parts if part)


def _alt_text(agree: Agreement, bias: LevelLine, lower: LevelLine, upper: LevelLine) -> str:
    data = agree.data
    return (
        f"Two panels. Left: differences ({data.labels[1]} minus {data.labels[0]}) against means, "
        f"{data.first.size} points scattered about the bias of {number(bias.value)} {data.unit}, "
        f"between limits of agreement at {number(lower.value)} and {number(upper.value)}. Right: "
        f"{data.labels[1]} against {data.labels[0]} with the line of equality and fitted lines."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
