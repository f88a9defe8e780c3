"""The one footnote of figures from memory, in the key of a figure that names such a source."""

from __future__ import annotations

from dataclasses import replace

from bpvet.facts.sources import marked
from bpvet.figures.key import plan_key
from bpvet.figures.pictures import TrendPicture
from bpvet.wording.en.facts import AS_REMEMBERED
from tests.figures.example_pictures import EXAMPLES


def said(picture: TrendPicture) -> str:
    """Return the words of a picture's key, in their order."""
    return " ".join(entry.words for entry, *_ in plan_key(picture, 0.0, 180.0).placed)


def test_a_marked_source_is_explained_once_below() -> None:
    plain = EXAMPLES["three_courses"]()
    name = plain.panels[0].guideline
    panel = replace(plain.panels[0], guideline=marked(name, True))
    shown = said(replace(plain, panels=(panel, *plain.panels[1:])))
    assert f"{name}†" in shown
    assert shown.count(AS_REMEMBERED) == 1
    assert shown.endswith(AS_REMEMBERED)
    assert AS_REMEMBERED not in said(plain)
