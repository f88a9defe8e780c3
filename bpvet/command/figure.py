"""``bpvet figure``: one animal's figure for a letter, or the letter itself."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, cast

from bpvet.command.shared import options
from bpvet.command.shared.opening import answered_or_unseen, fitted, inputs_read, usable
from bpvet.command.shared.output import print_json, printable, writable
from bpvet.errors import CallError
from bpvet.facts.analytes import recorded_only
from bpvet.files import write_all

if TYPE_CHECKING:
    from bpvet.figures.pictures import TrendPicture
    from bpvet.models.trend.trend import Trend
    from bpvet.records.outputs import Inputs
    from bpvet.reports.letter.letter import Letter

ABOUT = """\
Draws one animal through time, and writes the caption and the alternative text into a text
file of the same name beside it. The ending names the format: .svg, .pdf or .png.

With --letter it writes a letter instead, complete on its own: addressee and reason (or lines to
write them on), what is urgent, the newest and the usual pressure, target and when again, the figure
at full width, all current drugs, the eyes, signs, kidney values with their course, every answer,
every session with its readings, and room for a signature. Two pages where they are enough; nothing
is left out. Beside it goes a table of the same name (.csv), for a computer.

examples:
  bpvet figure records --animal Pilchard -o pilchard.svg
  bpvet figure records --animal Pilchard -o pilchard.pdf --width column
  bpvet figure records --animal Pilchard --quantity creatinine -o creatinine.svg
  bpvet figure records --animal Pilchard --letter -o letter.pdf --paper a4
  bpvet figure records --animal Pilchard --letter -o letter.html \\
      --to "Internal medicine" --question "Are the kidneys following the pressure?"
"""

#: Widths that have a name, mm.
WIDTHS = {"column": 85.0, "letter": 160.0, "page": 180.0}
#: What is of the letter alone, and what of the figure alone: options, as they are said.
_OF_LETTER = {
    "paper": "--paper",
    "to": "--to",
    "question": "--question",
    "plain": "--plain",
    "for_excel": "--for-excel",
}
_OF_FIGURE = {"width": "--width", "labs": "--labs"}


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
        raise argparse.ArgumentTypeError(f'"{text}" is not a width: write {named}, or mm') from None


USAGE = "bpvet figure PATH --animal A -o FILE [options]"
ARGUMENTS = (
    *options.PATH,
    options.ANIMAL,
    options.argument("-o", "--output", required=True, metavar="FILE", help="the file to write"),
    options.argument(
        "--width",
        type=width_mm,
        metavar="W",
        help=", ".join(f"{name} ({mm:g})" for name, mm in WIDTHS.items())
        + ", or mm, at least 80; default: letter",
    ),
    options.argument(
        "--labs",
        action="store_true",
        help="show laboratory values and weights under the pressure, as recorded",
    ),
    options.force("replace the files if they are there"),
    options.option_group(
        "a letter instead",
        options.argument("--letter", action="store_true", help="write a letter, .html or .pdf"),
        options.argument(
            "--to", metavar="TEXT", help="to whom it goes; left out, there is a line to write on"
        ),
        options.argument(
            "--question",
            metavar="TEXT",
            help="why the animal is referred; left out, there are lines to write on",
        ),
        options.argument("--paper", choices=options.PAPERS, help="default: a4"),
        *options.PLAIN,
    ),
    options.series(*recorded_only()),
    *options.JUDGED_BY,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the figure with its words, or the letter with its table."""
    from bpvet.wording.en.command.written import FIGURE_WRITTEN, LETTER_WRITTEN

    inputs = inputs_read(arguments)
    path = writable(arguments.output, inputs, arguments.force)
    kind = path.suffix.lower().removeprefix(".")
    for name, option in (_OF_FIGURE if arguments.letter else _OF_LETTER).items():
        if getattr(arguments, name) and arguments.letter:
            raise CallError(f"{option} is for the figure alone; leave out --letter.")
        if getattr(arguments, name):
            raise CallError(f"{option} is for a letter; add --letter.")
    kinds = ("html", "pdf") if arguments.letter else ("svg", "pdf", "png")
    if kind not in kinds:
        what = "letter" if arguments.letter else "figure"
        ends = " or ".join((", ".join(f".{ending}" for ending in kinds[:-1]), f".{kinds[-1]}"))
        raise CallError(f'"{path.name}": the name of a {what} ends in {ends}.')
    if arguments.letter and arguments.quantity in recorded_only():
        raise CallError(
            f"{arguments.quantity} has no trend that a letter could tell of; leave out --letter."
        )
    write = _letter if arguments.letter else _figure
    content = write(arguments, inputs, path, kind)
    if arguments.json:
        print_json(content)
    elif arguments.letter:
        print(printable(LETTER_WRITTEN.format(file=path, table=content["table"])))
    else:
        print(printable(FIGURE_WRITTEN.format(file=path, text=content["text"])))


