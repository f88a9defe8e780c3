"""The parsers alone, many inputs a second, beside answers of the standard library.

    python reference_checks/fuzzing/parsers.py                  a small run, from a fixed seed
    python reference_checks/fuzzing/parsers.py --runs 200000    led by coverage, where Atheris is

Text to rows is held against `csv` (for tables that `csv` wrote), numbers against `decimal`, dates
against `datetime`, lines for the chart against what was written into them; and whatever the text,
each parser ends, keeps as many cells as it was given, and never calls one cell both good and bad.
"""

from __future__ import annotations

import argparse
import csv
import datetime
import io
import random
import re
import sys
import time
from collections import Counter
from decimal import Decimal
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
import pyarrow as pa

from reference_checks.fuzzing.cells import DATES, HOSTILE, NUMBERS
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.watch import Broken

SMALL, LONGEST, SEED = 2000, 600, 20261128
_TEXT = pa.large_string()
_PLAIN = re.compile(r"[+-]?[0-9]{1,15}(?:[.,][0-9]{1,40})?")
_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_BY_ORDER = {
    "dmy": re.compile(r"(?P<d>[0-9]{1,2})([./\- ])(?P<m>[0-9]{1,2})\2(?P<y>[0-9]{4})"),
    "mdy": re.compile(r"(?P<m>[0-9]{1,2})([./\- ])(?P<d>[0-9]{1,2})\2(?P<y>[0-9]{4})"),
    "ymd": re.compile(r"(?P<y>[0-9]{4})([./ ])(?P<m>[0-9]{1,2})\2(?P<d>[0-9]{1,2})"),
}


def try_bytes(data: bytes) -> str:
    """Try one parser on what the bytes stand for, and return which that was.

    Raises
    ------
    Broken
        It gave another answer, or raised.
    """
    draws = Draws(data)
    trial = draws.one((_rows, _rows, _bytes, _numbers, _dates, _lines))
    try:
        trial(draws)
    except Broken:
        raise
    except Exception as error:
        raise Broken(f"{trial.__name__} raised {type(error).__name__}: {error}") from error
    return trial.__name__.strip("_")


def _rows(draws: Draws) -> None:
    """Cells that `csv` wrote come back as they were."""
    from bpvet.records.findings import Finding
    from bpvet.records.formats.separated import read_sheet

    heads = ["animal", "taken_at", "method", "systolic", "note"][: 2 + draws.below(4)]
    mark = draws.one((",", ";", "\t", "|"))
    # A first cell that is filled keeps the row from being blank, a comment or a total.
    written = [[f"A{i}", *(_cell(draws) for _ in heads[1:])] for i in range(1 + draws.below(5))]
    held = io.StringIO()
    ending = draws.one(("\n", "\r\n"))
    writer = csv.writer(held, delimiter=mark, lineterminator=ending, quoting=csv.QUOTE_ALL)
    writer.writerows([heads, *written])
    encoding = draws.one(("utf-8", "utf-8-sig", "utf-16"))
    findings: list[Finding] = []
    sheet = read_sheet("r.csv", "readings", held.getvalue().encode(encoding), findings, {})
    if sheet is None:
        raise Broken(f"a table was refused: {findings}")
    found = [list(row) for row in zip(*(c.to_pylist() for c in sheet.columns), strict=True)]
    if list(sheet.header) != heads or found != written or sheet.broken:
        raise Broken(f"{found} of {written}, headed {sheet.header}, broken {sheet.broken}")


def _bytes(draws: Draws) -> None:
    """Whatever the bytes, there is a sheet whose columns are alike in length, or a reason."""
    from bpvet.records.findings import Finding
    from bpvet.records.formats.separated import read_sheet

    start = b"animal,taken_at,method,systolic\n" if draws.once_in(2) else b""
    encoding = draws.one((None, None, "cp1252", "utf-16"))
    findings: list[Finding] = []
    sheet = read_sheet("r.csv", "readings", start + draws.raw(LONGEST), findings, {}, encoding)
    if sheet is None:
        if not any(finding.stops for finding in findings):
            raise Broken("it was refused without a reason")
        return
    if {len(column) for column in sheet.columns} != {len(sheet.lines)}:
        raise Broken("columns of different lengths")
    if (np.diff(sheet.lines) < 0).any():
        raise Broken(f"lines out of order: {sheet.lines}")


def _numbers(draws: Draws) -> None:
    from bpvet.records.parsing.numbers import numbers

    texts = _texts(draws, NUMBERS)
    read = numbers(pa.array(texts, _TEXT), bounds=draws.once_in(2))
    for text, value, bound, bad in zip(texts, read.value, read.bound, read.bad, strict=True):
        plain = _PLAIN.fullmatch(text) is not None
        if plain and (bad or bound or value != float(Decimal(text.replace(",", ".")))):
            raise Broken(f"{text!r} was read as {value}")
        if bad and (bound or not np.isnan(value)):
            raise Broken(f"{text!r} is bad, and {value}")
        if not text and (bad or bound or not np.isnan(value)):
            raise Broken("a blank cell is something")
        if not plain and not bad and not bound and not np.isnan(value):
            raise Broken(f"{text!r} was taken for {value}")


