"""``bpvet figure``: the figure of one animal for a letter, with its caption in a text file."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bpvet.command import options
from bpvet.command.opening import fitted
from bpvet.command.output import print_json, printable, refuse_existing, write_whole
from bpvet.errors import CallError

if TYPE_CHECKING:
    from bpvet.figures.pictures import TrendPicture

SUMMARY = "one animal's figure for a letter, with caption and alternative text"
ABOUT = """\
Draws one animal through time, and writes the caption and the alternative text into a text
file of the same name beside it. The ending names the format: .svg, .pdf or .png.

examples:
  bpvet figure records --animal Pilchard -o pilchard.svg
  bpvet figure records --animal Pilchard -o pilchard.pdf --width 85
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet figure PATH --animal A -o FILE [options]"
    options.add_path(parser)
    options.add_animal(parser)
    parser.add_argument("-o", "--output", required=True, metavar="FILE", help="the figure to write")
    parser.add_argument(
        "--width", type=float, default=160.0, metavar="MM", help="width in mm, at least 80 (160)"
    )
    options.add_force(parser, "replace the files if they are there")
    options.add_series(parser)
    options.add_rule(parser)
    options.add_guideline(parser)
    options.add_level(parser)
    options.add_priors(parser)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Draw the figure and write it with its words."""
    image = refuse_existing(arguments.output, arguments.force)
    kind = image.suffix.lower().removeprefix(".")
    if kind not in ("svg", "pdf", "png"):
        raise CallError(f'"{image.name}": the name of a figure ends in .svg, .pdf or .png.')
    words = refuse_existing(image.with_suffix(".txt"), arguments.force)
    trend = fitted(arguments)
    from bpvet.figures.trend import caption
    from bpvet.models.picture import trend_picture

    picture = trend_picture(trend, arguments.guideline, arguments.level)
    # The width is checked, and everything is made, before anything is written.
    drawn = _writer(kind)(picture, arguments.width)
    said = caption(picture, arguments.width)
    text = f"{picture.title}\n\nCaption\n{said}\n\nAlternative text\n{picture.alt_text}\n"
    write_whole(image, drawn, arguments.force)
    write_whole(words, text.encode("utf-8"), arguments.force)
    _tell(arguments, image, words, said, picture.alt_text)
    return 0


def _writer(kind: str) -> Callable[[TrendPicture, float], bytes]:
    from bpvet.figures import save

    return {"svg": save.svg_bytes, "pdf": save.pdf_bytes, "png": save.png_bytes}[kind]


def _tell(
    arguments: argparse.Namespace, image: Path, words: Path, caption: str, alt_text: str
) -> None:
    if arguments.json:
        print_json(
            {
                "figure": str(image),
                "text": str(words),
                "caption": caption,
                "alternative_text": alt_text,
            }
        )
        return
    print(printable(f'The figure is in "{image}", its caption and alternative text in "{words}".'))
