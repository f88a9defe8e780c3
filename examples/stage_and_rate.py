"""How fast does creatinine rise, and in which stage does it lie?

An invented cat with chronic kidney disease: her stages are named as stages because the disease is
among her observations. Creatinine rose after one drug was begun, and was lower once it was stopped.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    return answered_picture(bpvet.fit_trend(records(), "N14", quantity="creatinine"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
