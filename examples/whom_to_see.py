"""Whom to see next, and by when?

The clinic's list as windows: the most pressing first, with what is asked of each animal. What ends
left of today is overdue; what is urgent does not wait for its window.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.clinic.cohort_picture import IntervalsPicture
from bpvet.figures.save import save
from bpvet.pictures.due import due_picture


def picture() -> IntervalsPicture:
    """Return the figure as frozen numbers and words."""
    return due_picture(bpvet.due(records()))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
