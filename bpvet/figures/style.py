"""How figures look: colours, marks, lines and letters, said once.

Method is told by the marker; colour repeats it. Only data have a colour: words, guide lines and
what leads from a word to a mark are grey or black. Every line is at least 1 pt and every letter at
least 8 pt, so that a page survives a fax at 200 dpi.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import matplotlib.style
from matplotlib.path import Path

from bpvet.frozen import dataclass

#: Millimetres in an inch, and in a typographic point.
MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72

FONT = "DejaVu Sans"
TEXT_SIZE = 8.0
TITLE_SIZE = 9.5
#: From one baseline to the next, as a multiple of the size.
LINE_SPACING = 1.2

INK = "#1a1a1a"
WORDS_GREY = "#4a4a4a"
GUIDE_GREY = "#767676"
FAINT_GREY = "#7d7d7d"
PAPER = "#ffffff"
HAIRLINE = 1.0
CENTRE_LINE = 1.8
MEAN_SIZE = 6.0
READING_SIZE = 2.3
#: Width of a reading's tick on its session's line.
TICK_SIZE = 8.0

#: Lines of one meaning each: bounds of levels, the target, the floor, days of treatment changes.
#: Today is a solid grey line.
LEVEL_DOTS = (0, (1, 3))
TARGET_DASHES = (0, (7, 3))
FLOOR_DASHES = (0, (7, 2, 1, 2))
CHANGE_DASHES = (0, (3, 5))


@dataclass(frozen=True)
class MethodStyle:
    """How one method is drawn: colour, marker, and two tints for bands."""

    colour: str
    marker: str
    inner_tint: str
    outer_tint: str


METHOD_STYLES = {
    "doppler": MethodStyle("#0072b2", "o", "#9cc8e2", "#d6e8f3"),
    "oscillometric": MethodStyle("#d55e00", "s", "#f0bd96", "#fae3d2"),
    "": MethodStyle("#1a1a1a", "D", "#bdbdbd", "#e2e2e2"),
}

#: Each colour on a dark page: the same order of light and dark against the ground.
DARK = {
    PAPER: "#1c2324",
    INK: "#e8ecea",
    WORDS_GREY: "#c4cccb",
    GUIDE_GREY: "#98a3a2",
    FAINT_GREY: "#a3aead",
    "#0072b2": "#62b5e8",
    "#9cc8e2": "#27617f",
    "#d6e8f3": "#1d3f52",
    "#d55e00": "#f08f45",
    "#f0bd96": "#84481b",
    "#fae3d2": "#4c301d",
    "#bdbdbd": "#5d6665",
    "#e2e2e2": "#3a4342",
    "#dcdcdc": "#3d4645",
    "#c4c4c4": "#576160",
    "#bcbcbc": "#5f6968",
    "#a8a8a8": "#737e7d",
}

#: A sign inside a hollow mark tells conditions of one method apart.
CONDITION_SIGNS = {"home": ".", "calmed": "_", "sedated": "|", "anaesthetised": "x"}

#: An arrow from the mark outwards, for "at least" and "at most".
BOUND_ARROWS = {
    "at least": Path([(0, 0), (0, 1), (-0.3, 0.62), (0, 1), (0.3, 0.62)], [1, 2, 1, 2, 2]),
    "at most": Path([(0, 0), (0, -1), (-0.3, -0.62), (0, -1), (0.3, -0.62)], [1, 2, 1, 2, 2]),
}

_SETTINGS = {
    "font.family": FONT,
    "font.size": TEXT_SIZE,
    "text.parse_math": False,
    "text.usetex": False,
    "text.color": INK,
    "axes.linewidth": HAIRLINE,
    "axes.edgecolor": GUIDE_GREY,
    # Not the black of the library, which no rule for a dark page knows.
    "axes.labelcolor": INK,
    "axes.facecolor": "none",
    "axes.unicode_minus": True,
    # No axes of ours have titles: where one would stand is not looked for.
    "axes.titley": 1.0,
    "xtick.major.width": HAIRLINE,
    "ytick.major.width": HAIRLINE,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "xtick.color": GUIDE_GREY,
    "ytick.color": GUIDE_GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "lines.solid_capstyle": "butt",
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "savefig.bbox": None,
    "svg.hashsalt": "bpvet",
    "svg.fonttype": "none",
    "pdf.fonttype": 42,
    "path.simplify": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw or write under our settings alone, whatever the user's own matplotlib settings say."""
    with matplotlib.style.context(["default", _SETTINGS]):
        yield


def method_style(method: str) -> MethodStyle:
    """Return how `method` is drawn; an unknown one is drawn like a laboratory value."""
    return METHOD_STYLES.get(method, METHOD_STYLES[""])
