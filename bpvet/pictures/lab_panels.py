"""Laboratory values and weights as further panels of a picture, in the units given.

The bounds of a kidney guideline's stages are drawn only where they are sourced for the analyte, the
species and the very unit.
"""

from __future__ import annotations

from bpvet.facts.labs import DRAWN
from bpvet.facts.stages import Staging
from bpvet.figures.pictures import Level, Panel
from bpvet.frozen import dataclass
from bpvet.pictures.lab_values import LabValues, lab_values, usable_labs
from bpvet.records.records import Records
from bpvet.wording.en.pictures.drawn import TREND
from bpvet.wording.en.pictures.lab_values import charts_alt_text, heading, panels_caption


@dataclass(frozen=True)
class LabPanels:
    """Panels for a picture, and what its caption and alternative text say of them.

    Parameters
    ----------
    panels : tuple of Panel
        By analyte in the order of `facts.labs.DRAWN`, then by unit as first recorded.
    caption, alt_text : str
        Sentences; blank without a panel.
    """

    panels: tuple[Panel, ...] = ()
    caption: str = ""
    alt_text: str = ""


def lab_panels(records: Records, animal: str, without: str = "") -> LabPanels:
    """Return panels of one animal's laboratory values and weights.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id.
    without : str
        An analyte that the picture shows already; blank if none.
    """
    values = [lab for lab in lab_values(records, animal) if lab.analyte != without]
    seen = dict.fromkeys(usable_labs(records, animal)["analyte"])
    unseen = [analyte for analyte in seen if analyte not in DRAWN]
    if not values:
        return LabPanels()
    return LabPanels(
        tuple(_panel(lab) for lab in values),
        " ".join(panels_caption(values, unseen)),
        " ".join(charts_alt_text(values)),
    )


def _panel(values: LabValues) -> Panel:
    return Panel(
        heading=heading(values.analyte),
        quantity=values.analyte,
        unit=values.shown_unit,
        sessions=values.marks(),
        levels=stage_levels(values.staging),
        guideline="" if values.staging is None else values.staging.edition,
        words=TREND,
    )


def stage_levels(found: Staging | None) -> tuple[Level, ...]:
    """Return stages as the levels of a panel; none without a staging."""
    stages = () if found is None else found.stages
    return tuple(Level(stage.name, stage.low, stage.high) for stage in stages)
