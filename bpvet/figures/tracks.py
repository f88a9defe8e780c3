"""Treatments under the pressure's dates: a thin line a drug, its dose of the day at the right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from bpvet.figures.axes import Scale
from bpvet.figures.lettering import Block, block
from bpvet.figures.pictures import CourseSpan, DrugTrack
from bpvet.figures.sheet import Sheet
from bpvet.figures.strip import course_ends, dose_meaning
from bpvet.figures.style import GUIDE_GREY, HAIRLINE, INK, WORDS_GREY
from bpvet.figures.words import TrendWords
from bpvet.frozen import dataclass

#: More lines than these make a figure nobody reads; the caption has every treatment.
MOST_TRACKS = 14
_BAR, _THIN = 1.7, 0.8
_ARROW = 1.8
#: A tick at the first day of a spell stands out from its bar by this, mm, above and below.
_TICK = 0.6
_GAP = 1.0
_BETWEEN = 1.5


@dataclass(frozen=True)
class TrackPlan:
    """A drug's line in its place, mm from the top of all tracks.

    Parameters
    ----------
    track : DrugTrack
    words : Block
        What stands at its right, or above it in a narrow figure.
    words_left, words_top : float
        Where they stand, mm.
    doses : tuple of (Block, float, float)
        Doses lettered above the line, with the left and top of each, mm.
    middle : float
        Where the line runs, mm.
    """

    track: DrugTrack
    words: Block
    words_left: float
    words_top: float
    doses: tuple[tuple[Block, float, float], ...]
    middle: float


@dataclass(frozen=True)
class TracksPlan:
    """All tracks in their places, their height in mm, and what they leave unsaid."""

    tracks: tuple[TrackPlan, ...] = ()
    height: float = 0.0
    unsaid: tuple[str, ...] = ()


def plan_tracks(
    tracks: Sequence[DrugTrack],
    x: Scale,
    words_left: float,
    right: float,
    as_of: np.datetime64,
    words: TrendWords,
) -> TracksPlan:
    """Plan the tracks.

    Parameters
    ----------
    tracks : sequence of DrugTrack
    x : Scale
        The date axis, days to mm.
    words_left : float
        Where the words at the right begin, mm; left of the date axis where the figure is narrow:
        they then stand above each line.
    right : float
        How far words may run to the right, mm.
    as_of : datetime64[D]
        Today: no spell is drawn beyond it.
    words : TrendWords
        What is written of a track that is not drawn.
    """
    placed, top = [], 0.8
    unsaid = [words.not_drawn.format(label=track.words) for track in tracks[MOST_TRACKS:]]
    beside = words_left > x.at_high
    for track in tracks[:MOST_TRACKS]:
        lead = block(track.words, right - words_left, most=2)
        above = 0.0 if beside else lead.height + 0.3
        doses, tall = _doses(track, x, as_of)
        height = max(above + tall + _BAR + 2 * _TICK, lead.height if beside else 0.0)
        middle = top + height - _BAR / 2 - _TICK
        if beside and not doses:
            middle = top + height / 2
        words_top = top if not beside else top + (height - lead.height) / 2
        lettered = tuple(
            (dose, left, middle - _BAR / 2 - _TICK - dose.height) for dose, left in doses
        )
        placed.append(TrackPlan(track, lead, words_left, words_top, lettered, middle))
        if not lead.whole:
            unsaid.append(track.words)
        top += height + _BETWEEN
    return TracksPlan(tuple(placed), top if placed else 0.0, tuple(unsaid))


def _doses(
    track: DrugTrack, x: Scale, as_of: np.datetime64
) -> tuple[list[tuple[Block, float]], float]:
    """Return doses of former spells with the left of each, mm, and the height they take.

    Each stands at the first day of its spell, where no later one begins before its end; the dose
    of today stands at the right, and every dose in the caption.
    """
    found: list[tuple[Block, float]] = []
    shown = [span for span in track.spans if _in_view(span, x, as_of)]
    starts = [x.mm(max(course_ends(span, as_of)[0], x.low)) for span in shown]
    taken = x.at_low
    for index, (span, left) in enumerate(zip(shown, starts, strict=True)):
        if np.isnat(span.stopped_on) or not span.dose:
            continue
        words = block(span.dose, x.at_high - left, most=1)
        space = min(starts[index + 1 :], default=x.at_high) - left
        if words.whole and words.width + _GAP <= space and left >= taken:
            found.append((words, left))
            taken = left + words.width + _GAP
    return found, max((dose.height for dose, _ in found), default=0.0)


def _in_view(span: CourseSpan, x: Scale, as_of: np.datetime64) -> bool:
    started, stopped = course_ends(span, as_of)
    return started <= x.high and stopped >= x.low


def draw_tracks(
    plan: TracksPlan,
    sheet: Sheet,
    x: Scale,
    top: float,
    as_of: np.datetime64,
    words: TrendWords,
) -> None:
    """Draw planned tracks on a sheet, from `top` mm downwards.

    Parameters
    ----------
    plan : TracksPlan
    sheet : Sheet
    x : Scale
        The date axis, days to mm.
    top : float
        mm from the sheet's top.
    as_of : datetime64[D]
        As `plan_tracks` takes it.
    words : TrendWords
        What a pointer shows of a spell.
    """
    for planned in plan.tracks:
        axes = sheet.field(x.at_low, top + planned.middle - 2.0, x.at_high - x.at_low, 4.0)
        axes.set_xlim(x.low, x.high)
        axes.set_ylim(2.0, -2.0)
        axes.set_axis_off()
        for span in planned.track.spans:
            if _in_view(span, x, as_of):
                _draw_span(axes, span, x, as_of, words)
        for dose, left, down in planned.doses:
            sheet.words(left, top + down, dose, color=WORDS_GREY)
        ongoing = any(np.isnat(span.stopped_on) for span in planned.track.spans)
        colour = INK if ongoing else WORDS_GREY
        sheet.words(planned.words_left, top + planned.words_top, planned.words, color=colour)


def _draw_span(
    axes: Axes, span: CourseSpan, x: Scale, as_of: np.datetime64, words: TrendWords
) -> None:
    half = (_BAR if span.modelled else _THIN) / 2
    colour = WORDS_GREY if span.modelled else GUIDE_GREY
    points = [(x.value(across), down) for across, down in _rim(span, x, as_of, half)]
    shape = Polygon(points, fc=colour, ec=colour, lw=0.0, clip_on=False, label=span.label)
    shape.set_gid(dose_meaning(span, words).gid)
    axes.add_patch(shape)
    started = course_ends(span, as_of)[0]
    if started >= x.low:
        ends = [-half - _TICK, half + _TICK]
        axes.plot([started, started], ends, color=colour, lw=HAIRLINE, clip_on=False)


def _rim(
    span: CourseSpan, x: Scale, as_of: np.datetime64, half: float
) -> Iterator[tuple[float, float]]:
    """Yield the corners of a spell's bar, mm; one that goes on ends in an arrow at today."""
    started, stopped = course_ends(span, as_of)
    begin, end = x.mm(max(started, x.low)), x.mm(min(stopped, x.high))
    short = max(0.0, 1.0 - (end - begin)) / 2  # a day of a long record is widened about itself
    begin, end = begin - short, end + short
    closed = not np.isnat(span.stopped_on) and stopped <= x.high
    neck = end if closed else end - min(_ARROW, end - begin)
    yield from ((begin, -half), (neck, -half))
    if not closed:
        wide = half + 0.5
        yield from ((neck, -wide), (end, 0.0), (neck, wide))
    yield from ((neck, half), (begin, half))
