"""One trial: an input and a call drawn from bytes, run under watch, and what it said judged."""

from __future__ import annotations

import io
import json
import os
import shutil
import sys
import tempfile
import zlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import bpvet
from bpvet.records.formats.files import load
from bpvet.records.headings.conventions import conventions
from bpvet.records.headings.headers import translate
from bpvet.records.read_options import ReadOptions
from bpvet.visits.readings import accounting, judged
from reference_checks.fuzzing.arguments import generated_call
from reference_checks.fuzzing.cells import DRUGS, HOSTILE, IDS, NUMBERS
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.inputs import write_file, write_input
from reference_checks.fuzzing.judging import PARTS, adds_up, no_formula, nothing_acts, plain_json
from reference_checks.fuzzing.state import earlier, others_at_work, read_back
from reference_checks.fuzzing.watch import SECONDS, Broken, Said, Watch

AS_OF = "2025-12-31"
#: Where folders come and go fast, if the machine has such a place.
_MEMORY = Path("/dev/shm")


class Trials:
    """Trials in one process, each in a folder of its own that is gone afterwards.

    Parameters
    ----------
    watch : Watch
    only : str
        Name of the one kind of call to try, such as ``arguments``; all kinds where blank.
    """

    def __init__(self, watch: Watch, only: str = "") -> None:
        self._watch = watch
        self._calls = tuple(one for one in CALLS if only in ("", one.__name__.strip("_")))
        self.tried: Counter[str] = Counter()
        self._place = str(_MEMORY) if os.access(_MEMORY, os.W_OK) else None

    def try_bytes(self, data: bytes) -> None:
        """Run the trial that these bytes stand for, and count it under what was called.

        Raises
        ------
        Broken
            The call did what it may not; the bytes make it happen again.
        """
        draws = Draws(data)
        with tempfile.TemporaryDirectory(prefix="trial-", dir=self._place) as spare:
            records, own = Path(spare) / "in", Path(spare) / "out"
            records.mkdir()
            own.mkdir()
            # By a sum of the bytes, so that a fuzzer that likes the slow calls cannot ask for them.
            call = self._calls[zlib.crc32(data) % len(self._calls)]
            self.tried[call.__name__.strip("_")] += 1
            if call is _cells:
                place = write_file(draws, records)
            else:
                place = write_input(draws, records, BUSY.get(call, 0))
            call(draws, self._watch, place, records, own)
            if any(
                folder.joinpath("canary").exists() for folder in (Path(spare), records, own, Path())
            ):
                raise Broken("a text of the records was run")
            shutil.rmtree(own)


