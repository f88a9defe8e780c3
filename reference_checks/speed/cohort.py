"""How much CPU our cohort fit takes beside other programs, in one run, after all agree.

Run from the project's root, for instance:

    OMP_NUM_THREADS=1 python -m reference_checks.speed.cohort --mixedlm /path/to/python --large

`--mixedlm` names a Python that has the package `mixedlm`; R needs lme4 and nlme. Every program
fits from a data frame in memory; each says its own CPU time, with one BLAS thread. A ratio is
printed only where the criteria agree to 1e-6 (nlme, which stops early, to 1e-4).
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pandas as pd

from bpvet.mixed.cohort import Cohort, fit_cohort
from reference_checks.speed.cohort_data import readings

HERE = Path(__file__).parent
FORMULA = "systolic ~ months * treated + method"
#: The fit of 100,000 animals may take this share of the CPU that pandas takes to read them.
READ = 0.8
WHOLE: dict[str, Any] = {"visit_by": "method", "residual_by": "method"}
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def ours(frame: pd.DataFrame, repeats: int = 5, **options: Any) -> tuple[Cohort, float]:
    """Return our fit and its median CPU time; Satterthwaite's degrees of freedom come on top.

    The other programs give standard errors without them, as ours has at the end of a fit.
    """
    times, extra = [], []
    for _ in range(repeats):
        start = time.process_time()
        fit = fit_cohort(frame, FORMULA, **options)
        end = time.process_time()
        fit.fixed  # noqa: B018 (worked out when first asked for)
        times.append(end - start)
        extra.append(time.process_time() - end)
    print(f"  ours: fit {statistics.median(times):.3f} s, df {statistics.median(extra):.3f} s more")
    return fit, statistics.median(times)


def peer(command: list[str], csv: Path) -> tuple[float, float, str]:
    """Return another program's criterion, CPU seconds, and name with version."""
    done = subprocess.run(
        [*command, str(csv)], capture_output=True, text=True, env=os.environ | ONE_THREAD
    )
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    criterion, seconds, *name = done.stdout.split()
    return float(criterion), float(seconds), " ".join(name)


def beside(
    title: str,
    fit: Cohort,
    seconds: float,
    theirs: tuple[float, float, str],
    limit: float,
    goal: int,
) -> bool:
    """Print one comparison and return whether both agreement and goal are met."""
    criterion, other, name = theirs
    gap = criterion - fit.criterion
    agree = abs(gap) <= limit
    ratio = other / seconds
    told = f"{ratio:8.0f} times (goal {goal})" if agree else "no ratio: the criteria differ"
    print(f"{title:34s} {name:16s} {other:9.2f} s  ours {seconds:7.3f} s  {told}  gap {gap:+.1e}")
    return agree and ratio >= goal


def shared(animals: int, mixedlm: str | None) -> bool:
    """Readings with nested sessions, shared SDs, beside lme4 and mixedlm."""
    frame = readings(animals, by_method=False)
    fit, seconds = ours(frame)
    title = f"shared SDs, {animals} animals"
    met = True
    with tempfile.TemporaryDirectory() as folder:
        csv = Path(folder) / "data.csv"
        frame.to_csv(csv, index=False)
        found = peer(["Rscript", str(HERE / "peer_lme4.R")], csv)
        met &= beside(title, fit, seconds, found, 1e-6, 250)
        if mixedlm:
            found = peer([mixedlm, str(HERE / "peer_mixedlm.py")], csv)
            met &= beside(title, fit, seconds, found, 1e-6, 50)
    return met


def whole(animals: int) -> bool:
    """The whole model, SDs by method, beside nlme."""
    frame = readings(animals)
    fit, seconds = ours(frame, **WHOLE)
    with tempfile.TemporaryDirectory() as folder:
        csv = Path(folder) / "data.csv"
        frame.to_csv(csv, index=False)
        found = peer(["Rscript", str(HERE / "peer_nlme.R")], csv)
    return beside(f"SDs by method, {animals} animals", fit, seconds, found, 1e-4, 500)


def linear() -> None:
    """Print the cost of a session as the cohort grows."""
    for animals in (2_500, 5_000, 10_000, 20_000, 40_000):
        frame = readings(animals)
        fit, seconds = ours(frame, repeats=3, **WHOLE)
        each, many = 1e6 * seconds / fit.n_sessions, fit.n_sessions
        print(f"{animals:6d} animals {many:7d} sessions {seconds:7.3f} s {each:5.2f} µs each")


def large(animals: int = 100_000) -> bool:
    """SDs by method with degrees of freedom beside pandas reading the same CSV; peak of memory."""
    frame = readings(animals)
    reading, fitting = [], []
    with tempfile.TemporaryDirectory() as folder:
        csv = Path(folder) / "data.csv"
        frame.to_csv(csv, index=False)
        # In turns: other work on the machine then slows both.
        for _ in range(3):
            start = time.process_time()
            pd.read_csv(csv)
            middle = time.process_time()
            fit_cohort(frame, FORMULA, **WHOLE).fixed  # noqa: B018 (worked out when asked for)
            reading.append(middle - start)
            fitting.append(time.process_time() - middle)
    size = int(frame.memory_usage(deep=True).sum())
    tracemalloc.start()
    fit_cohort(frame, FORMULA, **WHOLE).fixed  # noqa: B018
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(
        f"{animals} animals, {len(frame)} readings: fit with df {min(fitting):.2f} s, "
        f"pandas.read_csv {min(reading):.2f} s, ratio {min(fitting) / min(reading):.2f} (limit "
        f"{READ}); frame {size / 1e6:.0f} MB, peak beside it {peak / 1e6:.0f} MB "
        f"(together {1 + peak / size:.2f} times the frame)"
    )
    return min(fitting) <= READ * min(reading) and peak <= size


def main() -> int:
    """Return 0 where every goal is met."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--animals", type=int, default=10_000)
    parser.add_argument("--whole-animals", type=int, default=1_000)
    parser.add_argument("--mixedlm", help="a Python that has the package mixedlm")
    parser.add_argument("--large", action="store_true", help="100 000 animals as well")
    chosen = parser.parse_args()
    ours(readings(200), repeats=1)
    met = shared(chosen.animals, chosen.mixedlm)
    met &= whole(chosen.whole_animals)
    linear()
    if chosen.large:
        met &= large()
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
