"""Headings that stand on the pages of several kinds."""

from __future__ import annotations

from bpvet.facts.words import QUANTITY_WORDS
from bpvet.wording.en.pages.outlines import ANIMAL_WORDS

KNOW_NOW = "What to know now"
URGENT = "Urgent"
UNCOUNTED = "Not counted in these answers"
COMPUTED = "How it was computed"
SOURCES = "Sources"
NOTEBOOK_CODE = "The notebook's code"
SKIP = "Skip to the report"
FIGURE_SHOWS = "What the figure shows"
#: Under an animal's figure; its written caption stands further down.
FIGURE_SHORT = (
    "Every mark stands on its own date; a pointer on it shows what it is. What marks, lines and "
    f"bands are stands under “{ANIMAL_WORDS.heads['computed']}”."
)
#: At the head of every notebook, and above what a researcher may call next.
FOREWORD = """# {title}

The parameters are in the JSON file named below. Change them, or the records, and run all cells
again. To keep changes of your own, save this notebook under another name."""
GO_ON = "Go on from here"


def animal_title(who: str, quantity: str) -> str:
    """Return what an animal's report is called."""
    return f"{who}: {QUANTITY_WORDS[quantity]} over months"


#: How many cautions are folded.
MORE_CAUTIONS = "{count} more"
