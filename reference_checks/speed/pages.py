"""How much CPU and memory an audit and a cohort's page take, on an invented clinic.

    python -m reference_checks.speed.pages [ANIMALS] [--only audit|cohort]

The invented clinic has some 7.6 sessions an animal, of three to seven readings by either method,
with operators, sites, cuffs, demeanours, times of day, drugs for a third of the animals and a
second method on some days. Each command runs in a process of its own, as a user starts it, its
modules compiled as installing does (a small clinic goes first): CPU time and the most memory are of
that process and of those it starts.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from reference_checks.speed.startup import ROOT, environment

AS_OF = "2026-12-01"
#: CPU seconds and gigabytes at 5,000 animals.
LIMITS = {"audit": (6.0, 0.4), "cohort": (8.0, None)}
_MEASURE = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e9)
"""


def readings(animals: int, seed: int = 1) -> pd.DataFrame:
    """Return an invented clinic's readings, one row a reading, sessions of an animal in order."""
    rng = np.random.default_rng(seed)
    number = 1 + rng.poisson(6.6, animals)
    animal = np.repeat(np.arange(animals), number)
    n = len(animal)
    doppler = rng.random(n) < 0.6
    gap = rng.integers(14, 120, n)
    total = np.cumsum(gap)
    first = np.cumsum(number) - number
    day = np.datetime64("2023-01-02") + (total - np.repeat(total[first], number))
    operator = rng.integers(0, 12, n)
    visit = rng.normal(150, 18, animals)[animal] + rng.normal(0, 8, n) + 0.5 * (operator - 6)
    count = rng.integers(3, 8, n)
    row = np.repeat(np.arange(n), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    value = visit[row] + rng.normal(0, 6, len(row)) + 4 * (place == 0)
    step = np.where(doppler[row], 2, 1)
    start = day.astype("datetime64[m]") + rng.integers(8 * 60, 18 * 60, n)
    return pd.DataFrame(
        {
            "animal": np.array([f"A{i:06d}" for i in range(animals)])[animal[row]],
            "taken_at": np.datetime_as_string(start[row] + place, unit="m"),
            "method": np.where(doppler[row], "doppler", "oscillometric"),
            "systolic": (step * np.rint(value / step)).astype(int),
            "operator": np.array([f"operator {i:02d}" for i in range(12)])[operator[row]],
            "site": np.array(["tail", "left fore", "right fore"])[rng.integers(0, 3, n)[row]],
            "demeanour": np.array(["calm", "calm", "tense", ""])[rng.integers(0, 4, n)[row]],
            "cuff_width_cm": np.array([2.5, 3.0, 4.0])[rng.integers(0, 3, n)[row]],
            "limb_circumference_cm": np.round(rng.normal(8, 1, n), 1)[row],
            "setting": "clinic",
            "state": "awake",
        }
    )


def clinic(folder: Path, animals: int, seed: int = 1) -> Path:
    """Write an invented clinic's records into a new folder."""
    folder.mkdir()
    rng = np.random.default_rng(seed + 1)
    readings(animals, seed).to_csv(folder / "readings.csv", index=False)
    names = [f"A{i:06d}" for i in range(animals)]
    owned = {"animal": names, "name": "", "species": rng.choice(["cat", "dog"], animals)}
    pd.DataFrame(owned | {"birth_date": "2013-04-01"}).to_csv(folder / "animals.csv", index=False)
    treated = rng.random(animals) < 1 / 3
    drug = rng.choice(["amlodipine", "telmisartan"], int(treated.sum()))
    course = {"animal": np.array(names)[treated], "drug": drug, "started_on": "2023-09-01"}
    course |= {"dose": "1", "dose_unit": "mg"}
    pd.DataFrame(course).to_csv(folder / "treatments.csv", index=False)
    return folder


def measured(what: str, folder: Path, home: Path) -> tuple[float, float]:
    """Return CPU seconds and the most memory, GB, of a command on a folder and of what it starts.

    What it writes goes into `home`, where the modules that it compiles are kept too.
    """
    output = ["-o", str(home / what / folder.name)] if what == "cohort" else []
    command = [what, str(folder), "--as-of", AS_OF, *output, "--quiet"]
    call = [sys.executable, "-c", _MEASURE, sys.executable, "-m", "bpvet", *command]
    env = environment(ROOT, home / "cache")
    done = subprocess.run(call, check=True, capture_output=True, text=True, env=env)
    seconds, memory = map(float, done.stdout.split())
    return seconds, memory


def compared(animals: int, works: Iterable[str] = LIMITS) -> Iterator[tuple[str, float, float]]:
    """Yield each command with its CPU seconds and the most memory, GB, on a clinic of so many."""
    with TemporaryDirectory() as private:
        home = Path(private)
        small, folder = clinic(home / "small", 30), clinic(home / "clinic", animals)
        for what in works:
            measured(what, small, home)
            yield what, *measured(what, folder, home)


def main() -> int:
    """Print both beside their limits; 0 where they are kept."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("animals", nargs="?", type=int, default=5_000)
    parser.add_argument("--only", choices=LIMITS)
    chosen = parser.parse_args()
    kept = True
    works = [chosen.only] if chosen.only else [*LIMITS]
    for what, seconds, memory in compared(chosen.animals, ["check", *works]):
        if what == "check":
            print(f"{chosen.animals} animals: reading and checking alone {seconds:.1f} s")
            continue
        limit, most = LIMITS[what]
        kept &= seconds <= limit and (most is None or memory <= most)
        beside = "" if most is None else f" (limit {most} GB)"
        print(f"{what}: {seconds:.1f} s (limit {limit:.0f} s), {memory:.2f} GB{beside}")
    return int(not kept)


if __name__ == "__main__":
    sys.exit(main())
