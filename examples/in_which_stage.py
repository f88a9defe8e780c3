"""In which stage do the kidney values lie?

The usual creatinine of an invented cat, between the bounds printed for the laboratory's own unit.
`bpvet.kidney(records, "K12")` gives each stage its probability; it is a stage only once kidney
disease is diagnosed.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "K12", quantity="creatinine"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
