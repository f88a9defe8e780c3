"""The command line: parse, run one short function, exit status.

A command is a module of this folder, named in `COMMANDS` with its line in the list of commands,
that has

- ``ABOUT``, a paragraph and an example for its own help;
- ``ARGUMENTS``, what it takes, as `bpvet.command.shared.options` declares arguments, and where
  argparse would make a long line of them ``USAGE``;
- ``run(arguments)``, which prints, returns the exit status where it may be another than 0, and
  raises a `bpvet.errors.BpvetError` for what it cannot do.

Only the module of the command that is called is loaded, and only its parser made. A module here
imports at its top what its help needs and everything else where it runs; ``typing`` and what
errors are told with are loaded when they are needed (`reference_checks/speed/startup.py`).
"""

from __future__ import annotations

import gc
import os
import sys

from bpvet import __version__
from bpvet.errors import BpvetError, RecordsError
from bpvet.places import keep_font_cache

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence
    from typing import Any, Protocol

    from bpvet.command.shared.options import Argument, Parser

    class Command(Protocol):
        """What a command's module has."""

        ABOUT: str
        ARGUMENTS: tuple[Argument, ...]

        def run(self, arguments: argparse.Namespace) -> int | None:
            """Do it, print, and return the exit status; None for 0."""


#: Every command with its line in the list of commands.
COMMANDS = {
    "average": (
        "one session, in the exam room: mean, spread, whether to go on, a line for the chart"
    ),
    "add": "adds a reading, treatment, sign, laboratory value or contact to a record folder",
    "check": "reads the records and reports what was understood and what was found",
    "sessions": "one row per session",
    "due": "which animals to see next, why, and by when",
    "sheet": "one page to take into the room: how it was measured last time, boxes to write in",
    "owner": "one page in plain words for the owner, and a home diary",
    "trend": "one animal's usual pressure through time, in words and numbers",
    "figure": "one animal's figure, or a letter that is complete on its own, for a colleague",
    "report": "one animal's report: a page to read and print, and the notebook behind it",
    "cohort": (
        "a clinic's animals together: trend over months, treatment, method; a page and a notebook"
    ),
    "agreement": (
        "the two methods against each other: bias, limits of agreement; a page and a notebook"
    ),
    "audit": "the quality of measuring: protocol kept, scatter, end digits; a page and a notebook",
    "priors": "learn a clinic's own priors from 30 animals or more",
    "plan": "how many visits and readings answer a question",
    "fhir": "the records as a FHIR bundle, for other programs",
    "example": "writes invented example records",
    "completion": "completion of commands and options for bash, zsh or fish",
}

DONE, STOPPED, WRONG_CALL, BROKEN, INTERRUPTED = 0, 1, 2, 3, 130

ABOUT = """\
Blood pressure of cats and dogs over months: what the visits say, with its uncertainty.
"""
_VERSION = f"bpvet {__version__}"
EPILOG = """\
to begin with:
  bpvet example records
  bpvet report records --animal Pilchard --as-of 2026-11-01 -o pilchard

"bpvet COMMAND --help" says more. Exit status: 0 done; 1 the records have findings
that stop the work; 2 the call is wrong; 3 an error inside of bpvet.
"""
#: Modules whose package bears another name.
_INSTALLED_AS = {
    "python_calamine": "python-calamine",
    "zmq": "pyzmq",
    "dateutil": "python-dateutil",
}
#: Findings that an error message shows before it counts the rest.
_SHOWN = 10


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status.

    Parameters
    ----------
    argv : sequence of str, optional
        What follows the program's name; that of this process by default.
    """
    import io

    # A terminal that lacks a letter shows a question mark in its place.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    keep_font_cache()
    if argv is None:
        return _exit_status(sys.argv[1:])
    frozen = gc.get_freeze_count()
    try:
        return _exit_status(list(argv))
    finally:
        # The process is another program's, which looks for its garbage as before.
        if not frozen:
            gc.unfreeze()


def _exit_status(given: list[str]) -> int:
    """Run a command and return its exit status, whatever happens."""
    try:
        status = _status(given)
        # A process without an output has none to flush.
        if sys.stdout is not None:
            sys.stdout.flush()
        return status
    except BrokenPipeError:
        # The reader has had enough, as "head" does; nothing is left to say to it.
        _close_quietly()
        return DONE
    except KeyboardInterrupt:
        print("bpvet: stopped.", file=sys.stderr)
        return INTERRUPTED
    except (OSError, MemoryError) as error:
        from bpvet.printing import escaped

        reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
        print(f"bpvet: {escaped(reason.rstrip('.'))}.", file=sys.stderr)
        _close_quietly()
        return STOPPED
    # The last resort: one sentence, and a file without patients' data, in place of a traceback.
    except Exception as error:
        message, status = _unforeseen(given, error)
        print(message, file=sys.stderr)
        return status


def parser(full: bool = True) -> Parser:
    """Return the parser of the whole command line.

    Parameters
    ----------
    full : bool
        Whether it knows the arguments of each command, which loads all their modules; otherwise
        it knows their names and lines, and does for a call that names none.
    """
    from types import SimpleNamespace

    from bpvet.command.shared.options import Parser

    # A command's line asks for no parser of its own.
    kind: Any = Parser if full else SimpleNamespace
    whole = Parser(prog="bpvet", description=ABOUT, epilog=EPILOG)
    whole.add_argument("--version", action="version", version=_VERSION)
    commands = whole.add_subparsers(
        dest="command", metavar="COMMAND", title="commands", prog=whole.prog, parser_class=kind
    )
    for name, summary in COMMANDS.items():
        made = commands.add_parser(name, help=summary)
        if full:
            _declare(made, _command(name))
    return whole


def _declare(made: argparse.ArgumentParser, command: Command) -> None:
    """Tell a command's parser what its help says and what it takes."""
    made.description, _, example = command.ABOUT.partition("\n\n")
    made.epilog = example or None
    made.usage = getattr(command, "USAGE", None)
    for add in command.ARGUMENTS:
        add(made)


