"""Where the figure of a letter stands, measured before it is set.

It stands on the first page, under the newest value in words, at full width; where too much is
urgent for that, of what would follow it so much moves up as the first page holds, and it opens the
next. It is never left out.
Every text is measured in millimetres, in the widest of the fonts that the page may be shown in.
"""

from __future__ import annotations

from bpvet.figures.lettering import block
from bpvet.figures.style import MM_PER_INCH
from bpvet.frozen import dataclass
from bpvet.reports.letter.letter import Letter
from bpvet.reports.paper import MARGIN, PAPERS, WIDTH
from bpvet.wording.en.pages.letter import LABELS, NOTES

#: Width of the labels at the head and of the summary, mm: as in the style.
LABEL = 28.0
#: The figure may be set so much smaller to stand on the first page: 158 mm wide, 6.8 points.
SMALLEST = 0.85
#: Size of the letters, points, and one line of them, mm.
_SIZE, _LINE = 8.0, 10.0 * MM_PER_INCH / 72
#: Name, a line to write on, the edge of the urgent box, a heading, space after a text, mm.
_TITLE, _BLANK, _BOX, _HEADING, _AFTER = 8.0, 7.0, 5.0, 5.2, 0.8
#: Lines to write on, for an addressee and for a question that were not given.
BLANKS = {"to": 1, "question": 2, "clinic": 1}
#: Above and below the figure, and kept free on a page because browsers round lines up, mm.
_EDGES, _SPARE = 4.0, 5.0


#: Parts that belong on the first page with the figure: current drugs, eyes, signs.
_FIRST = 3
#: A row of a table, and what its edge adds to a line, mm.
_ROW_EDGE = 0.9


@dataclass(frozen=True)
class Placed:
    """How a figure is set: its width and height, mm, and how many parts stand above it.

    `above` counts the parts of `parts`; 0 where it stands on the first page.
    """

    width: float
    height: float
    above: int


def placed(letter: Letter, paper: str) -> Placed:
    """Return how the figure of a letter is set.

    Parameters
    ----------
    letter : Letter
        With a figure.
    paper : str
        One of `bpvet.reports.paper.PAPERS`.
    """
    height = 0.0 if letter.figure is None else letter.figure.height
    whole = PAPERS[paper][1] - 2 * MARGIN - _EDGES - _SPARE
    words = 0.0 if letter.figure is None else tall(letter.figure.words)
    room = whole - head_tall(letter)
    first = SMALLEST * height + words <= room
    share = min(1.0, ((room if first else whole) - words) / height) if height else 1.0
    # Words that alone fill a page flow on; the drawing keeps half of one.
    share = max(share, min(1.0, whole / 2 / height)) if height else 1.0
    # A little smaller, where drugs, eyes and signs then stand on the first page too.
    beside = sum(parts(letter)[:_FIRST])
    if first and height and SMALLEST * height <= room - words - beside:
        share = min(share, (room - words - beside) / height)
    above = 0 if first else _parts_within(letter, room + _EDGES)
    return Placed(WIDTH * share, height * share, above)


def labelled_parts(letter: Letter) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return current drugs, eyes, signs and what is not clear: a label and its texts each."""
    # No sign is denied where something that is not clear may be one.
    none = "signs_asked" if letter.words.asked else "signs"
    return (
        (LABELS["drugs"], letter.drugs.now or (NOTES["none"],)),
        (LABELS["eyes"], (letter.eyes,)),
        (LABELS["signs"], letter.signs.now or (NOTES[none],)),
        (LABELS["asked"], letter.words.asked),
    )


def parts(letter: Letter) -> tuple[float, ...]:
    """Return how tall each part is that stands below the figure on the first page, mm.

    These are `labelled_parts`, the table of laboratory values with the lines below it, what is
    said of the kidneys, and what stands out.
    """
    words, labs = letter.words, letter.labs
    heights = [
        sum(tall(text, WIDTH - LABEL) for text in texts) + 2 * _AFTER if texts else 0.0
        for _, texts in labelled_parts(letter)
    ]
    rows = 1 if labs.newest is None else len(labs.newest.rows) + 2
    heights.append(_HEADING + rows * (_LINE + _ROW_EDGE) + sum(map(tall, labs.others)))
    heights.append(sum(tall(text) + _AFTER for text in words.kidney))
    heights.append(_HEADING + sum(tall(text) + _AFTER for text in words.short))
    return tuple(heights)


def _parts_within(letter: Letter, room: float) -> int:
    """Return how many parts a room holds, one at least."""
    used = 0.0
    for count, height in enumerate(parts(letter)):
        used += height
        if used > room:
            return max(1, count)
    return len(parts(letter))


def head_tall(letter: Letter) -> float:
    """Return how tall all is that stands above the figure, mm."""
    who = letter.who
    used = _TITLE + sum(map(tall, who.lines)) + _AFTER
    for name, text in (("to", who.to), ("clinic", who.clinic), ("question", who.question)):
        used += tall(text, WIDTH - LABEL) + _AFTER if text else BLANKS[name] * _BLANK
    if letter.words.urgent:
        used += _BOX + _HEADING
        used += sum(tall(text, WIDTH - 6, bold=True) + _AFTER for text in letter.words.urgent)
    for text in (*letter.newer, *(text for _, text in letter.words.summary)):
        used += tall(text, WIDTH - LABEL) + _AFTER
    return used + 3 * _AFTER


def tall(text: str, room: float = WIDTH, bold: bool = False) -> float:
    """Return the height of a text set in lines of a width, mm."""
    return len(block(text, room, 10**6, _SIZE, bold).lines) * _LINE if text else 0.0
