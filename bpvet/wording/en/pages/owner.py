"""The headings of the owner's page and diary; the rest is in `bpvet.wording.en.owner`."""

from __future__ import annotations

import numpy as np

from bpvet.wording.en.phrases import capital, day

DIARY_HEADS = ("Date", "Time", "Before or after the tablet", "Given or missed", "Method, cuff")
MOOD = "Mood"
TARGET_HEAD = "Where your vet wants it"
OTHER_SIDE = "See the other side: when to phone now."
#: What the page is called.
PAGE_TITLE = "Blood pressure: {called}"


def diary_title(called: str) -> str:
    """Return what the diary on its back is called."""
    return f"Home diary: {capital(called)}"


def written_on(as_of: np.datetime64) -> str:
    """Return when the page was written."""
    return f"Written {day(as_of)}."


#: Where the target is filled in; `line` stands for what is to be written.
TARGET_LINE = "Your vet fills in: between {line} and {line}"
#: Where the next visit is filled in.
NEXT_LINE = "Day and time: {line}"
#: Where the numbers to ring are filled in.
PHONE_LINE = "Practice: {line} At night: {line}"
