"""Is she still at her target?

An invented cat, stable on one drug: the band lies below the target for months. One low or high
session moves it little.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "J40"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
