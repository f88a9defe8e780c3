"""Can the two methods be read as one?

Invented cats of one clinic, both methods at several of their visits: differences against means with
the limits of agreement, and one method against the other.
"""

from pathlib import Path

from invented import records

import bpvet
from bpvet.figures.clinic.agreement_picture import AgreementPicture
from bpvet.figures.save import save
from bpvet.pictures.agreement import agreement_picture


def picture() -> AgreementPicture:
    """Return the figure as frozen numbers and words."""
    return agreement_picture(bpvet.agreement(records(), "systolic"))


if __name__ == "__main__":
    save(picture(), Path(__file__).with_suffix(".svg"))