def _dates(draws: Draws) -> None:
    from bpvet.records.parsing.dates import moments

    texts, order = _texts(draws, DATES), draws.one(("", "ymd", "dmy", "mdy"))
    times = draws.once_in(2)
    read = moments(pa.array(texts, _TEXT), times, order)
    for i, text in enumerate(texts):
        none = bool(np.isnat(read.date[i]))
        if none != bool(read.bad[i] or not text) or none != bool(np.isnat(read.moment[i])):
            raise Broken(f"{text!r} is {read.date[i]}, {read.moment[i]} and bad {read.bad[i]}")
        expected = _day(text, order)
        if expected is not False and str(read.date[i]) != str(expected or "NaT"):
            raise Broken(f"{text!r}, {order or 'no order'}: {read.date[i]}, not {expected}")


def _day(text: str, order: str) -> datetime.date | bool | None:
    """Return the day that a text names, None if it names none, False if it is of another kind."""
    found = _ISO.fullmatch(text)
    numbers = found.groups() if found else None
    if numbers is None and order:
        stated = _BY_ORDER[order].fullmatch(text)
        numbers = stated.group("y", "m", "d") if stated else None
    if numbers is None:
        return False
    try:
        day = datetime.date(*(int(number) for number in numbers))
    except ValueError:
        return None
    return day if 1677 < day.year < 2262 else None


def _lines(draws: Draws) -> None:
    """A line for the chart gives its readings; one letter more or less, and it is none."""
    from bpvet.records.formats.chart_lines import read_chart_lines

    readings = [str(60 + draws.below(240)) for _ in range(1 + draws.below(6))]
    reason = _cell(draws).replace("\x1e", "").replace("\n", " ").replace("\r", " ")
    excluded = ' excluded "' + reason.replace('"', '""') + '"' if draws.once_in(3) else ""
    line = (
        f"2026-03-01T10:15 Systolic 150 mmHg (Doppler, mean of 1 of {len(readings)} "
        f"reading{'s' if len(readings) > 1 else ''}; {', '.join(readings)}{excluded})"
    )
    cut = draws.below(len(line))
    odd = line[:cut] + draws.one(("", "x", '"', ")")) + line[cut + 1 :]
    read = read_chart_lines(pa.array([line, odd, ""], _TEXT))
    found = read.columns["systolic"].take(pa.array(np.flatnonzero(read.row == 0))).to_pylist()
    if not read.readable[0] or found != readings:
        raise Broken(f"{line!r} gave {found}")
    if read.readable[2] or set(read.row) != {0, 1, 2}:
        raise Broken(f"a cell was lost: {read.row}")


def _cell(draws: Draws) -> str:
    if draws.once_in(3):
        return draws.one(HOSTILE).replace("\x00", "")
    # What no text file in a known encoding tells from a mark of its own is left out.
    return draws.text(12).replace("\x00", "").replace("\r", "\n").replace("\ufeff", "")


def _texts(draws: Draws, usual: tuple[str, ...]) -> list[str]:
    """Return cells as columns hold them, without white space around them."""
    many = [
        draws.one(usual) if draws.once_in(3) else _changed(draws, draws.one(usual))
        for _ in range(1 + draws.below(5))
    ]
    return [text.strip() for text in many]


def _changed(draws: Draws, text: str) -> str:
    """Return a text with a few letters put in, taken out or changed."""
    for _ in range(1 + draws.below(3)):
        place = draws.below(len(text) + 1)
        letter = draws.one("0123456789.,-/: TZ+<>aopm") if draws.once_in(2) else draws.text(1)
        text = text[:place] + letter + text[place + draws.below(2) :]
    return text


def main() -> int:
    """Run what was asked for and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--runs", type=int, default=SMALL)
    asked.add_argument("--seed", type=int, default=SEED)
    given = asked.parse_args()
    if given.runs > SMALL:
        try:
            import atheris
        except ImportError:
            print("Atheris is not installed: inputs come from the seed alone.")
        else:
            with atheris.instrument_imports(include=["bpvet.records"]):
                for module in ("chart_lines", "dates", "numbers", "separated"):
                    import_module(f"bpvet.records.{module}")
            call = [sys.argv[0], f"-runs={given.runs}", f"-seed={given.seed}"]
            limits = [f"-max_len={LONGEST}", "-len_control=0", "-timeout=10", "-rss_limit_mb=2048"]
            atheris.Setup([*call, *limits], lambda data: try_bytes(data) and None)
            atheris.Fuzz()
    chance, tried, started = random.Random(given.seed), Counter[str](), time.monotonic()
    for _ in range(given.runs):
        data = chance.randbytes(chance.randrange(8, LONGEST))
        try:
            tried[try_bytes(data)] += 1
        except Broken as broken:
            print(f"BROKEN: {broken}\n  by {data.hex()}")
            return 1
    each = ", ".join(f"{name} {many}" for name, many in tried.most_common())
    print(f"{given.runs} inputs in {time.monotonic() - started:.0f} s, none broken ({each})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