def _figure(
    arguments: argparse.Namespace, inputs: Inputs, image: Path, kind: str
) -> dict[str, object]:
    # What the text will be is known only later; the same text in another kind's company stays.
    words = writable(image.with_suffix(".txt"), inputs, force=True)
    picture = _picture(arguments)
    from bpvet.facts.sources import footnotes
    from bpvet.figures import save
    from bpvet.figures.trend import caption
    from bpvet.wording.en.command.written import ALTERNATIVE, CAPTION

    width = WIDTHS["letter"] if arguments.width is None else arguments.width
    writer = {"svg": save.svg_bytes, "pdf": save.pdf_bytes, "png": save.png_bytes}[kind]
    sentences = caption(picture, width)
    sentences = " ".join((sentences, *footnotes(sentences)))
    parts = (picture.title, "", CAPTION, sentences, "", ALTERNATIVE, picture.alt_text, "")
    text = "\n".join(parts)
    # Everything is made before anything is written.
    contents = {words.name: text.encode("utf-8"), image.name: writer(picture, width)}
    if _holds(words, contents[words.name]):
        del contents[words.name]
    else:
        writable(words, inputs, arguments.force)
    write_all(image.parent, contents, arguments.force)
    return {
        "figure": str(image),
        "text": str(words),
        "width_mm": width,
        "caption": sentences,
        "alternative_text": picture.alt_text,
    }


def _picture(arguments: argparse.Namespace) -> TrendPicture:
    """Return the picture of the series asked for, or of values that have no trend."""
    from bpvet.pictures.answered import answered_picture, recorded_labs

    if arguments.quantity in recorded_only():
        records = usable(arguments)
        animal = records.animal(arguments.animal)
        return recorded_labs(records, animal, arguments.quantity, arguments.guideline)
    trend = fitted(arguments)
    answer = trend.answer(
        guideline=arguments.guideline, level=arguments.level, edition=arguments.edition
    )
    return answered_picture(trend, answer, labs=arguments.labs)


def _holds(path: Path, content: bytes) -> bool:
    """Return whether a plain file holds this already."""
    try:
        same_size = path.is_file() and path.stat().st_size == len(content)
        return same_size and not path.is_symlink() and path.read_bytes() == content
    except OSError:
        return False


def _letter(
    arguments: argparse.Namespace, inputs: Inputs, letter: Path, kind: str
) -> dict[str, object]:
    table = writable(letter.with_suffix(".csv"), inputs, arguments.force)
    if kind == "pdf":
        from bpvet.reports.pdf import refuse_without_setter

        refuse_without_setter()
    whole = _whole(arguments, table.name)
    from bpvet.reports.letter.page import LETTER

    paper = arguments.paper or options.PAPERS[0]
    content = LETTER.file(whole, paper, kind)
    write_all(letter.parent, {table.name: whole.table, letter.name: content}, arguments.force)
    return {"letter": str(letter), "table": str(table), "paper": paper}


def _whole(arguments: argparse.Namespace, table: str) -> Letter:
    """Return the letter's content, of an animal with or without a trend."""
    records, trend, answer = answered_or_unseen(arguments)
    from bpvet.answers.trend.unseen import UnseenAnswer
    from bpvet.reports.letter.letter import Wanted, letter_of, unseen_letter

    wanted = Wanted(arguments.to or "", arguments.question or "", arguments.plain)
    if isinstance(answer, UnseenAnswer):
        return unseen_letter(records, answer, table, arguments.rule, wanted)
    return letter_of(cast("Trend", trend), answer, table, wanted)
