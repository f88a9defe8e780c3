"""What the pictures of kidney values and of joint trends say: panels on one axis of dates."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.facts.cautions import licensed
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.figures.pictures import Panel, TrendPicture
from bpvet.models.kidney.joint import Joint
from bpvet.models.kidney.result import Kidney
from bpvet.printing import prose_date
from bpvet.wording.en.kidney.joint import ABOUT, joint_statements
from bpvet.wording.en.kidney.stage import kidney_stage_statements
from bpvet.wording.en.phrases import counted, listed
from bpvet.wording.en.pictures.trend import signs_words, treatments_words


def who_words(animal: str, name: str) -> str:
    """Return whose values are drawn."""
    return f"{name} ({animal})" if name else animal


def kidney_title(who: str) -> str:
    """Return the title of an animal's kidney values."""
    return f"{who}: kidney values"


def kidney_newest(kidney: Kidney) -> str:
    """Return in which stage the values lie, or why none is given."""
    if kidney.withheld is not None:
        return f"No stage is given: {kidney.withheld}."
    return kidney_stage_statements(kidney)[0].text


def joint_title(who: str, joint: Joint) -> str:
    """Return the title of pressure and one laboratory value."""
    return f"{who}: pressure and {QUANTITY_WORDS[joint.marker.series.quantity]}"


def joint_newest(joint: Joint) -> str:
    """Return how fast each moves, and whether they move together."""
    (statement,) = joint_statements((joint,))
    return statement.text


#: What the bands of joint trends are.
JOINT_NOTE = f"Each band is that of its series by itself. {ABOUT}"


def stacked_caption(picture: TrendPicture, note: str = "") -> str:
    """Return the written caption of panels on one axis of dates; `note` is what it adds."""
    parts = [f"As of {prose_date(picture.as_of)}.", *map(_values, picture.panels)]
    for panel in picture.panels:
        parts += _lines(panel)
    parts += [*treatments_words(picture.courses), *signs_words(picture.signs), note, licensed()]
    return _joined(parts)


def stacked_alt_text(picture: TrendPicture) -> str:
    """Return the panels in words."""
    count = counted(len(picture.panels), "panel")
    parts = [f"Charts over time, {count} on one axis of dates."]
    parts += [*map(_values, picture.panels), picture.newest]
    parts += [*treatments_words(picture.courses), *signs_words(picture.signs)]
    return _joined(parts)


def _values(panel: Panel) -> str:
    marks = panel.sessions
    unit = f" {panel.unit}" if panel.unit else ""
    low, high = float(np.min(marks.mean)), float(np.max(marks.mean))
    ends = f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"
    dates = list(dict.fromkeys(map(prose_date, (marks.date[0], marks.date[-1]))))
    return (
        f"{panel.heading}: {counted(marks.date.size, 'value')}, {ends}{unit}, {' to '.join(dates)}."
    )


def _lines(panel: Panel) -> Iterator[str]:
    """Yield what the band and the dotted lines of a panel are, and what its note says."""
    about = []
    if panel.band is not None:
        about.append(panel.band.words)
    if panel.guideline:
        about.append(f"dotted lines: {panel.guideline}")
    if about:
        yield f"{panel.heading}: {listed(about)}."
    if panel.note:
        yield panel.note


def _joined(parts: list[str]) -> str:
    return " ".join(text for text in dict.fromkeys(parts) if text)
