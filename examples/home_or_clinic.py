"""Is it lower at home?

An invented cat measured in the clinic and at home. The two are never pooled: one has the band, the
other stands beside it with marks of its own.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "007", method="doppler", condition="clinic"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
