"""What the pictures of a cohort say: residuals, a caterpillar, components of scatter."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS
from bpvet.models.clinic.components import Component
from bpvet.printing import number

RESIDUALS_TITLE = "Do the assumptions hold? Residuals of sessions"
RESIDUALS_CAPTION = (
    "A residual is a session's mean minus its animal's fitted value, divided by the SD of "
    "visit and readings. Against fitted values, a funnel or a bend would speak against "
    "the model. Against normal residuals, they lie along the line if they are normal; "
    "ends that leave it are sessions far from what was predicted for their animal. "
    "Animals with few sessions pull their own fitted value along, so that residuals "
    "scatter by a little less than 1."
)
CATERPILLAR_CAPTION = (
    "How far each animal's level lies from the population's, lowest first, and how its "
    "change a month differs. Estimates are shrunken towards 0, the more so the less is "
    "known of an animal, so that chance alone does not rank animals. The intervals take "
    "the fit's SDs as known."
)
SCATTER_CAPTION = (
    "The SD between animals at their first session, between visits of one animal, and "
    "between readings of one visit. More readings at a visit lessen only the last."
)
#: Headings of the caterpillar's panels, and what its line at 0 is.
LEVEL, CHANGE, ZERO_IS = "Level at the first session", "Change a month", "the population"
#: What a mark is.
ESTIMATE = "Estimate"


def population_words(treated: bool, method: str, several: bool) -> str:
    """Return what a line of the population is.

    Parameters
    ----------
    treated : bool
        Whether a pressure-acting drug was on.
    method : str
    several : bool
        Whether there is a line of the other state too.
    """
    state = " on a pressure-acting drug" if treated else " without a pressure-acting drug"
    return f"Population{state if several else ''}, by {METHOD_WORDS[method]}"


def line_ends(words: str, ends: Sequence[float], months: Sequence[float], unit: str) -> str:
    """Return where a population's line begins and where it ends.

    Parameters
    ----------
    words : str
        What it is, as `population_words` gives it.
    ends, months : sequence of float
        Its first and last value, and their months.
    unit : str
    """
    first, last = (number(end, 0) for end in ends)
    at = [number(month, 0) for month in months]
    return f"{words}: {first} {unit} at month {at[0]}, {last} {unit} at month {at[1]}."


def residuals_alt_text(count: int, beyond: int, farthest: float) -> str:
    """Return how many residuals there are, how many lie beyond 2 SDs, and the farthest."""
    share, far = number(100 * beyond / count, 1), number(farthest, 1)
    return (
        f"Two scatter charts of {count} standardised residuals. {beyond} ({share} %) lie "
        f"beyond 2 SDs, where about 5 % of a normal would; the farthest is at {far} SDs."
    )


def caterpillar_title(animals: int) -> str:
    """Return the title of the caterpillar."""
    return f"{animals} animals against the population"


def against_all(unit: str, monthly: bool) -> str:
    """Return the axis of levels, or of changes a month."""
    return f"Against all, {unit} a month" if monthly else f"Against all, {unit}"


def caterpillar_alt_text(animals: int, low: float, high: float, unit: str) -> str:
    """Return the caterpillar in words, with its lowest and highest level."""
    return (
        f"Estimates with intervals for {animals} animals, from the lowest level, {number(low, 0)} "
        f"{unit} against all, to the highest, {number(high, 0)}. The table below gives every "
        "number."
    )


def interval_name(level: float) -> str:
    """Return what intervals of a probability are called."""
    return f"{100 * level:g} % interval"


def scatter_title(quantity: str) -> str:
    """Return the title of the components of scatter."""
    return f"What readings scatter by: SDs of {QUANTITY_WORDS[quantity]}"


def scatter_axis(unit: str) -> str:
    """Return the axis of the components of scatter."""
    return f"SD, {unit}"


def scatter_alt_text(shown: Sequence[Component], unit: str) -> str:
    """Return the components of scatter in words."""
    named = [
        f"{sd.words[0].lower()}{sd.words[1:]} {number(float(sd.estimate or 0.0), 1)}"
        for sd in shown
    ]
    return f"Standard deviations in {unit} with intervals: {'; '.join(named)}."
