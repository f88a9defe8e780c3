"""Do today's readings lie where they were expected?

The readings of Pilchard's newest session in the order of taking, beside what the earlier sessions
let one expect. In the room this is told when the readings are down, and not before.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.clinic.cohort_picture import IntervalsPicture
from bpvet.figures.save import save
from bpvet.pictures.session import session_picture


def picture() -> IntervalsPicture:
    """Return the figure as frozen numbers and words."""
    trend = bpvet.fit_trend(records(), "A17")
    return session_picture(trend, trend.answer())


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
