"""Did the drug work?

An invented dog with three courses, one of them stopped. The band steps where a course begins, and
is wide where nothing was measured; Doppler sessions stand beside it, hollow, and do not enter it.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "E31"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
