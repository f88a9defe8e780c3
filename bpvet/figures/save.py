"""Figures as files: one picture, the same bytes; a file is written whole or not at all."""

from __future__ import annotations

import io
from functools import lru_cache
from pathlib import Path
from typing import Any

from matplotlib.backends.backend_mixed import MixedModeRenderer
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from bpvet.errors import CallError
from bpvet.figures.drawing import Picture, drawn
from bpvet.figures.lettering import written
from bpvet.figures.sheet import FULL_WIDTH
from bpvet.figures.style import house_style
from bpvet.figures.svg import readable
from bpvet.files import write_whole

FORMATS = ("svg", "pdf", "png")
DOTS_PER_INCH = 300

#: From so many marks of one look on, it is told once for all of them.
_MANY_MARKS = 1_000

#: What would tell when, or by which version, a file was written.
_UNTOLD = {
    "svg": ("Date", "Creator"),
    "pdf": ("CreationDate", "ModDate", "Creator", "Producer"),
    "png": ("Software",),
}
_DESCRIBED_AS = {"pdf": "Subject", "png": "Description"}


def svg_bytes(
    picture: Picture,
    width_mm: float = FULL_WIDTH,
    *,
    links: bool = False,
    dark: bool = True,
) -> bytes:
    """Return `picture` as an SVG file: letters as text, its meaning as attributes and words.

    With `links`, marks of sessions lead to ``#session-n``, as an animal's page has its rows;
    without `dark` it stays light on a dark page.
    """
    drawing = _drawing(drawn(picture, width_mm))
    return readable(drawing, picture.title, picture.alt_text, links=links, dark=dark)


def pdf_bytes(picture: Picture, width_mm: float = FULL_WIDTH) -> bytes:
    """Return `picture` as a PDF file with its letters embedded."""
    return _picture_bytes(picture, "pdf", width_mm)


def png_bytes(picture: Picture, width_mm: float = FULL_WIDTH) -> bytes:
    """Return `picture` as a PNG file at 300 dots an inch."""
    return _picture_bytes(picture, "png", width_mm)


def figure_bytes(figure: Figure, kind: str, title: str = "", description: str = "") -> bytes:
    """Return a drawn figure as a file.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        As `figures.trend.draw` returns it.
    kind : str
        One of `FORMATS`.
    title, description : str
        Go into the file's metadata; into SVG as its title and description.

    Returns
    -------
    bytes
        The same for the same figure, on one machine and set of versions.

    Raises
    ------
    CallError
        If `kind` is not one of `FORMATS`.
    """
    if kind not in FORMATS:
        raise CallError(f"A figure can be written as {', '.join(FORMATS)}, not as {kind!r}.")
    if kind == "svg":
        return readable(_drawing(figure), title, description)
    texts = {"Title": written(title), _DESCRIBED_AS[kind]: written(description)}
    metadata: dict[str, str | None] = dict.fromkeys(_UNTOLD[kind])
    metadata |= {name: text for name, text in texts.items() if text}
    file = io.BytesIO()
    with house_style():
        figure.savefig(file, format=kind, dpi=DOTS_PER_INCH, metadata=metadata)
    return file.getvalue()


class _Renderer(RendererSVG):
    """Writes SVG: a text is measured once for all figures, and marks in their thousands share how
    they look, which is told once, on the group that they stand in.
    """

    _look_is_told = False

    def draw_markers(
        self,
        gc: Any,
        marker_path: Any,
        marker_trans: Any,
        path: Any,
        trans: Any,
        rgbFace: Any = None,
    ) -> None:
        many = len(path) >= _MANY_MARKS
        writer: Any = self.writer  # its package bears few types
        if many:
            writer.start("g", style=self._get_style(gc, rgbFace))
        self._look_is_told = many
        svg: Any = super()
        svg.draw_markers(gc, marker_path, marker_trans, path, trans, rgbFace)
        self._look_is_told = False
        if many:
            writer.end("g")

    def _get_style(self, gc: Any, rgbFace: Any) -> str:
        svg: Any = super()
        return "" if self._look_is_told else str(svg._get_style(gc, rgbFace))

    def get_text_width_height_descent(
        self, s: str, prop: FontProperties, ismath: Any
    ) -> tuple[float, float, float]:
        # A copy, as properties change with the artist that they are of.
        return _measured(s, prop.copy(), ismath)


@lru_cache(maxsize=4096)
def _measured(text: str, font: FontProperties, mathematics: Any) -> tuple[float, float, float]:
    width, height, descent = text_to_path.get_text_width_height_descent(text, font, mathematics)
    return float(width), float(height), float(descent)


def _rasterized(figure: Figure) -> bool:
    """Return whether anything of a figure is to be an image."""
    artists = (artist for axes in figure.axes for artist in (axes, *axes.get_children()))
    return any(artist.get_rasterized() for artist in (figure, *artists))


def _drawing(figure: Figure) -> str:
    """Return a figure as matplotlib's SVG; marks in their thousands are an image in it."""
    file, dpi = io.StringIO(), figure.dpi
    width, height = map(float, figure.get_size_inches())
    untold: dict[str, None] = dict.fromkeys(_UNTOLD["svg"])
    svg: Any = _Renderer  # its package bears few types
    mixed: Any = MixedModeRenderer
    with house_style():
        vectors = svg(72 * width, 72 * height, file, image_dpi=DOTS_PER_INCH, metadata=untold)
        try:
            figure.dpi = 72
            # What turns some of it into an image asks before each of a thousand strokes.
            some = _rasterized(figure)
            figure.draw(mixed(figure, width, height, DOTS_PER_INCH, vectors) if some else vectors)
        finally:
            figure.dpi = dpi
        vectors.finalize()
    return file.getvalue()


def save(picture: Picture, path: str | Path, width_mm: float = FULL_WIDTH) -> Path:
    """Write `picture` to `path`, whole or not at all; an existing file is replaced.

    Parameters
    ----------
    picture : TrendPicture, AgreementPicture, AuditPicture or a picture of a cohort
        What to show.
    path : str or Path
        Its suffix names the format: .svg, .pdf or .png.
    width_mm : float
        Width of the figure, mm.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    CallError
        If the suffix is none of these, or the file cannot be written.
    """
    path = Path(path)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        listed = ", ".join(f".{kind}" for kind in FORMATS)
        raise CallError(f"{path.name}: the name of a figure has to end in one of {listed}.")
    write_whole(path, _picture_bytes(picture, kind, width_mm), replace=True)
    return path


def _picture_bytes(picture: Picture, kind: str, width_mm: float) -> bytes:
    figure = drawn(picture, width_mm)
    return figure_bytes(figure, kind, picture.title, picture.alt_text)
