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
        Statement(f"joint.{joint.marker.series.quantity}", " ".join(_parts(joint)))
        for joint in found
    )


def _parts(joint: Joint) -> Iterator[str]:
    name = short_name(joint.marker.series.quantity)
    change = Estimate.of(joint.slope_marker, joint.level, "%")
    of_pressure = Estimate.of(joint.slope_pressure, joint.level, "mmHg")
    (middle, low, high), (centre, bottom, top) = change.known, of_pressure.known
    yield (
        f"{capital(name)} and pressure together: {name} changes by {number(middle, 1)} % a month "
        f"({interval(joint.level, low, high, 1)}), pressure by {number(centre, 1)} mmHg a month "
        f"({interval(joint.level, bottom, top, 1)})."
    )
    rate = Rate(change, float(joint.slope_marker.above(0.0)))
    if analyte(joint.marker.series.quantity).worse == "rise" and rate.p_rising >= _sure():
        yield doubling_words(rate)
    yield _together(joint)


def _together(joint: Joint) -> str:
    mean, low, high = joint.correlation
    numbers = (
        f"{probability(joint.p_together)} likely; correlation {number(mean, 1)}, "
        f"{number(low, 1)} to {number(high, 1)}"
    )
    if joint.p_together >= _sure():
        return f"They rise and fall together ({numbers})."
    if joint.p_together <= 1 - _sure():
        opposite = probability(1 - joint.p_together)
        return (
            f"One rises as the other falls ({opposite} likely; correlation {number(mean, 1)}, "
            f"{number(low, 1)} to {number(high, 1)})."
        )
    return f"Whether they rise and fall together: cannot tell yet ({numbers})."


def _sure() -> float:
    return float(fact("project.verdict.sure").value or 1)
