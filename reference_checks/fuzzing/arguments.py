"""Generated calls: any command with any options, odd values and odd paths, in any order."""

from __future__ import annotations

import argparse
from functools import cache
from pathlib import Path

from bpvet.command.main import COMMANDS, parser
from reference_checks.fuzzing.cells import HOSTILE, IDS, NUMBERS
from reference_checks.fuzzing.draws import Draws

#: Words that no option asks for.
_ODD = (
    *("", " ", "-", "--", "-o", "--force", "--nonsense", "-x", "--=", "--json=yes", "@x", "*", "~"),
    *("\x1b[2J", "a\nb", "a\rb", "\ud800", "\u202eb", "é" * 300, "x" * 5000, "0", "-1", "1e400"),
    *(
        "nan",
        "inf",
        "2025-01-01",
        "9999-12-31",
        "0000-00-00",
        "a=b",
        "a=b,c=d",
        "=",
        ",",
        "k=",
        "1",
    ),
)
#: Paths that are none of a table, or of nobody.
_PATHS = (
    *("", ".", "-", "none", "none/none", "/dev/null", "a\x1bb", "a\nb", "x" * 300, "x/" * 200),
    *("sqlite:///none.db", "sqlite://", "postgresql://u:p@/x", "nonsense://x", "file:///x", "\x00"),
    *("con", "readings.csv/", "http://127.0.0.1:1/"),
)
#: Options whose value is where something is written.
_OUTPUTS = frozenset(("--output", "--save", "-o"))
#: Commands that would start a notebook where their call is right: they are given no records.
_NOTEBOOKS = frozenset(("report", "cohort"))


@cache
def _commands() -> dict[str, argparse.ArgumentParser]:
    for action in parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    return {}


def generated_call(draws: Draws, path: str, own: Path) -> list[str]:
    """Return a call that may be right, wrong, or neither.

    Parameters
    ----------
    draws : Draws
    path : str
        Of records that are there.
    own : Path
        Folder into which outputs may go.
    """
    if draws.odd(20):
        return [draws.one((*COMMANDS, *_ODD)) for _ in range(draws.below(4))]
    name = draws.one(tuple(COMMANDS))
    words: list[list[str]] = []
    if name == "plan":
        words += [[path]] if draws.once_in(2) else []
    elif name == "average" and draws.below(4):
        words.append([str(60 + draws.below(200)) for _ in range(1 + draws.below(8))])
    elif name == "add":
        # What it adds to is not the records that nothing may change.
        words.append([str(own)])
    elif name not in ("average", "completion", "example"):
        given = draws.one((path, path, path, draws.one(_PATHS)))
        words.append([draws.one(_PATHS[:4]) if name in _NOTEBOOKS else given])
    else:
        words.append([draws.one((*NUMBERS, *_ODD)) for _ in range(1 + draws.below(3))])
        if name == "example":
            words = [[str(own / draws.one(("e", "e\x1b", "é/f", "x" * 250)))]]
    options = [
        action
        for action in _commands()[name]._actions
        if action.option_strings and not isinstance(action, argparse._HelpAction)
    ]
    notebook = name in ("agreement", "audit")
    for action in options:
        output = bool(_OUTPUTS & set(action.option_strings))
        if (notebook and output) or not (action.required or draws.once_in(5)):
            continue
        if action.required and draws.odd(10):
            continue
        words.append(_option(draws, action, own if output else None))
    if draws.odd(5):
        words.append([draws.one(_ODD)])
    if draws.odd(8):
        words.reverse()
    return [name, *(word for part in words for word in part)]


#: Values that fit an option, by what stands for them in its help.
_FITTING = {
    "A": IDS[:3],
    "ID": IDS,
    "DATE": ("2025-06-01", "2026-01-01", "2024-02-29", "0001-01-01", "9999-12-31"),
    "WHEN": ("2025-06-01", "2025-06-01T10:15", "2025-06-01 10:15:59", "0001-01-01T00:00"),
    "LIST": ("methods", "conditions", "methods,conditions", "BP=systolic", "Vet=operator"),
    "G": ("acvim2018", "iris2023", "isfm2017"),
    "P": ("0.9", "0.5", "0.999999", "0.0001", "1e-300", "0.99999999999999999"),
    "W": ("column", "letter", "page", "80", "1000", "123.456"),
    "X": ("1", "10", "0.001", "1e-300", "1e300", "-10"),
    **dict.fromkeys(("M", "K", "DAYS", "B", "N"), ("1", "2", "5", "20", "100", "365")),
    "CM": ("3", "2.5", "0", "500", "1e-300", "-0"),
    "D": ("amlodipine", "telmisartan", "benazepril"),
    "NAME": ("cp1252", "utf-8", "utf-16", "latin-1", "utf-7", "idna", "rot13", "zlib"),
    "TEXT": ("tail", "=1+1", "a\x1bb", "left"),
    "N=WHY": ("1=moved", "2=", "=", "9=x", "1=\x1b"),
    "{mmHg,kPa}": ("mmHg", "kPa", "KPA"),
    "SELECT": (
        "select * from readings",
        "select 1",
        "select * from readings; drop table x",
        "with",
    ),
}


def _option(draws: Draws, action: argparse.Action, own: Path | None) -> list[str]:
    """Return an option with a value that it may take, or may not."""
    name = draws.one(tuple(action.option_strings))
    if action.nargs == 0:
        return [name]
    if own is not None:
        value = str(own / draws.one(("o.csv", "o.svg", "o.xlsx", "o.parquet", "o.toml", *_NAMES)))
    elif action.choices and not draws.odd(4):
        value = str(draws.one(tuple(action.choices)))
    elif action.metavar in _FITTING and draws.below(4):
        value = draws.one(_FITTING[str(action.metavar)])
    else:
        value = draws.one((*_ODD, *IDS, *HOSTILE, "0.9", "3", "mmHg", "amlodipine", "2025-06-01"))
    return [f"{name}={value}"] if name.startswith("--") and draws.once_in(2) else [name, value]


_NAMES = ("o.json", "o.jsonl", "o.html", "o", "o\x1b.csv", "none/o.csv", "o.csv/o.csv", "é.csv")
