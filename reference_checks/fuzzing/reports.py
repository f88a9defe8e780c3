"""Whole reports of generated clinics: each page holds text and nothing that could act.

    python reference_checks/fuzzing/reports.py --reports 200
    python reference_checks/fuzzing/reports.py --reports 200 --jobs 2 --from 500

Most are of one animal; some of the cohort, of agreement and of the audit. Inputs that stop the
work are passed over and counted; it ends when so many reports are written. Input 17 of a seed is
the same in every run, so that `--from 17 --reports 1` tries it again.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.fuzzing.cells import IDS
from reference_checks.fuzzing.check import LONGEST, SEED, warm_up
from reference_checks.fuzzing.counts import Counts, in_processes
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.inputs import write_input
from reference_checks.fuzzing.judging import no_formula, nothing_acts
from reference_checks.fuzzing.trial import AS_OF, url_or_path
from reference_checks.fuzzing.watch import Broken, Watch

#: What is written, the most usual most often.
REPORTS = ("report", "report", "report", "cohort", "agreement", "audit")
#: Where the input stopped the work.
NONE = "none written"
#: Seconds that a report may take: a notebook is executed for it.
SECONDS = 120.0
#: Inputs tried for each report asked for, before it is given up.
_PATIENCE = 40


def main() -> int:
    """Write the reports and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--reports", type=int, default=200)
    asked.add_argument("--seed", type=int, default=SEED)
    asked.add_argument(
        "--from", type=int, default=0, dest="first", help="number of the first input"
    )
    asked.add_argument("--jobs", type=int, default=1, help="processes, each with inputs of its own")
    asked.add_argument("--step", type=int, default=1, help="every so manieth input")
    asked.add_argument("--only", choices=dict.fromkeys(REPORTS), help="reports of one kind")
    asked.add_argument("--counts", type=Path, help="a file for what was counted")
    given = asked.parse_args()
    started = time.monotonic()
    if given.jobs > 1:
        each = [
            [
                f"--reports={given.reports // given.jobs + (job < given.reports % given.jobs)}",
                *(f"--seed={given.seed}", f"--from={given.first + job}", f"--step={given.jobs}"),
                *([f"--only={given.only}"] if given.only else []),
            ]
            for job in range(given.jobs)
        ]
        counts = in_processes(__file__, each)
    else:
        counts = _written(given)
        counts.save(given.counts)
    written = counts.inputs - counts.tried[NONE]
    print(f"{written} reports in {time.monotonic() - started:.0f} s: {counts.in_words()}")
    return 1 if counts.broken or written < given.reports else 0


def _written(given: argparse.Namespace) -> Counts:
    reports, seed = given.reports, given.seed
    warm_up()
    watch, counts, number = Watch(programs=True), Counts(), given.first
    while reports > 0 and counts.inputs < 20 + _PATIENCE * given.reports:
        chance = random.Random(f"{seed} {number}")
        name = NONE
        try:
            name = _one(
                chance.randbytes(chance.randrange(LONGEST // 2, LONGEST)), watch, given.only
            )
        except Broken as broken:
            counts.broken += 1
            print(f"BROKEN (--seed {seed} --from {number}): {broken}", flush=True)
        counts.tried[name] += 1
        if name != NONE:
            reports -= 1
            print(f"input {number}: {counts.in_words()}", flush=True)
        number += given.step
    counts.ended = reports == 0
    return counts


def _one(data: bytes, watch: Watch, only: str | None) -> str:
    """Return which report was written; it holds nothing that could act."""
    draws = Draws(data, calm=(20, 100, 1000))
    with tempfile.TemporaryDirectory(prefix="trial-") as spare:
        records, own = Path(spare) / "in", Path(spare) / "out"
        records.mkdir()
        name = only or draws.one(REPORTS)
        animal = draws.one(IDS[:2])
        place = write_input(draws, records, 0 if name == "report" else 10)
        more = ["--animal", animal] if name == "report" else []
        # The notebook's own folder must lie where writing is allowed.
        tempfile.tempdir = spare
        call = [name, url_or_path(place), *more, "--as-of", AS_OF, "-o", str(own)]
        try:
            said = watch.run(call, records, Path(spare), seconds=SECONDS)
        finally:
            tempfile.tempdir = None
        _look_over(own)
        return NONE if said.status else name


def _look_over(own: Path) -> None:
    for page in own.glob("*.html"):
        nothing_acts(page)
    for table in own.glob("*.csv"):
        no_formula(table)


if __name__ == "__main__":
    sys.exit(main())
