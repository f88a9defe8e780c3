"""How much CPU and memory the clinic's list takes, beside `fit_trends` on the same animals.

    python -m reference_checks.speed.due [ANIMALS]

An invented clinic: drugs, laboratory values and signs for half of the animals, which `fit_trends`
passes over and the list must read. One BLAS thread; CPU time, not wall time. The goals are rows of
the table (`reference_checks.speed.table`); memory must grow no faster than the animals.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import gc
import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

import bpvet

AS_OF = "2026-06-01"


def tables(animals: int, seed: int = 1) -> dict[str, pd.DataFrame]:
    """Return the tables of an invented clinic of cats and dogs, five readings a session."""
    rng = np.random.default_rng(seed)
    readings, owners, drugs, labs, signs = [], [], [], [], []
    for a in range(animals):
        name = f"a{a:06d}"
        owners.append((name, f"Name {a}", "cat" if rng.random() < 0.7 else "dog", "2013-04-01"))
        level = 145 + 20 * rng.normal()
        day = int(rng.integers(0, 60))
        for _ in range(1 + rng.poisson(5)):
            date = str(np.datetime64("2024-06-01") + day)
            visit = level + 10 * rng.normal()
            readings += [(name, date, "doppler", round(visit + 6 * rng.normal())) for _ in range(5)]
            day += int(rng.integers(20, 120))
        if rng.random() < 0.5:
            drug = "amlodipine" if rng.random() < 0.7 else "telmisartan"
            drugs.append((name, drug, "2024-09-01", "1", "mg"))
        if rng.random() < 0.5:
            for sampled in ("2024-08-20", "2024-09-15", "2025-09-01"):
                value = round(160 + 25 * rng.normal())
                labs.append((name, sampled, "creatinine", value, "µmol/L"))
        if rng.random() < 0.5:
            sign = rng.choice(["fundus normal", "murmur", "weight loss", "eyes normal OU"])
            signs.append((name, "2025-03-01", sign))
    heads = {
        "readings": ["animal", "taken_at", "method", "systolic"],
        "animals": ["animal", "name", "species", "birth_date"],
        "treatments": ["animal", "drug", "started_on", "dose", "dose_unit"],
        "labs": ["animal", "sampled_on", "analyte", "value", "unit"],
        "observations": ["animal", "seen_on", "sign"],
    }
    rows = (readings, owners, drugs, labs, signs)
    return {
        name: pd.DataFrame(held, columns=columns)
        for (name, columns), held in zip(heads.items(), rows, strict=True)
    }


def clinic(animals: int, seed: int = 1) -> bpvet.Records:
    """Return the records of such a clinic."""
    return bpvet.Records.from_frames(**tables(animals, seed), as_of=AS_OF)


def timed(work: Callable[[], object]) -> float:
    """Return the CPU seconds of some work, in this process."""
    gc.collect()
    begun = time.process_time()
    work()
    return time.process_time() - begun


def main() -> None:
    """Print both times, their ratio, and the memory that was needed at most."""
    animals = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    records = clinic(animals)
    bpvet.due(clinic(50))  # libraries are loaded, facts are read
    listed = timed(lambda: bpvet.due(records))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    fitted = timed(lambda: bpvet.fit_trends(records, progress=False))
    ratio = listed / fitted
    print(f"{animals} animals: due {listed:.2f} s, fit_trends {fitted:.2f} s of CPU")
    print(f"ratio {ratio:.2f}; the list {1000 * listed / animals:.2f} ms an animal")
    print(f"memory at most, records and all: {peak:.0f} MB")


if __name__ == "__main__":
    main()
