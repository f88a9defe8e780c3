"""What a drawing must hold to be honest: read from the SVG, and from where its words stand."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.path import Path
from matplotlib.transforms import Bbox

from bpvet.figures.axes import days
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.style import FAINT_GREY, GUIDE_GREY, INK, METHOD_STYLES, PAPER, WORDS_GREY
from tests.figures.text_boxes import text_boxes

SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}"
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
#: Marks that stand on one day; the others run from one to another.
POINTS = ("session", "reading", "bound", "no_sound", "sign", "lab", "today")
#: Half a pixel, in points of the drawing.
HALF_PIXEL = 0.375


@dataclass(frozen=True)
class Mark:
    """A mark as the file has it: its attributes, and where it is drawn, points."""

    kind: str
    panel: str
    date: str
    until: str
    value: float
    title: str
    left: float
    right: float
    middle: float


def marks_of(svg: bytes) -> list[Mark]:
    """Return every mark of a drawing."""
    root = ElementTree.fromstring(svg)
    found = []
    for group in root.iter(f"{SVG}g"):
        kind = group.get("data-kind")
        if kind is None or kind == "band":
            continue
        x, y = _place(group)
        title = group.find(f"{SVG}title")
        found.append(
            Mark(
                kind,
                group.get("data-panel", ""),
                group.get("data-date", ""),
                group.get("data-until", ""),
                float(group.get("data-value", "nan")),
                "" if title is None or title.text is None else title.text,
                float(x.min()),
                float(x.max()),
                float((y.min() + y.max()) / 2),
            )
        )
    return found


def _place(group: ElementTree.Element) -> tuple[np.ndarray, np.ndarray]:
    used = [(float(one.attrib["x"]), float(one.attrib["y"])) for one in group.iter(f"{SVG}use")]
    if not used:
        drawn = " ".join(one.get("d", "") for one in group.iter(f"{SVG}path"))
        numbers = [float(one) for one in _NUMBER.findall(drawn)]
        used = list(zip(numbers[::2], numbers[1::2], strict=True))
    x, y = np.array(used).T
    return x, y


def words_of(svg: bytes) -> str:
    """Return all words that are drawn, in one line."""
    root = ElementTree.fromstring(svg)
    return " ".join(one.text or "" for one in root.iter(f"{SVG}text"))


def misplaced(marks: list[Mark]) -> Iterator[str]:
    """Yield marks that lie off the straight scale of their panel's dates, or of its values."""
    for panel in {one.panel for one in marks}:
        own = [one for one in marks if one.panel == panel]
        dated = [one for one in own if one.date and one.kind in POINTS]
        at = np.array([float(days(np.datetime64(one.date))[0]) for one in dated])
        drawn = np.array([(one.left + one.right) / 2 for one in dated])
        yield from _off(panel, dated, at, drawn, 0.5)
        valued = [one for one in own if np.isfinite(one.value) and one.kind in _VALUED]
        value = np.array([one.value for one in valued])
        middle = np.array([one.middle for one in valued])
        # Half a mmHg; of other quantities, half a pixel.
        mmhg = panel in ("main", "near")
        yield from _off(panel, valued, value, middle, 0.5 if mmhg else 0.0)


_VALUED = ("session", "reading", "bound", "lab", "floor", "target")


def _off(
    panel: str, marks: list[Mark], wanted: np.ndarray, drawn: np.ndarray, slack: float
) -> Iterator[str]:
    if np.unique(wanted).size < 2:
        return
    ends = int(wanted.argmin()), int(wanted.argmax())
    scale = (drawn[ends[1]] - drawn[ends[0]]) / (wanted[ends[1]] - wanted[ends[0]])
    line = drawn[ends[0]] + scale * (wanted - wanted[ends[0]])
    for index in np.flatnonzero(np.abs(drawn - line) > slack * abs(scale) + HALF_PIXEL):
        yield f"{panel}: {marks[index]} lies at {drawn[index]:.2f}, not {line[index]:.2f}"


def beyond_today(picture: TrendPicture, marks: list[Mark]) -> Iterator[str]:
    """Yield marks beyond the date the picture speaks for; only the window may lie there."""
    today = [one for one in marks if one.kind == "today" and one.panel == "main"]
    if not today:
        yield "today is not drawn"
        return
    as_of = str(picture.as_of)
    for one in marks:
        if one.kind == "window" or one.panel == "near":
            continue
        if one.date[:10] > as_of:
            yield f"{one.kind} of {one.date} is later than {as_of}"
        if one.kind in POINTS and one.date[:10] == as_of:
            continue  # today's line stands at its noon; that it stands at its own time is tested
        # A sign's triangle has width, and so has the bar of a single day.
        reach = (one.left + one.right) / 2 if one.kind in POINTS else one.right - 1.5
        if one.date and reach > today[0].right + HALF_PIXEL:
            yield f"{one.kind} of {one.date} reaches beyond today"


def floor_out_of_view(picture: TrendPicture, marks: list[Mark]) -> Iterator[str]:
    """Yield a complaint where something lies below the floor and the floor is not drawn."""
    floor = picture.panels[0].floor
    if floor is None:
        return
    held = [one for one in marks if one.panel == "main" and one.kind in ("session", "reading")]
    if any(one.value < floor.value for one in held) and not any(
        one.kind == "floor" and one.panel == "main" for one in marks
    ):
        yield "something lies below the floor, and the floor is not in view"


def unnamed_colours(svg: bytes) -> Iterator[str]:
    """Yield colours that no word of the drawing names: data have their method's, all else grey."""
    text, words = svg.decode(), words_of(svg).lower()
    drawn = text.partition("</style>")[2]
    colours = set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", drawn))
    greys = {INK, WORDS_GREY, GUIDE_GREY, FAINT_GREY, PAPER}
    for method, style in METHOD_STYLES.items():
        own = {style.colour, style.inner_tint, style.outer_tint} - greys
        if own & colours and method and method not in words:
            yield f"{method} is drawn in its colour and not named"
        colours -= own
    yield from (f"{one} is no colour of the house" for one in colours - greys)


def met_letters(figure: Figure, slack: float = 1.5) -> list[str]:
    """Return in words which letters are met by a mark or a line; bands and grid do not count.

    Parameters
    ----------
    figure : Figure
    slack : float
        Dots by which a box is taken smaller than its letters' own.
    """
    texts = list(text_boxes(figure).values())
    boxes = [
        (words, Bbox.from_extents(box.x0 + slack, box.y0 + slack, box.x1 - slack, box.y1 - slack))
        for words, box in texts
    ]
    found = []
    for axes in figure.axes:
        for artist in (*axes.lines, *axes.patches):
            path = artist.get_path().transformed(artist.get_transform())
            lined = isinstance(artist, Line2D) and artist.get_linestyle() != "None"
            for words, box in boxes:
                if _meets(path, box, lined, isinstance(artist, Polygon)):
                    found.append(f"{artist.get_label() or artist} meets {words!r}")
    return found


def _meets(path: Path, box: Bbox, lined: bool, filled: bool) -> bool:
    if filled or (lined and len(path.vertices) > 1):
        return bool(path.intersects_bbox(box, filled=filled))
    return any(box.contains(x, y) for x, y in path.vertices)
