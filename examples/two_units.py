"""What if two laboratories gave creatinine in two units?

Invented values of one cat: each unit has its own panel with the bounds printed for it, and no value
is converted.
"""

from pathlib import Path

import pandas as pd

import bpvet
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import save
from bpvet.pictures.answered import answered_picture

READINGS = [
    *(("Z01", f"2026-01-12T10:0{minute}", value) for minute, value in enumerate((172, 166, 164))),
    *(("Z01", f"2026-04-20T09:3{minute}", value) for minute, value in enumerate((158, 160, 155))),
    *(("Z01", f"2026-08-03T11:1{minute}", value) for minute, value in enumerate((151, 149, 154))),
]
LABS = [
    ("Z01", "2026-01-12", 168, "umol/L"),
    ("Z01", "2026-04-20", 181, "umol/L"),
    ("Z01", "2026-06-15", 2.2, "mg/dL"),
    ("Z01", "2026-08-03", 2.4, "mg/dL"),
]


def picture() -> TrendPicture:
    """Return the figure as frozen numbers and words."""
    records = bpvet.Records.from_frames(
        pd.DataFrame(READINGS, columns=["animal", "taken_at", "systolic"]).assign(method="doppler"),
        animals=pd.DataFrame({"animal": ["Z01"], "species": ["cat"], "name": ["Inkling"]}),
        labs=pd.DataFrame(LABS, columns=["animal", "sampled_on", "value", "unit"]).assign(
            analyte="creatinine"
        ),
        as_of="2026-09-01",
    )
    return answered_picture(bpvet.fit_trend(records, "Z01"), labs=True)


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
