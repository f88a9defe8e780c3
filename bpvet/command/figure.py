"""``bpvet figure``: one animal's figure for a letter, or the letter itself on a single page."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bpvet.command import options
from bpvet.command.opening import fitted
from bpvet.command.output import print_json, printable, refuse_existing
from bpvet.errors import CallError
from bpvet.files import write_all

if TYPE_CHECKING:
    from bpvet.answers.parts import TrendAnswer
    from bpvet.models.trend import Trend

SUMMARY = "one animal's figure, or a one-page letter, for a colleague"
ABOUT = """\
Draws one animal through time, and writes the caption and the alternative text into a text
file of the same name beside it. The ending names the format: .svg, .pdf or .png.

With --letter it writes a single page instead: who the animal is, the figure, five sentences,
the sessions with their readings, treatments and signs, and room for a signature. Beside it
goes a table of the same name (.csv) with everything in full, to attach.

examples:
  bpvet figure records --animal Pilchard -o pilchard.svg
  bpvet figure records --animal Pilchard -o pilchard.pdf --width column
  bpvet figure records --animal Pilchard --letter -o letter.html --paper a4
"""

#: Widths that have a name, mm.
WIDTHS = {"column": 85.0, "letter": 160.0, "page": 180.0}
#: What is of the letter alone, and what of the figure alone: options, as they are said.
_OF_LETTER = {"paper": "--paper", "for_excel": "--for-excel"}
_OF_FIGURE = {"width": "--width", "labs": "--labs"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet figure PATH --animal A -o FILE [options]"
    options.add_path(parser)
    options.add_animal(parser)
    parser.add_argument("-o", "--output", required=True, metavar="FILE", help="the file to write")
    named = ", ".join(f"{name} ({mm:g})" for name, mm in WIDTHS.items())
    parser.add_argument(
        "--width",
        type=width_mm,
        metavar="W",
        help=f"{named}, or mm, at least 80; letter, if left out",
    )
    parser.add_argument(
        "--labs",
        action="store_true",
        help="show laboratory values and weights under the pressure, as recorded",
    )
    options.add_force(parser, "replace the files if they are there")
    letter = parser.add_argument_group("a letter instead")
    letter.add_argument("--letter", action="store_true", help="one page, .html or .pdf")
    letter.add_argument("--paper", choices=options.PAPERS, help="a4, if left out")
    letter.add_argument(
        "--for-excel",
        action="store_true",
        help="in the table: an apostrophe before text that could be a formula",
    )
    options.add_series(parser)
    options.add_rule(parser)
    options.add_guideline(parser)
    options.add_level(parser)
    options.add_priors(parser)
    options.add_ways_out(parser)


def width_mm(text: str) -> float:
    """Return a width in mm, given by its name or as a number.

    Examples
    --------
    >>> width_mm("column"), width_mm("120")
    (85.0, 120.0)
    """
    if text in WIDTHS:
        return WIDTHS[text]
    try:
        return float(text)
    except ValueError:
        named = ", ".join(WIDTHS)
        raise argparse.ArgumentTypeError(f'"{text}" is no width: write {named}, or mm') from None


def run(arguments: argparse.Namespace) -> int:
    """Write the figure with its words, or the letter with its table."""
    path = refuse_existing(arguments.output, arguments.force)
    kind = path.suffix.lower().removeprefix(".")
    others, said, kinds = (
        (_OF_FIGURE, "is of the figure alone; leave out --letter", ("html", "pdf"))
        if arguments.letter
        else (_OF_LETTER, "is of a letter; add --letter", ("svg", "pdf", "png"))
    )
    for name, option in others.items():
        if getattr(arguments, name):
            raise CallError(f"{option} {said}.")
    if kind not in kinds:
        what = "letter" if arguments.letter else "figure"
        ends = " or ".join((", ".join(f".{one}" for one in kinds[:-1]), f".{kinds[-1]}"))
        raise CallError(f'"{path.name}": the name of a {what} ends in {ends}.')
    write = _letter if arguments.letter else _figure
    told = write(arguments, path, kind)
    if arguments.json:
        print_json(told)
    elif arguments.letter:
        print(printable(f'The letter is in "{path}", everything in full in "{told["table"]}".'))
    else:
        print(
            printable(
                f'The figure is in "{path}", its caption and alternative text in "{told["text"]}".'
            )
        )
    return 0


def _figure(arguments: argparse.Namespace, image: Path, kind: str) -> dict[str, object]:
    words = refuse_existing(image.with_suffix(".txt"), arguments.force)
    trend = fitted(arguments)
    from bpvet.figures import save
    from bpvet.figures.trend import caption
    from bpvet.models.picture import trend_picture

    width = WIDTHS["letter"] if arguments.width is None else arguments.width
    picture = trend_picture(trend, arguments.guideline, arguments.level, labs=arguments.labs)
    writer = {"svg": save.svg_bytes, "pdf": save.pdf_bytes, "png": save.png_bytes}[kind]
    said = caption(picture, width)
    text = f"{picture.title}\n\nCaption\n{said}\n\nAlternative text\n{picture.alt_text}\n"
    # Everything is made before anything is written.
    contents = {image.name: writer(picture, width), words.name: text.encode("utf-8")}
    write_all(image.parent, contents, arguments.force)
    return {
        "figure": str(image),
        "text": str(words),
        "width_mm": width,
        "caption": said,
        "alternative_text": picture.alt_text,
    }


def _letter(arguments: argparse.Namespace, letter: Path, kind: str) -> dict[str, object]:
    table = refuse_existing(letter.with_suffix(".csv"), arguments.force)
    if kind == "pdf":
        from bpvet.reports.pdf import refuse_without_setter

        refuse_without_setter()
    trend = fitted(arguments)
    from bpvet.reports.letter_csv import letter_csv

    paper = arguments.paper or options.PAPERS[0]
    answer = trend.answer(guideline=arguments.guideline, level=arguments.level)
    contents = {
        letter.name: _page(trend, answer, paper, table.name, kind),
        table.name: letter_csv(trend, answer, arguments.for_excel),
    }
    write_all(letter.parent, contents, arguments.force)
    return {"letter": str(letter), "table": str(table), "paper": paper}


def _page(trend: Trend, answer: TrendAnswer, paper: str, table: str, kind: str) -> bytes:
    from bpvet.reports.letter import letter_html, letter_of

    whole = letter_of(trend, answer, table)
    if kind == "html":
        return letter_html(whole, paper).encode("utf-8")
    from bpvet.reports.pdf import fitting_pdf

    fewer = range(len(whole.sessions) + 1)
    return fitting_pdf((letter_html(whole, paper, less) for less in fewer), whole.mark)
