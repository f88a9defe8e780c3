"""One trial: an input and a call drawn from bytes, run under watch, and what it said judged."""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpvet
from reference_checks.fuzzing.acting import acting
from reference_checks.fuzzing.cells import DRUGS, HOSTILE, IDS, NUMBERS
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.inputs import write_input
from reference_checks.fuzzing.watch import Broken, Said, Watch

AS_OF = "2025-12-31"
#: First letters that a spreadsheet takes for a formula.
FORMULA = ("=", "+", "-", "@")
#: What becomes of a reading.
PARTS = ("used", "left_out", "excluded", "set_aside")


class Trials:
    """Trials in one process, each in a folder of its own that is gone afterwards.

    Parameters
    ----------
    watch : Watch
    """

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self.run = 0

    def try_bytes(self, data: bytes) -> None:
        """Run the trial that these bytes stand for.

        Raises
        ------
        Broken
            The call did what it may not; the bytes make it happen again.
        """
        self.run += 1
        draws = Draws(data)
        with tempfile.TemporaryDirectory(prefix="trial-") as spare:
            records, own = Path(spare) / "in", Path(spare) / "out"
            records.mkdir()
            own.mkdir()
            # The call first: the bytes may be spent before the input is whole.
            call = draws.one(CALLS)
            place = write_input(draws, records)
            call(draws, self._watch, place, records, own)
            if any(
                folder.joinpath("canary").exists() for folder in (Path(spare), records, own, Path())
            ):
                raise Broken("a text of the records was run")
            shutil.rmtree(own)


