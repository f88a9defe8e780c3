"""How does pressure change in the whole clinic?

Every invented cat and dog, a small panel each, those that need a look first, and the clinic's own
lines with their intervals. The gap between treated and untreated is no drug's effect.
"""

from pathlib import Path

from invented import records

from bpvet.figures.clinic.panels_picture import PanelsPicture
from bpvet.figures.save import save
from bpvet.models.clinic.cohort import clinic_cohort
from bpvet.pictures.clinic_panels import panels


def picture() -> PanelsPicture:
    """Return the figure as frozen numbers and words."""
    return panels(clinic_cohort(records()))[0]


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