def _cells(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Read one file as far as cells under our headings: every format, heading and layout."""

    def call() -> int:
        settled = conventions(place, ReadOptions())
        loaded = load(place, settled.columns, settled.encoding)
        findings = [*loaded.findings, *settled.check(loaded.sheets)]
        for raw in loaded.sheets:
            translate(raw, settled.of(raw), findings)
        print(*findings[:3])
        return 0

    _in_library(call, watch, records, own)


def _reader(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Read by the library: what is wrong with the input is said, and may be read."""

    def call() -> int:
        found = bpvet.read(url_or_path(place), as_of=AS_OF)
        adds_up(accounting(judged(found, "guideline")[0].frame()))
        print(len(found.readings), *found.findings[:3])
        return 0

    _in_library(call, watch, records, own)


def _cohort(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Fit the cohort as its page does; the page itself is tried among the whole reports."""
    more = draws.one(({}, {"pseudonyms": True}, {"quantity": "mean"}, {"rule": "all"}))

    def call() -> int:
        found = bpvet.read(url_or_path(place), as_of=AS_OF)
        answer = bpvet.cohort_answer(bpvet.clinic_cohort(found, **more), 0.95)
        print(json.dumps(answer.to_dict()))
        return 0

    # Some seventy fits of hostile animals: seconds, and twice as many where code is watched.
    said = _in_library(call, watch, records, own, seconds=30.0)
    if said.status == 0:
        plain_json(said)


def _in_library(
    call: Callable[[], int], watch: Watch, records: Path, own: Path, seconds: float = SECONDS
) -> Said:
    """Run what the library does by itself; what it refuses ends with 1, as a command would."""

    def refusing() -> int:
        try:
            return call()
        except bpvet.BpvetError as refused:
            print(refused)
            return 1

    return watch.watched(refusing, records, own, seconds)


def _check(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    said = watch.run(["check", *_read(draws, place), "--json"], records, own)
    if said.status == 2 or not said.out:
        return
    held = plain_json(said)
    stops = any(finding["stops"] for finding in held["findings"])
    if stops != (said.status == 1):
        raise Broken(f"status {said.status} with stopping findings: {stops}")


def _check_in_words(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(([], ["--suggest"], ["--all"]))
    said = watch.run(["check", *_read(draws, place), *more], records, own)
    if any(not (c.isprintable() or c in "\n\u200d") for c in said.out + said.err):
        raise Broken("it printed what a terminal would obey")


def _sessions(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / f"sessions.{draws.one(('csv', 'csv', 'xlsx', 'jsonl', 'parquet'))}"
    rule = draws.one(("guideline", "all"))
    call = ["sessions", *_read(draws, place), "--rule", rule, "-o", str(out)]
    watch.run(call, records, own)
    for table in own.glob("*.csv"):
        no_formula(table)
    if out.exists() and out.suffix == ".xlsx":
        # Our own look at a workbook's parts finds formulas and errors where there are some.
        kinds = {one.kind for one in load(out).findings}
        if kinds & {"formula without value", "error cell"}:
            raise Broken(f"in the workbook: {kinds}")


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
        plain_json(said)


def _figure(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / draws.one(("f.svg", "f.png", "f.pdf", "f", "=1.svg"))
    call = ["figure", *_read(draws, place), "--animal", _animal(draws), "-o", str(out)]
    watch.run(call, records, own)
    if out.suffix == ".svg" and out.exists() and b"<script" in out.read_bytes().lower():
        raise Broken("a script is in the figure")


def _one_page(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Write a sheet for the room or a page for the owner."""
    out = own / draws.one(("p.html", "p.pdf", "p", "=1.html"))
    more = draws.one(([], ["--json"], ["--paper", "letter"]))
    for name in draws.one((("sheet",), ("owner",))):
        call = [name, *_read(draws, place), "--animal", _animal(draws), "-o", str(out), *more]
        watch.run(call, records, own)
    if out.suffix == ".html" and out.exists():
        nothing_acts(out)


def _average(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    readings = [_typed(draws) for _ in range(1 + draws.below(9))]
    more = draws.one(([], ["--json"], ["--save", str(own / "saved.csv")], ["--animal", "=1+1"]))
    method = draws.one(("doppler", "oscillometric"))
    # What begins with a dash would be an option, and is refused as one.
    watch.run(["average", *readings, "--method", method, *more], records, own)


def _add(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Add hostile texts to a folder of their own, by each kind of entry."""
    (own / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA1,2025-01-01,doppler,150\n"
    )
    text = draws.one((*HOSTILE, "murmur", "amlodipine"))
    what = draws.one(
        (
            [f"--sign={text}", "--on", "2025-02-01"],
            [f"--treatment={text}", "--on", "2025-02-01", f"--purpose={draws.one(HOSTILE)}"],
            [
                "--lab",
                "creatinine",
                f"--value={_typed(draws)}",
                f"--unit={text}",
                "--on=2025-02-01",
            ],
            ["--contact", "booked", "--on", "2025-02-01", f"--note={text}"],
            ["--reading", _typed(draws), "--method", "doppler", "--on", "2025-02-01"],
        )
    )
    more = draws.one(([], ["--sure"], ["--json"]))
    said = watch.run(["add", str(own), "--animal", "A1", *what, *more], records, own)
    if said.status == 0 and not any(own.glob("*-added-*.csv")):
        raise Broken("it said that it added something, and did not")
    for table in own.glob("*-added-*.csv"):
        no_formula(table)


def _priors(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    call = ["priors", *_read(draws, place), "-o", str(own / "p.toml")]
    # A clinic of thirty animals is fitted a hundred times over: half a minute where they are
    # hostile, and four times as long where code is watched.
    watch.run(call, records, own, seconds=180.0)


def _fhir(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Write a bundle, and read what was written: the readings are those that were used before."""
    out, given = own / "bundle.json", _read(draws, place)
    more = ["--snomed"] if draws.once_in(4) else []
    said = watch.run(["fhir", *given, "-o", str(out), *more], records, own)
    if said.status or not out.exists():
        return
    was = plain_json(watch.run(["check", *given, "--json"], records, own))["readings"]
    call = ["check", str(out), "--as-of", AS_OF, "--json"]
    came_back = plain_json(watch.run(call, records, own))["readings"]
    # What was set aside is not written, or not all of it; it is told and may be fewer.
    if any(was[part] != came_back[part] for part in PARTS if part != "set_aside"):
        raise Broken(f"the bundle brings back {came_back} of {was}")


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
        plain_json(said)


def _agreement(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(
        ([], ["--linked"], ["--reference", "indirect"], ["--quantity", "mean", "--level", "0.9"])
    )
    said = watch.run(["agreement", *_read(draws, place), "--json", *more], records, own)
    if said.status == 0:
        plain_json(said)


def _audit(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(([], ["--rule", "all"], ["--level", "0.8"]))
    said = watch.run(["audit", *_read(draws, place), "--json", *more], records, own)
    if said.status == 0:
        plain_json(said)


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
        plain_json(said)


def _letter(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    out = own / "letter.html"
    call = ["figure", *_read(draws, place), "--animal", _animal(draws), "--letter"]
    watch.run([*call, "-o", str(out), *(["--labs"] if draws.once_in(2) else [])], records, own)
    for table in own.glob("*.csv"):
        no_formula(table)
    if out.exists():
        nothing_acts(out)


def _due(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    more = draws.one(([], ["--pseudonyms"], ["--days", _typed(draws)], ["--all"]))
    out = own / draws.one(("list.csv", "list.xlsx", "list.ics", "list.html", "morning"))
    kind = draws.one((["--json"], ["-o", str(out)], []))
    said = watch.run(["due", *_read(draws, place), *more, *kind], records, own)
    if said.status == 0 and kind == ["--json"]:
        plain_json(said)
    for table in own.rglob("*.csv"):
        no_formula(table)
    for page in own.rglob("*.html"):
        nothing_acts(page)


def _completion(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    watch.run(["completion", draws.one(("bash", "zsh", "fish", *HOSTILE))], records, own)


def _example(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    watch.run(["example", str(own / draws.one(("new", "=1", "é")))], records, own)


def _arguments(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    """Give any command any arguments, from a folder in which it may do what it likes."""
    call = generated_call(draws, url_or_path(place), own)
    before = Path.cwd()
    os.chdir(own)
    held, sys.stdin = sys.stdin, io.TextIOWrapper(io.BytesIO(b"animal,x\nA,1\n"))
    try:
        said = watch.run(call, records, own)
    finally:
        os.chdir(before)
        sys.stdin = held
    if any(not (c.isprintable() or c in "\n\u200d") for c in said.err):
        raise Broken("it printed what a terminal would obey")


def _earlier(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    name = draws.one(("o.csv", "o.svg", "o.json", "o.png", "o", "=1.csv"))
    earlier(draws, watch, url_or_path(place), name, records, own)


def _read_back(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    read_back(draws, watch, url_or_path(place), records, own)


def _others(draws: Draws, watch: Watch, place: Path, records: Path, own: Path) -> None:
    others_at_work(draws, watch, place, own)


Call = Callable[[Draws, Watch, Path, Path, Path], None]
#: Calls in a thousand. Reading is tried most often; what fits a model or draws is slow.
SHARES: tuple[tuple[int, Call], ...] = (
    *((658, _cells), (40, _arguments), (10, _earlier), (10, _read_back), (2, _others)),
    *((110, _reader), (35, _check), (15, _piped)),
    *((40, _average), (12, _completion), (4, _example), (8, _check_in_words), (10, _sessions)),
    *((9, _trend), (7, _fhir), (10, _plan), (5, _agreement), (1, _priors), (1, _cohort)),
    *((2, _audit), (2, _figure), (2, _letter), (4, _due), (3, _add), (2, _one_page)),
)
#: Animals whose visits a call is given, so that there is something to compare or to fit.
BUSY: dict[Call, int] = {_cohort: 8, _agreement: 12, _audit: 6, _priors: 33}
CALLS: tuple[Call, ...] = tuple(call for share, call in SHARES for _ in range(share))


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