def _reader(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Read alone, by the library: what is wrong with the input is said, and may be read."""

    def call() -> int:
        try:
            found = bpvet.read(url_or_path(place), as_of=AS_OF)
        except bpvet.BpvetError as refused:
            print(refused)
            return 1
        print(len(found.readings), *found.findings[:3])
        return 0

    watch.watched(call, records, own)


def _check(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    said = watch.run(["check", *_read(draws, place), "--json"], records, own)
    if said.status == 2 or not said.out:
        return
    held = _plain_json(said)
    _adds_up(held)
    stops = any(finding["stops"] for finding in held["findings"])
    if stops != (said.status == 1):
        raise Broken(f"status {said.status} with stopping findings: {stops}")


def _adds_up(held: Any) -> None:
    counted = held.get("readings")
    if counted is not None and counted["in"] != sum(counted[part] for part in PARTS):
        raise Broken(f"readings do not add up: {counted}")


def _check_in_words(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(([], ["--suggest"], ["--all"]))
    said = watch.run(["check", *_read(draws, place), *more], records, own)
    if any(not (c.isprintable() or c in "\n\u200d") for c in said.out + said.err):
        raise Broken("it printed what a terminal would obey")


def _sessions(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / "sessions.csv"
    rule = draws.one(("guideline", "all"))
    call = ["sessions", *_read(draws, place), "--rule", rule, "-o", str(out), "--for-excel"]
    watch.run(call, records, own)
    if out.exists():
        no_formula(out)


def no_formula(table: Path) -> None:
    """Raise `Broken` if a cell of a CSV would be a formula in a spreadsheet."""
    with table.open(newline="", encoding="utf-8") as file:
        for row in csv.reader(file):
            if any(cell.startswith(FORMULA) and not _is_number(cell) for cell in row):
                raise Broken(f"a formula was written: {row}")


def _trend(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(
        (
            [],
            ["--method", "doppler"],
            ["--quantity", "pulse_pressure"],
            ["--bridge", "methods"],
            ["--bridge", "methods,conditions"],
            ["--guideline", "isfm2017"],
            ["--quantity", "creatinine"],
            ["--rule", "all", "--level", "0.8"],
        )
    )
    call = ["trend", *_read(draws, place), "--animal", _animal(draws), "--json"]
    said = watch.run([*call, *more], records, own)
    if said.status == 0:
        _plain_json(said)


def _figure(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / draws.one(("f.svg", "f.png", "f.pdf", "f", "=1.svg"))
    call = ["figure", *_read(draws, place), "--animal", _animal(draws), "-o", str(out)]
    watch.run(call, records, own)
    if out.suffix == ".svg" and out.exists() and b"<script" in out.read_bytes().lower():
        raise Broken("a script is in the figure")


def _average(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    readings = [_typed(draws) for _ in range(1 + draws.below(9))]
    more = draws.one(([], ["--json"], ["--save", str(own / "saved.csv")], ["--animal", "=1+1"]))
    method = draws.one(("doppler", "oscillometric"))
    # What begins with a dash would be an option, and is refused as one.
    watch.run(["average", *readings, "--method", method, *more], records, own)


def _priors(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    watch.run(["priors", *_read(draws, place), "-o", str(own / "p.toml")], records, own)


def _fhir(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Write a bundle, and read what was written: the readings are those that were used before."""
    out = own / "bundle.json"
    more = ["--snomed"] if draws.once_in(4) else []
    said = watch.run(["fhir", *_read(draws, place), "-o", str(out), *more], records, own)
    if said.status or not out.exists():
        return
    back = watch.run(["check", str(out), "--as-of", AS_OF, "--json"], records, own)
    held = _plain_json(back)
    _adds_up(held)


def _piped(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Give a file by the standard input instead of by its name."""
    files = sorted(file for file in records.rglob("*") if file.is_file())
    held = files[0].read_bytes() if files else b""
    before, sys.stdin = sys.stdin, io.TextIOWrapper(io.BytesIO(held), encoding="utf-8")
    try:
        said = watch.run(["check", *_read(draws, Path("-")), "--json"], records, own)
    finally:
        sys.stdin = before
    if said.status != 2 and said.out:
        _adds_up(_plain_json(said))


def _agreement(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(
        ([], ["--linked"], ["--reference", "indirect"], ["--quantity", "mean", "--level", "0.9"])
    )
    said = watch.run(["agreement", *_read(draws, place), "--json", *more], records, own)
    if said.status == 0:
        _plain_json(said)


def _audit(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(([], ["--rule", "all"], ["--level", "0.8"]))
    said = watch.run(["audit", *_read(draws, place), "--json", *more], records, own)
    if said.status == 0:
        _plain_json(said)


def _plan(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(
        (
            ["--visits", _typed(draws), "--readings", str(draws.below(9))],
            ["--drug", draws.one((*DRUGS, *HOSTILE)), "--before", str(draws.below(6))],
            ["--effect", _typed(draws), "--animals", _typed(draws)],
            [*_read(draws, place), "--animal", _animal(draws), "--every", _typed(draws)],
        )
    )
    said = watch.run(["plan", *more, "--json"], records, own)
    if said.status == 0:
        _plain_json(said)


def _letter(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / "letter.html"
    call = ["figure", *_read(draws, place), "--animal", _animal(draws), "--letter", "-o", str(out)]
    watch.run([*call, *(["--labs"] if draws.once_in(2) else [])], records, own)
    for table in own.glob("*.csv"):
        no_formula(table)
    if out.exists():
        found = acting(out.read_text(encoding="utf-8"))
        if found:
            raise Broken(f"on the letter: {found[:5]}")


def _completion(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    watch.run(["completion", draws.one(("bash", "zsh", "fish", *HOSTILE))], records, own)


def _example(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    watch.run(["example", str(own / draws.one(("new", "=1", "é")))], records, own)


Call = Callable[[Draws, Watch, Path, Path, Path], None]
#: Reading is tried most often; what fits a model or draws is slow, and tried less.
CALLS: tuple[Call, ...] = (
    *(_reader,) * 90,
    *(_check,) * 20,
    *(_average, _piped) * 10,
    *(_check_in_words, _sessions) * 3,
    *(_trend, _fhir, _plan) * 2,
    *(_agreement, _audit, _priors, _figure, _letter, _completion, _example),
)


def _typed(draws: Draws) -> str:
    return draws.one((*NUMBERS, *HOSTILE)) if draws.odd(3) else str(90 + draws.below(110))


def _animal(draws: Draws) -> str:
    return draws.one((*IDS, *HOSTILE)) if draws.odd(4) else draws.one(IDS[:2])


def _read(draws: Draws, place: Path) -> list[str]:
    """Return PATH and how it is to be read."""
    path = url_or_path(place)
    options: list[list[str]] = [
        ["--dates", draws.one(("ymd", "dmy", "mdy"))],
        ["--unit", draws.one(("mmHg", "kPa"))],
        ["--encoding", draws.one(("cp1252", "utf-8", "utf-16", "nonsense"))],
        ["--columns", draws.one(("BP=systolic", "a=b=c", "=", draws.text(12)))],
    ]
    taken = draws.one(options) if draws.odd(2) else []
    return [path, "--as-of", AS_OF, *taken]


def url_or_path(place: Path) -> str:
    """Return what names an input to the command line: a database is named by its URL."""
    return f"sqlite:///{place}" if place.suffix == ".db" else str(place)


def _plain_json(said: Said) -> Any:
    def refuse(name: str) -> float:
        raise Broken(f"{name} stands in the JSON")

    held = json.loads(said.out, parse_constant=refuse)
    _no_infinity(held)
    return held


def _no_infinity(held: Any) -> None:
    if isinstance(held, dict):
        held = list(held.values())
    if isinstance(held, list):
        for one in held:
            _no_infinity(one)
    elif isinstance(held, float) and not math.isfinite(held):
        raise Broken("a number of the JSON is infinite")


def _is_number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False
