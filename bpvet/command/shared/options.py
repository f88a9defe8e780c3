"""Options that several commands share, each said once. Standard library only."""

from __future__ import annotations

import argparse

from bpvet.command.shared.terminal import columns
from bpvet.errors import CallError
from bpvet.facts.words import (
    KIDNEY_EDITIONS,
    METHODS,
    QUANTITIES,
    RULES,
    TREND_CONDITIONS,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any, NoReturn

    #: Adds something to a parser, or to a group of its arguments.
    Argument = Callable[[argparse._ActionsContainer], object]

#: Papers that pages are set on.
PAPERS = ("a4", "letter")
BRIDGES = ("methods", "conditions")


class HelpFormatter(argparse.RawDescriptionHelpFormatter):
    """Keeps the paragraphs of a description, and the words beside long options."""

    def __init__(self, prog: str, **options: Any) -> None:
        options.setdefault("max_help_position", 30)
        # As argparse has it, which would load a module of archives to ask for the width.
        options.setdefault("width", columns() - 2)
        super().__init__(prog, **options)


class Parser(argparse.ArgumentParser):
    """A parser that takes no shortened options and says in one line what is wrong."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("formatter_class", HelpFormatter)
        super().__init__(allow_abbrev=False, **options)

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the call, without the whole usage, and end with status 2."""
        from bpvet.printing import escaped

        self.exit(2, f'{self.prog}: {escaped(message)}\nSee "{self.prog} --help".\n')

    def _get_values(self, action: argparse.Action, arg_strings: list[str]) -> Any:
        """Refuse ``--option=--``, of which some versions of argparse make an empty list."""
        if action.option_strings and action.nargs is None and arg_strings == ["--"]:
            raise argparse.ArgumentError(action, "expected one argument")
        return super()._get_values(action, arg_strings)


def argument(*names: str, **settings: Any) -> Argument:
    """Return what adds an argument to a parser, as `argparse`'s ``add_argument`` is given it."""
    return lambda parser: parser.add_argument(*names, **settings)


def option(name: str) -> str:
    """Return the option that fills a column, or an argument, of this name.

    Examples
    --------
    >>> option("cuff_width_cm")
    '--cuff-width-cm'
    """
    return f"--{name.replace('_', '-')}"


def option_group(title: str, *arguments: Argument) -> Argument:
    """Return what adds arguments to a parser under a title of their own in its help."""

    def add(parser: argparse._ActionsContainer) -> None:
        group = parser.add_argument_group(title)
        for add_one in arguments:
            add_one(group)

    return add


def force(help: str) -> Argument:
    """Return ``--force``."""
    return argument("--force", action="store_true", help=help)


def series(*also: str) -> Argument:
    """Return the options that choose one series of an animal; `also`: further quantities."""

    def add(parser: argparse._ActionsContainer) -> None:
        # Read from the analytes' blocks: only the commands that choose a series wait for it.
        from bpvet.facts.words import LAB_QUANTITIES

        option_group(
            "which sessions",
            argument("--method", choices=METHODS, help="default: that of the latest session"),
            argument(
                "--quantity",
                choices=(*QUANTITIES, *LAB_QUANTITIES, *also),
                default="systolic",
                help="default: systolic",
            ),
            argument(
                "--condition",
                choices=TREND_CONDITIONS,
                help="default: that of most sessions by the method",
            ),
            argument(
                "--bridge",
                type=bridges,
                default=(),
                metavar="LIST",
                help="join methods, conditions, or methods,conditions through an estimated "
                "difference",
            ),
        )(parser)

    return add


def pdf_paper(arguments: argparse.Namespace) -> str:
    """Return the paper that a PDF was asked for on; blank where none was.

    Raises
    ------
    CallError
        A paper is named without ``--pdf``.
    """
    if arguments.paper and not arguments.pdf:
        raise CallError("--paper is for a PDF; add --pdf.")
    return (arguments.paper or PAPERS[0]) if arguments.pdf else ""


def iso_date(text: str) -> str:
    """Return a date as written, if it is YYYY-MM-DD and in the calendar.

    Examples
    --------
    >>> iso_date("2026-03-01")
    '2026-03-01'
    """
    import re
    from datetime import date

    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise argparse.ArgumentTypeError(f'"{text}" is not a date such as 2026-03-01')
    try:
        date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a day of the calendar') from None
    return text


def pressure_unit(text: str) -> str:
    """Return a unit of pressure as it is spelled, whatever its case.

    Examples
    --------
    >>> pressure_unit("kpa")
    'kPa'
    """
    units = {"mmhg": "mmHg", "kpa": "kPa"}
    if text.casefold() not in units:
        raise argparse.ArgumentTypeError(f'"{text}" is not a unit of pressure here: mmHg or kPa')
    return units[text.casefold()]


def probability_level(text: str) -> float:
    """Return a probability between 0 and 1.

    Examples
    --------
    >>> probability_level("0.9")
    0.9
    """
    try:
        level = float(text)
    except ValueError:
        level = -1.0
    if not 0 < level < 1:
        raise argparse.ArgumentTypeError(
            f'"{text}" does not lie between 0 and 1; for 95 % write 0.95'
        )
    return level


def bridges(text: str) -> tuple[str, ...]:
    """Return what is to be joined.

    Examples
    --------
    >>> bridges("methods,conditions")
    ('methods', 'conditions')
    """
    named = tuple(name.strip() for name in text.split(","))
    for name in named:
        if name not in BRIDGES:
            raise argparse.ArgumentTypeError(
                f'"{name}" cannot be joined; write methods, conditions or methods,conditions'
            )
    return tuple(dict.fromkeys(named))


def whole_number(what: str, lowest: int, highest: int | None = None) -> Callable[[str], int]:
    """Return what reads a whole number within bounds, the type of an argument.

    Examples
    --------
    >>> whole_number("a number of days such as 14", 0, 9999)("21")
    21
    """

    def number(text: str) -> int:
        digits = text.isascii() and text.isdigit()
        if not digits or int(text) < lowest or (highest is not None and int(text) > highest):
            raise argparse.ArgumentTypeError(f'"{text}" is not {what}')
        return int(text)

    return number


#: How records are to be read.
READING = option_group(
    "how the records are read",
    argument(
        "--as-of",
        type=iso_date,
        metavar="DATE",
        help="report as at this date, YYYY-MM-DD (today); rows dated later are set aside",
    ),
    argument(
        "--columns",
        metavar="LIST",
        help='other people\'s headings: "Pet ID=animal,When=taken_at", or a TOML file with them '
        "(bpvet-columns.toml beside the records, if left out)",
    ),
    argument(
        "--dates",
        choices=("ymd", "dmy", "mdy"),
        help="order of dates that are not YYYY-MM-DD: dmy has the day first, mdy the month",
    ),
    argument(
        "--unit",
        type=pressure_unit,
        metavar="{mmHg,kPa}",
        help="the unit of all pressures (mmHg); kPa is converted to mmHg",
    ),
    argument(
        "--encoding",
        metavar="NAME",
        help="encoding of files that are not UTF-8, such as cp1252",
    ),
    argument(
        "--query",
        metavar="SELECT",
        help="one SELECT that gives the readings, for a database",
    ),
)
#: PATH, and how it is to be read.
PATH = (
    argument(
        "path",
        metavar="PATH",
        help="a folder of records, one file, a database's URL, or - for piped input",
    ),
    READING,
)
_WHOSE_HELP = "its id, or its name if only one animal has it"
ANIMAL = argument("--animal", required=True, metavar="A", help=_WHOSE_HELP)
#: For a command that has an answer without an animal too.
OPTIONAL_ANIMAL = argument("--animal", metavar="A", help=_WHOSE_HELP)
RULE = argument(
    "--rule",
    choices=RULES,
    default="guideline",
    help="guideline leaves out the first of four or more readings; all keeps every one",
)
GUIDELINE = argument(
    "--guideline",
    default="acvim2018",
    metavar="G",
    help="acvim2018 (default), iris2023 or isfm2017",
)
EDITION = argument(
    "--edition",
    choices=KIDNEY_EDITIONS,
    default=KIDNEY_EDITIONS[0],
    help="whose bounds kidney values are laid beside: iris2019 (default), or iris2017 to read "
    "letters of 2017 and before",
)
LEVEL = argument(
    "--level",
    type=probability_level,
    default=0.95,
    metavar="P",
    help="probability of the intervals (0.95)",
)
PRIORS = argument(
    "--priors",
    metavar="FILE",
    help="a clinic's own priors, as saved; otherwise the defaults",
)
#: What the answers about one series of an animal hang on.
JUDGED_BY = (RULE, GUIDELINE, EDITION, LEVEL, PRIORS)
SURE = argument("--sure", action="store_true", help="add it although the check asks about it")
#: ``--plain``, and ``--for-excel``, which is taken for one more release.
PLAIN = (
    argument(
        "--plain",
        action="store_true",
        help="CSV for programs: no apostrophe before text that a spreadsheet would take for a "
        "formula",
    ),
    argument("--for-excel", action="store_true", help=argparse.SUPPRESS),
)
PDF = (
    argument(
        "--pdf", action="store_true", help="the page as a PDF too (needs the extra bpvet[pdf])"
    ),
    argument("--paper", choices=PAPERS, help="for the PDF; default: a4"),
)
WAYS_OUT = option_group(
    "what is printed",
    argument("--json", action="store_true", help="print one JSON value and nothing else"),
    argument("--quiet", action="store_true", help="print only results and errors"),
)
