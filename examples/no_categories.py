"""Is a greyhound hypertensive at 150?

An invented sighthound: no category is named or shaded, and the figure says why.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "D15"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
