"""What does a reading beyond the gauge look like?

An invented cat, blind, whose readings ran past 300: an arrow says that the session's mean is at
least so high, and the sign stands where it was seen.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "B04"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
