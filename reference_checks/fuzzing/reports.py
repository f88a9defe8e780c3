"""Whole reports of generated clinics: each page holds text and nothing that could act.

    python reference_checks/fuzzing/reports.py --reports 200

Inputs that stop the work are passed over and counted; it ends when so many reports are written.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.fuzzing.acting import acting
from reference_checks.fuzzing.cells import IDS
from reference_checks.fuzzing.check import LONGEST, SEED, warm_up
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.inputs import write_input
from reference_checks.fuzzing.trial import AS_OF
from reference_checks.fuzzing.watch import Broken, Watch


def main() -> int:
    """Write the reports and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--reports", type=int, default=200)
    asked.add_argument("--seed", type=int, default=SEED)
    given = asked.parse_args()
    warm_up()
    watch, chance = Watch(programs=True), random.Random(given.seed)
    written = tried = failures = 0
    started = time.monotonic()
    while written < given.reports and tried < 20 * given.reports:
        data = chance.randbytes(chance.randrange(LONGEST // 2, LONGEST))
        tried += 1
        try:
            written += _one(data, watch)
        except Broken as broken:
            failures += 1
            print(f"BROKEN (input {tried}): {broken}")
    taken = time.monotonic() - started
    print(f"{written} reports of {tried} inputs in {taken:.0f} s, {failures} broken")
    return 1 if failures or written < given.reports else 0


def _one(data: bytes, watch: Watch) -> int:
    """Return 1 if a report was written and holds nothing that could act, 0 if none could be."""
    draws = Draws(data, calm=(20, 100, 1000))
    with tempfile.TemporaryDirectory(prefix="trial-") as spare:
        records, own = Path(spare) / "in", Path(spare) / "out"
        records.mkdir()
        place = write_input(draws, records)
        animal = draws.one(IDS[:2])
        if place.suffix == ".db":
            return 0
        # The notebook's own folder must lie where writing is allowed.
        tempfile.tempdir = spare
        call = ["report", str(place), "--animal", animal, "--as-of", AS_OF, "-o", str(own)]
        try:
            said = watch.run(call, records, Path(spare), seconds=120.0)
        finally:
            tempfile.tempdir = None
        if said.status:
            return 0
        for page in own.glob("*.html"):
            found = acting(page.read_text(encoding="utf-8"))
            if found:
                raise Broken(f"on the page: {found[:5]}")
        return 1


if __name__ == "__main__":
    sys.exit(main())
