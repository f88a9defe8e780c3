"""From an agreement to its picture: frozen numbers, for `bpvet.figures.clinic.agreement`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bpvet.facts.measuring import judged
from bpvet.figures.clinic.agreement import MARKERS
from bpvet.figures.clinic.agreement_picture import (
    AgreementPicture,
    FittedLine,
    LevelLine,
    PairMarks,
)
from bpvet.maths.agreement.comparison import Line
from bpvet.maths.estimate import Estimate
from bpvet.wording.en.pictures import agreement as words
from bpvet.wording.en.pictures.drawn import AGREEMENT

if TYPE_CHECKING:
    from bpvet.models.agreement.result import Agreement

#: The line of difference on mean is drawn when its slope is as clear as this.
_TOLD = judged("agreement.told")


def agreement_picture(agree: Agreement) -> AgreementPicture:
    """Return the picture of an agreement; animals have marks of their own where they are few."""
    data = agree.data
    few = len(data.animals) <= len(MARKERS) and data.first.size > len(data.animals)
    bias = _level(words.BIAS, agree.bias, agree)
    # The same intervals as the sentences': one page says one thing.
    low, high = agree.limits(intervals="better")
    lower = _level(words.LOWER, low, agree)
    upper = _level(words.UPPER, high, agree)
    levels = (bias.words, lower.words, upper.words)
    readings = _readings(agree)
    return AgreementPicture(
        title=words.title(agree),
        labels=data.labels,
        unit=data.unit,
        animals=data.animals if few else (),
        points=PairMarks(data.first, data.second, data.point_animal),
        readings=readings,
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
        caption=words.caption(agree, levels, bool(readings.first.size)),
        alt_text=words.alt_text(agree, bias.value, lower.value, upper.value),
        words=AGREEMENT,
    )


def _readings(agree: Agreement) -> PairMarks:
    """Return the readings behind the points; none where a point is one reading by each."""
    data = agree.data
    if data.readings.shape[0] <= data.first.size:
        return PairMarks(data.first[:0], data.second[:0], data.point_animal[:0])
    animal = data.point_animal[data.reading_point]
    return PairMarks(data.readings[:, 0], data.readings[:, 1], animal)


def _level(name: str, level: Estimate, agree: Agreement) -> LevelLine:
    description = words.level_words(name, level, agree.level)
    return LevelLine(float(level.estimate or 0.0), level.lower, level.upper, description)


def _trend(agree: Agreement) -> FittedLine | None:
    found = agree.proportional
    slope, intercept = found.slope.estimate, found.intercept.estimate
    if slope is None or intercept is None or found.p is None or found.p >= _TOLD:
        return None
    return FittedLine(slope, intercept, words.difference_words(slope, agree.data.unit))


def _fitted(line: Line) -> FittedLine | None:
    if line.slope.estimate is None or line.intercept.estimate is None:
        return None
    return FittedLine(line.slope.estimate, line.intercept.estimate, words.line_words(line))
