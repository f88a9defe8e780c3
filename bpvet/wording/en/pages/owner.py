"""The headings of the owner's page and diary; the rest is in `bpvet.wording.en.owner`."""

from __future__ import annotations

import numpy as np

from bpvet.wording.en.phrases import capital, day

DIARY_HEADS = ("Date", "Time", "Before or after the tablet", "Given or missed", "Method, cuff")
MOOD = "Mood"
TARGET_HEAD = "Where your vet wants it"
OTHER_SIDE = "See the other side: when to phone now."


def page_title(called: str) -> str:
    """Return what the page is called."""
    return f"Blood pressure: {called}"


def diary_title(called: str) -> str:
    """Return what the diary on its back is called."""
    return f"Home diary: {capital(called)}"


def written_on(as_of: np.datetime64) -> str:
    """Return when the page was written."""
    return f"Written {day(as_of)}."


def target_line(line: str) -> str:
    """Return where the target is filled in; `line` stands for what is to be written."""
    return f"Your vet fills in: between {line} and {line}"


def next_line(line: str) -> str:
    """Return where the next visit is filled in."""
    return f"Day and time: {line}"


def phone_line(line: str) -> str:
    """Return where the numbers to ring are filled in."""
    return f"Practice: {line} At night: {line}"
