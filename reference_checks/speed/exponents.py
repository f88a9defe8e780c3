"""How cost grows with the number of animals: exponents of CPU and memory over three decades.

    python -m reference_checks.speed.exponents                          # 100 to 100,000 animals
    python -m reference_checks.speed.exponents --only due --sizes 100 1000 10000

The invented clinic is that of `reference_checks.speed.pages`, 7.6 sessions an animal, a third of
them on a drug. Each kind of work runs in a process of its own for each size, with one BLAS thread.
Its CPU is that of the work alone: a clinic of `WARM` animals is worked before, and records are read
(`reading` is reading, checking and sessions). Its memory is the growth of the process's peak over
what the small clinic needed, records and all.
An exponent is the slope of a straight line through log cost by log animals (least squares); that of
the last decade alone stands beside it, since a fixed cost of the small sizes hides growth.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pandas as pd

import bpvet
from reference_checks.speed.cohort import WHOLE
from reference_checks.speed.pages import AS_OF, clinic

SIZES = (100, 1_000, 10_000, 100_000)
#: The most that an exponent may be.
GOAL = 1.05
#: Animals of the clinic that is worked first, so that what is loaded once is not counted.
WARM = 30
_COHORT: dict[str, Any] = {"formula": "systolic ~ method"} | WHOLE


@dataclass(frozen=True)
class Growth:
    """Cost of one kind of work by animals.

    Parameters
    ----------
    work : str
    sizes : tuple of int
        Animals, ascending.
    cpu : tuple of float
        Seconds.
    memory : tuple of float
        Bytes.
    """

    work: str
    sizes: tuple[int, ...]
    cpu: tuple[float, ...]
    memory: tuple[float, ...]

    def exponents(self) -> list[tuple[str, float]]:
        """Return what each exponent is of, and its value."""
        ends = [(self.sizes, "over all sizes"), (self.sizes[-2:], "in the last step")]
        return [
            (f"{what}, {over}", exponent(sizes, cost[-len(sizes) :]))
            for what, cost in (("CPU", self.cpu), ("memory", self.memory))
            for sizes, over in ends
        ]


def exponent(sizes: Sequence[int], cost: Sequence[float]) -> float:
    """Return the slope of a least-squares line through log cost by log size."""
    return float(np.polyfit(np.log(sizes), np.log(cost), 1)[0])


@dataclass(frozen=True)
class Work:
    """A kind of work: what it takes from a folder of records, and what is then measured."""

    prepared: Callable[[Path], Any]
    job: Callable[[Any], object]


def _records(folder: Path) -> bpvet.Records:
    """Return records whose sessions are made."""
    records = bpvet.read(folder, as_of=AS_OF)
    bpvet.sessions(records)
    return records


def _frame(folder: Path) -> pd.DataFrame:
    frame = pd.read_csv(
        folder / "readings.csv", usecols=["animal", "taken_at", "method", "systolic"]
    )
    return frame.assign(session=frame.pop("taken_at").str[:10])


WORKS: dict[str, Work] = {
    "reading": Work(lambda folder: folder, _records),
    "trends": Work(_records, lambda records: bpvet.fit_trends(records, progress=False)),
    "due": Work(_records, bpvet.due),
    "cohort": Work(_frame, lambda frame: bpvet.fit_cohort(frame, **_COHORT).fixed),
    "audit": Work(_records, lambda records: bpvet.audit(records).answer()),
}


def _peak() -> float:
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return 1024 * float(status["VmHWM"].split()[0])


def run(work: str, folder: Path, warm: Path) -> dict[str, float]:
    """Return the CPU seconds and the bytes of some work in this process."""
    kind = WORKS[work]
    kind.job(kind.prepared(warm))
    before = _peak()
    prepared = kind.prepared(folder)
    begun = time.process_time()
    kept = kind.job(prepared)
    spent = time.process_time() - begun
    assert kept is not None
    return {"cpu": spent, "memory": _peak() - before}


def measured(work: str, folders: dict[int, Path], warm: Path) -> Growth:
    """Return what some work costs on each clinic, by animals, in a process for each."""
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    spent = []
    for folder in folders.values():
        command = [sys.executable, "-m", "reference_checks.speed.exponents", "--run", work]
        done = subprocess.run(
            [*command, str(folder), str(warm)],
            capture_output=True,
            text=True,
            env=os.environ | one_thread,
        )
        if done.returncode:
            raise RuntimeError(done.stderr[-2000:])
        spent.append(json.loads(done.stdout.splitlines()[-1]))
    cpu, memory = (tuple(one[what] for one in spent) for what in ("cpu", "memory"))
    return Growth(work, tuple(folders), cpu, memory)


def growths(sizes: Sequence[int], works: Sequence[str] = tuple(WORKS)) -> list[Growth]:
    """Return the cost of each kind of work over some sizes."""
    with TemporaryDirectory() as private:
        home = Path(private)
        warm = clinic(home / "warm", WARM)
        folders = {size: clinic(home / f"n{size}", size) for size in sorted(sizes)}
        return [measured(work, folders, warm) for work in works]


def main() -> int:
    """Print cost and exponents; 1 where one is above the goal."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--only", choices=WORKS, action="append")
    parser.add_argument("--run", nargs=3, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.run:
        work, folder, warm = chosen.run
        print(json.dumps(run(work, Path(folder), Path(warm))))
        return 0
    worst = 0.0
    for growth in growths(chosen.sizes, chosen.only or tuple(WORKS)):
        for size, cpu, memory in zip(growth.sizes, growth.cpu, growth.memory, strict=True):
            print(f"{growth.work:8s} {size:7d} animals {cpu:9.3f} s {memory / 1e6:8.1f} MB")
        for what, value in growth.exponents():
            print(f"  exponent of {what}: {value:.2f}")
            worst = max(worst, value)
    return int(worst > GOAL)


if __name__ == "__main__":
    sys.exit(main())
