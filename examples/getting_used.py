"""Is it falling because he is getting used to us?

An invented dog on no drug, new to being measured: the first session is named, and the line lies
below it, because a first visit reads high.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "D08"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