def _parsed(given: list[str]) -> tuple[argparse.Namespace, list[str]]:
    """Return the arguments, and what was not understood among them."""
    if given and given[0] in COMMANDS:
        from argparse import Namespace

        from bpvet.command.shared.options import Parser

        name = given[0]
        # The parser of one command, as it is within that of the whole command line.
        made = Parser(prog=f"bpvet {name}")
        _declare(made, _command(name))
        return made.parse_known_args(given[1:], Namespace(command=name))
    # A command that does not come first is behind something that is no option of the program.
    return parser(full=not COMMANDS.keys().isdisjoint(given)).parse_known_args(given)


def _status(given: list[str]) -> int:
    if given == ["--version"]:
        print(_VERSION)
        return DONE
    from bpvet.command.shared.loading import loading

    try:
        with loading():
            arguments, others = _parsed(given)
    except SystemExit as ended:
        return int(ended.code or 0)
    name = arguments.command
    if others:
        # argparse would blame the whole program for what one command does not take.
        from bpvet.printing import escaped
        from bpvet.wording.en.command.failures import NOT_UNDERSTOOD

        who = f"bpvet {name}" if name else "bpvet"
        words = escaped(" ".join(others))
        print(NOT_UNDERSTOOD.format(who=who, words=words), file=sys.stderr)
        return WRONG_CALL
    if name is None:
        parser(full=False).print_help(sys.stderr)
        return WRONG_CALL
    try:
        return _command(name).run(arguments) or DONE
    except BpvetError as error:
        print(_shown(_message(name, error), given), file=sys.stderr)
        # Whichever file was the one too many, the call itself was not wrong.
        return STOPPED if _no_handle_left(error) else error.exit_status


def _command(name: str) -> Command:
    from importlib import import_module

    return import_module(f"bpvet.command.{name}")


def _message(command: str, error: BpvetError) -> str:
    """Return an error as it is shown: findings that stop the work one by one, a few of many."""
    findings = error.findings if isinstance(error, RecordsError) else ()
    if not findings:
        return f"bpvet {command}: {error}"
    from bpvet.wording.en.command.failures import MORE_TO_FIX, TO_BE_FIXED

    lines = [TO_BE_FIXED.format(command=command)]
    lines += [f"  {finding}" for finding in findings[:_SHOWN]]
    if len(findings) > _SHOWN:
        lines.append(MORE_TO_FIX.format(count=len(findings) - _SHOWN))
    return "\n".join(lines)


def _shown(message: str, given: Sequence[str]) -> str:
    """Return a message that makes no terminal do anything, the lines of an argument in one."""
    from bpvet.command.shared.output import HARMLESS
    from bpvet.printing import escaped

    for text in given:
        if not text.isprintable():
            message = message.replace(text, escaped(text))
    return escaped(message, kept=HARMLESS)


def _unforeseen(given: Sequence[str], error: Exception) -> tuple[str, int]:
    """Return what is said of an error that nobody foresaw, one sentence, and the exit status."""
    from bpvet.wording.en.command import failures

    command = given[0] if given and given[0] in COMMANDS else ""
    who = f"bpvet {command}".rstrip()
    if isinstance(error, ImportError) and (package := _package(error)):
        gone = isinstance(error, ModuleNotFoundError)
        words = failures.NOT_INSTALLED if gone else failures.NOT_LOADED
        return words.format(who=who, package=package), BROKEN
    if _no_handle_left(error):
        return f"{who}: {failures.MANY_OPEN}", STOPPED
    from bpvet.command.shared.diagnostic import keep_diagnostic
    from bpvet.printing import escaped

    path = keep_diagnostic(error, command)
    written = failures.NOTHING_WRITTEN
    if path is not None:
        written = failures.WRITTEN_IN.format(file=escaped(str(path)))
    kind = type(error).__name__
    return failures.BROKEN.format(who=who, kind=kind, written=written), BROKEN


def _package(error: ImportError) -> str:
    """Return what has to be installed for a missing module; blank for a module of ours."""
    module = (error.name or "").partition(".")[0]
    return "" if module in ("", "bpvet") else _INSTALLED_AS.get(module, module)


def _no_handle_left(error: BaseException) -> bool:
    """Whether this process may open no more files: libraries put that into many words."""
    import errno

    from bpvet.command.shared.output import handles_left

    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, OSError) and cause.errno in (errno.EMFILE, errno.ENFILE):
            return True
        cause = cause.__cause__ or cause.__context__
    return not handles_left(1)


def _close_quietly() -> None:
    """Point the output to nowhere, so that nothing is said about it when Python ends."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    except (AttributeError, OSError, ValueError):
        return


if __name__ == "__main__":
    sys.exit(main())
