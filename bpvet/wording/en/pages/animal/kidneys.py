"""The kidneys on an animal's page: pressure and laboratory values together, as a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.facts.analytes import short_name
from bpvet.models.kidney.joint import Joint
from bpvet.printing import number
from bpvet.wording.en.pages.animal.numbers import ESTIMATE_COLUMNS
from bpvet.wording.en.pages.shapes import Table
from bpvet.wording.en.phrases import capital, percent

#: Above sentences and table.
TOGETHER = "Pressure and laboratory values together"


def joint_table(found: Sequence[Joint], level: float) -> Table:
    """Return changes and correlations of pressure fitted together with each laboratory value."""
    caption = f"Changes and correlations, with {percent(level)} intervals"
    return Table(caption, ESTIMATE_COLUMNS, [row for joint in found for row in _rows(joint)])


def _rows(joint: Joint) -> Iterator[tuple[str, str, str, str, str]]:
    name = short_name(joint.marker.series.quantity)
    for what, mixture, unit in (
        (f"{capital(name)}, change apart from drugs", joint.slope_marker, "% in 30 days"),
        (f"Pressure beside {name}, the same", joint.slope_pressure, "mmHg in 30 days"),
    ):
        low, high = mixture.interval(joint.level)
        numbers = (number(float(figure), 1) for figure in (mixture.mean, low, high))
        # Three numbers, which the types of a generator do not count.
        yield (what, *numbers, unit)  # type: ignore[misc]
    mean, low, high = joint.correlation
    yield (
        f"Correlation of {name} and pressure",
        number(mean, 2),
        number(low, 2),
        number(high, 2),
        "",
    )
