"""How does pressure go in the whole clinic?

Every invented cat and dog with enough sessions, a thin line each, and the clinic's own lines with
their intervals. The gap between treated and untreated is no drug's effect.
"""

from pathlib import Path

from invented import records

from bpvet.figures.cohort_picture import TrajectoriesPicture
from bpvet.figures.save import save
from bpvet.models.clinic_cohort import clinic_cohort
from bpvet.models.cohort_pictures import trajectories


def picture() -> TrajectoriesPicture:
    """Return the figure as frozen numbers and words."""
    return trajectories(clinic_cohort(records()))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
