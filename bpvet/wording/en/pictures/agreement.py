"""What the picture of two methods says: its lines, its caption and its alternative text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bpvet.facts.words import QUANTITY_WORDS
from bpvet.maths.agreement.comparison import Line
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import NO_REFERENCE
from bpvet.printing import number
from bpvet.wording.en.phrases import capital

if TYPE_CHECKING:
    from bpvet.models.agreement.result import Agreement

#: How a level is called, at the head of a sentence or inside one.
BIAS, LOWER, UPPER = "Bias", "Lower limit of agreement", "upper limit of agreement"


def title(agree: Agreement) -> str:
    """Return which methods are compared, and in what."""
    data = agree.data
    what = QUANTITY_WORDS.get(data.quantity, data.quantity)
    return capital(f"{data.labels[1]} against {data.labels[0]}: {what}")


def level_words(name: str, level: Estimate, probability: float) -> str:
    """Return a level of the differences with its interval.

    Parameters
    ----------
    name : str
        `BIAS`, `LOWER` or `UPPER`.
    level : Estimate
    probability : float
        Of its interval.
    """
    words = f"{name} {number(float(level.estimate or 0.0))}"
    if level.lower is None or level.upper is None:
        return words
    ends = f"{number(level.lower)} to {number(level.upper)}"
    return f"{words} ({100 * probability:g} % interval {ends})"


def difference_words(slope: float, unit: str) -> str:
    """Return how the difference goes with the mean."""
    return f"Difference on mean: {number(10 * slope)} {unit} for each 10 {unit}"


def line_words(line: Line) -> str:
    """Return which line is fitted to the pairs, and its slope."""
    ends = ""
    if line.slope.lower is not None and line.slope.upper is not None:
        ends = f" ({number(line.slope.lower, 2)} to {number(line.slope.upper, 2)})"
    return f"{line.words}: slope {number(line.slope.estimate, 2)}{ends}"


def caption(agree: Agreement, levels: tuple[str, str, str], readings: bool) -> str:
    """Return the written caption.

    Parameters
    ----------
    agree : Agreement
    levels : tuple of str
        Bias, lower and upper limit, as `level_words` gives them.
    readings : bool
        Whether single readings are drawn behind the points.
    """
    data = agree.data
    bias, lower, upper = levels
    unlinked = (
        "" if agree.linked else " (for orientation only: unlinked readings have no true partner)"
    )
    parts = [
        capital(
            f"{data.labels[1]} minus {data.labels[0]} against the mean of both, and one against "
            f"the other: {data.first.size} {data.points_are} of {len(data.animals)} animals."
        ),
        f"{bias}; {lower[:1].lower()}{lower[1:]}; {upper}"
        + (f", in {data.unit}." if data.unit else "."),
        "Limits are for single readings.",
    ]
    if readings:
        parts.append(f"Small marks are readings paired in order of taking{unlinked}.")
    if agree.reference is None:
        parts.append(f"{capital(NO_REFERENCE)}.")
    return " ".join(parts)


def alt_text(agree: Agreement, bias: float, lower: float, upper: float) -> str:
    """Return both panels in words; the levels are those that are drawn."""
    data = agree.data
    return (
        f"Two panels. Left: differences ({data.labels[1]} minus {data.labels[0]}) against means, "
        f"{data.first.size} points scattered about the bias of {number(bias)} {data.unit}, "
        f"between limits of agreement at {number(lower)} and {number(upper)}. Right: "
        f"{data.labels[1]} against {data.labels[0]} with the line of equality and fitted lines."
    )
