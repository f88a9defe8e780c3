"""In a language that nobody speaks (`pseudo`): nothing is decided by English, little is stray.

What no module of `bpvet/wording/en` words is listed in `stray.tsv`, an output and a piece of text
a line. The list may only grow shorter: ``python -m tests.wording.test_pseudo`` takes out of it
what is worded by now, and puts nothing in.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

import bpvet
from bpvet.facts.sources import facts
from bpvet.facts.words import Fate
from bpvet.records.example import write_example
from bpvet.visits.choice import Flag
from tests.wording.pseudo import LINES, accented, plain

HERE = Path(__file__).parent
STRAY = HERE / "stray.tsv"
SCENARIO = HERE.parent / "scenarios" / "four_times_severe"
FACTS = Path(bpvet.__file__).parent / "facts"
#: Words beside each other, none of them accented; a word has two letters at least.
_RUN = re.compile(r"[A-Za-z’'][A-Za-z’'-]*(?:,? [A-Za-z’'-]*[A-Za-z’'])*")
#: Dates are written below the wording; file names and commands are no prose.
_MONTHS = "January February March April May June July August September October November December"
_NO_WORDS = re.compile(
    rf"\b(?:{'|'.join(f'{one[:3]}(?:{one[3:]})?' for one in _MONTHS.split())})\b"
    r"|\bUTF-8\b|\bYYYY-MM-DD\b"
    r"|\b[\w./-]+\.(?:svg|html|ipynb|csv|json|ics|txt)\b"
    r"|\bhttps?://\S+|\bdoi\b|\b(?=[a-f]*\d)[0-9a-f]{8,}\b"
    r"|\bbpvet(?: [a-z]+)?\b|--[a-z-]+|\b(?:mmHg|kPa|mmol/L|µmol/L|mg/dL|µg/dL|kg|SDs?|mg|min)\b"
)
#: Rows of a file as they stand there; and a file's name with a line and a column, or a table's with
#: the number of its rows: names of the contract, whatever the language.
_RECORDED = re.compile(r"^ +\| .*$", re.MULTILINE)
_PLACES = re.compile(r"(?<=\d, )[a-z_]+$|\b[a-z]+(?= \(\d+ ŕóẃ)", re.MULTILINE)
#: A line for the chart is read back by programs: a form, and no prose.
_CHART = re.compile(r"\bSystolic [^(|]*\([^)|]*;[^)|]*\)")
#: A model's formula, whose names its terms have.
_FORMULA = re.compile(r"~ ([a-z_]+(?: [*+] [a-z_]+)*)")
#: What the records say stands in quotation marks.
_CITED = re.compile(r"“[^”|]*”|\"[^\"|]*\"")
#: Facts that are names, and what cites them.
_NAMES = ("drugs", "analytes", "species", "breeds", "guidelines", "sources", "iris")


def texts(*flags: str) -> dict[str, str]:
    """What `pseudo.LINES` write in a folder of their own, in a process of their own."""
    with TemporaryDirectory() as folder:
        write_example(Path(folder) / "example")
        shutil.copytree(SCENARIO, Path(folder) / "severe")
        command = [sys.executable, "-m", "tests.wording.pseudo", folder, *flags]
        here = HERE.parents[1]
        done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=here)
        found: dict[str, str] = json.loads(done.stdout)
        return found


@cache
def both() -> tuple[dict[str, str], dict[str, str]]:
    """The outputs in English, and in accents."""
    with ThreadPoolExecutor(2) as pool:
        english, other = pool.map(lambda flags: texts(*flags), ((), ("--accented",)))
    return english, other


@cache
def values() -> re.Pattern[str]:
    """All that the records hold, and the names that facts hold: no word of ours."""
    held: set[str] = set()
    with TemporaryDirectory() as folder:
        write_example(Path(folder))
        for path in (*Path(folder).glob("*.csv"), *SCENARIO.glob("*.csv")):
            with path.open(encoding="utf-8-sig", newline="") as lines:
                held |= {cell.strip() for row in list(csv.reader(lines))[1:] for cell in row}
    for name in _NAMES:
        held |= set(_strings(tomllib.loads((FACTS / f"{name}.toml").read_text("utf-8"))))
    # Places in a source are citations, like its name.
    held |= {one.locator for one in facts()}
    # Words of the contract are stored as they are printed; and folders are names.
    held |= {*Flag, *Fate, "example", "severe", "made"}
    from bpvet.facts import words

    held |= set(_strings({key: value for key, value in vars(words).items() if key.isupper()}))
    held |= {one[:1].upper() + one[1:] for one in held}
    # A name may go on in another line, of a table or of a drawing.
    names = sorted((re.escape(one) for one in held if len(one) > 2), key=len, reverse=True)
    names = [one.replace(r"\ ", r"[ |]+") for one in names]
    return re.compile(rf"(?<!\w)(?:{'|'.join(names)})(?!\w)")


def _strings(held: Any) -> Iterator[str]:
    """Yield the texts in facts."""
    if isinstance(held, str):
        yield held
    elif hasattr(held, "items"):
        for value in held.values():
            yield from _strings(value)
    elif isinstance(held, (list, tuple, set, frozenset)):
        for one in held:
            yield from _strings(one)


def stray(text: str) -> set[str]:
    """Return the pieces of a text that are neither accented nor values."""
    # Lines of a paragraph are one text; cells of a table, and texts of a page, are apart.
    text = _PLACES.sub("|", _RECORDED.sub(" ", text))
    text = re.sub(r"\n\n|(?<=\S) {2,}(?=\S)|\n(?=- )|\n[- ]+(?=\n)", " | ", text)
    left = " ".join(_CITED.sub("|", _CHART.sub("|", text)).split())
    for formula in set(_FORMULA.findall(left)):
        name = rf"(?:{'|'.join(re.findall('[a-z_]+', formula))})(?:\[T\.\w+\])?"
        left = re.sub(rf"(?<=\| )(?:Intercept|{name}(?::{name})?)(?= \|)", "|", left)
        left = left.replace(formula, "|")
    left = values().sub("|", _NO_WORDS.sub("|", left))
    # A word with an accented letter ends a piece.
    pieces = _RUN.findall(re.sub(r"\w*[^\W\d_a-zA-Z]\w*", "|", left))
    return {one for one in (piece.strip(" ,'’-") for piece in pieces) if len(one) > 2}


def _listed() -> set[tuple[str, str]]:
    lines = STRAY.read_text("utf-8").splitlines()
    return {(name, piece) for name, _, piece in (line.partition("\t") for line in lines)}


def _found() -> set[tuple[str, str]]:
    said = {name: text.partition("\n")[2] for name, text in both()[1].items()}
    return {(name, piece) for name, text in said.items() for piece in stray(text)}


@pytest.mark.parametrize("name", LINES)
def test_nothing_is_decided_by_english(name: str) -> None:
    """But for the accents an output is what it was; lines of figures end elsewhere."""
    english, other = (outputs[name].split() for outputs in both())
    assert english[:2] == ["status", "0"]
    assert [plain(word) for word in other] == english
    assert other != english


def _known(name: str, piece: str, listed: set[tuple[str, str]]) -> bool:
    """Whether a piece is listed, or what is left of one of which a part is worded by now."""
    return any(output == name and piece in text for output, text in listed)


def test_no_sentence_is_made_elsewhere() -> None:
    listed = _listed()
    assert {one for one in _found() if not _known(*one, listed)} == set(), "see wording/en"


def test_what_is_worded_leaves_the_list() -> None:
    assert _listed() - _found() == set(), "python -m tests.wording.test_pseudo"


def test_a_stray_sentence_is_found() -> None:
    text = accented("The usual pressure of {name} is known.").format(name="amlodipine")
    assert "amlodipine" in text
    assert stray(text) == set()
    assert stray(f"{text} Nobody worded this.") == {"Nobody worded this"}
    assert plain(text) == "The usual pressure of amlodipine is known."


if __name__ == "__main__":
    found = _found()
    listed = _listed()
    kept = {one for one in found if _known(*one, listed)}
    STRAY.write_text("".join(f"{name}\t{piece}\n" for name, piece in sorted(kept)), "utf-8")
