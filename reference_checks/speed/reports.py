"""How long fifty reports take in one run, beside fifty single ones.

    python -m reference_checks.speed.reports [REPORTS]

Copies of one animal of the example records, all overdue: a single report, and runs of two sizes,
of which the cost of a run and of each further report follow; both are laid beside each other at
fifty. The limit is a quarter of the time. CPU time of all processes is printed too: it does not
hang on what else the machine does, and not on how many processors it has.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import resource
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from bpvet.records.example import write_example

LIMIT, REPORTS, AS_OF, MODEL = 0.25, 50, "2027-09-01", "J40"


def clinic(folder: Path, animals: int) -> Path:
    """Write records of so many copies of one animal of the example records."""
    with TemporaryDirectory() as example:
        write_example(example)
        folder.mkdir()
        for file in sorted(Path(example).glob("*.csv")):
            frame = pd.read_csv(file, dtype=str, keep_default_na=False)
            own = frame[frame["animal"] == MODEL]
            copies = [own.assign(animal=f"R{place:02d}") for place in range(animals)]
            pd.concat(copies).to_csv(folder / file.name, index=False)
    return folder


def timed(*call: object) -> tuple[float, float]:
    """Return the seconds and the CPU seconds of a command, its own processes counted too."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "bpvet", "report", *map(str, call), "--as-of", AS_OF]
    subprocess.run([*command, "--quiet"], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - begun, cpu


def main() -> int:
    """Print both times at fifty reports, and their ratios beside the limit."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    few = max(2, many // 3)
    with TemporaryDirectory() as private:
        home = Path(private)
        folder = clinic(home / "one", 1)
        singles = [timed(folder, "--animal", "R00", "-o", home / f"out{i}") for i in range(3)]
        runs = {
            count: timed(clinic(home / f"r{count}", count), "--due", "-o", home / f"o{count}")
            for count in (few, many)
        }
    ratios = []
    for place, what in enumerate(("seconds", "CPU seconds")):
        single = sorted(one[place] for one in singles)[1]
        each = (runs[many][place] - runs[few][place]) / (many - few)
        whole = runs[few][place] + each * (REPORTS - few)
        ratios.append(whole / (REPORTS * single))
        told = f"one report {single:.1f}, a run of {few} {runs[few][place]:.1f}"
        print(f"{what}: {told}, of {many} {runs[many][place]:.1f}; each further {each:.2f}")
        print(f"  at {REPORTS}: one run {whole:.0f}, single ones {REPORTS * single:.0f}")
        print(f"  ratio {ratios[-1]:.2f}, limit {LIMIT}")
    return 0 if ratios[0] <= LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
