"""Is it creeping up, and do the kidneys follow?

An invented cat on no drug: pressure above, kidney values and weight below on the same dates, as
recorded. The figure says that they move together, not which moves which.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "K12"), labs=True)


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
