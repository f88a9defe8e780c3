"""Pressure and laboratory values together, in sentences: how fast each moves, and whether as one.

Nothing is said of what causes what, and of a kidney value only a rise is told as one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.answers.statement import Statement
from bpvet.facts.analytes import analyte, short_name
from bpvet.facts.sources import fact
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.joint import Joint
from bpvet.models.kidney.rate import Rate
from bpvet.printing import number, probability
from bpvet.wording.en.kidney.stage import doubling_words
from bpvet.wording.en.phrases import capital, interval

#: What every reader of these sentences is told once.
ABOUT = (
    "Each laboratory value is fitted together with the pressure, on the same courses of drugs; "
    "changes are apart from the drugs. That two move together does not say which moves which."
)


def joint_statements(found: Sequence[Joint]) -> tuple[Statement, ...]:
    """Return what the joint trends say, one statement each.

    Parameters
    ----------
    found : sequence of Joint
        As `bpvet.models.kidney.joint_trends.joint_trends` gives them.
    """
    return tuple(
        Statement(f"joint.{one.marker.series.quantity}", " ".join(_parts(one))) for one in found
    )


def _parts(one: Joint) -> Iterator[str]:
    name = short_name(one.marker.series.quantity)
    change = Estimate.of(one.slope_marker, one.level, "%")
    of_pressure = Estimate.of(one.slope_pressure, one.level, "mmHg")
    (middle, low, high), (centre, bottom, top) = change.known, of_pressure.known
    yield (
        f"{capital(name)} and pressure together: {name} changes by {number(middle, 1)} % a month "
        f"({interval(one.level, low, high, 1)}), pressure by {number(centre, 1)} mmHg a month "
        f"({interval(one.level, bottom, top, 1)})."
    )
    rate = Rate(change, float(one.slope_marker.above(0.0)))
    if analyte(one.marker.series.quantity).worse == "rise" and rate.p_rising >= _sure():
        yield doubling_words(rate)
    yield _together(one)


def _together(one: Joint) -> str:
    mean, low, high = one.correlation
    told = (
        f"{probability(one.p_together)} likely; correlation {number(mean, 1)}, "
        f"{number(low, 1)} to {number(high, 1)}"
    )
    if one.p_together >= _sure():
        return f"They rise and fall together ({told})."
    if one.p_together <= 1 - _sure():
        opposite = probability(1 - one.p_together)
        return (
            f"One rises as the other falls ({opposite} likely; correlation {number(mean, 1)}, "
            f"{number(low, 1)} to {number(high, 1)})."
        )
    return f"Whether they rise and fall together: cannot tell yet ({told})."


def _sure() -> float:
    return float(fact("project.verdict.sure").value or 1)
