"""A million animals in Parquet parts, fitted by two local processes: time and peak memory.

python -m reference_checks.speed.out_of_core --folder /somewhere/with/space
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from pathlib import Path

from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.executors import Workers
from reference_checks.speed.cohort_data import readings

FORMULA = "systolic ~ months * treated + method"
LIMIT = 4e9


def write_parts(folder: Path, animals: int, parts: int) -> list[str]:
    """Write the parts that are not there yet and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for part in range(parts):
        path = folder / f"part-{part:03d}.parquet"
        if not path.exists():
            frame = readings(animals // parts, seed=part)
            frame["animal"] = f"P{part:03d}" + frame["animal"]
            frame.to_parquet(path, index=False)
        paths.append(str(path))
    return paths


def main() -> int:
    """Return 0 where the processes together stay within four gigabytes."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--animals", type=int, default=1_000_000)
    parser.add_argument("--parts", type=int, default=50)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--write", action="store_true", help="write the parts and stop")
    chosen = parser.parse_args()
    paths = write_parts(chosen.folder, chosen.animals, chosen.parts)
    if chosen.write:
        return 0
    begin = time.time()
    with Workers(chosen.workers) as crew:
        fit = fit_cohort(paths, FORMULA, map=crew, visit_by="method", residual_by="method")
        elapsed = time.time() - begin
        print(fit)
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    # Of the children the largest is told; every one is taken to be as large.
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    total = own + chosen.workers * child
    print(
        f"{elapsed:.0f} s on {chosen.workers} processes; peak memory {own / 1e9:.2f} GB here and "
        f"{child / 1e9:.2f} GB in the largest worker, at most {total / 1e9:.2f} GB together "
        f"(limit {LIMIT / 1e9:.0f})"
    )
    return int(total > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
