"""The same records give the same digits in every process, at every number of threads."""

from __future__ import annotations

import os
import subprocess
import sys

PROGRAM = """
from reference_checks.speed.cohort_data import readings
from bpvet.mixed.cohort import fit_cohort
fit = fit_cohort(
    readings(3000),
    "systolic ~ months * treated + method",
    slope="months",
    visit_by="method",
    residual_by="method",
)
print(fit.criterion.hex(), *(float(x).hex() for x in fit.fixed.to_numpy().ravel()))
print(*(float(x).hex() for x in fit.variance["estimate"]), fit.animals.to_numpy().sum().hex())
"""


def digits(threads: str) -> str:
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        capture_output=True,
        text=True,
        env=os.environ | dict.fromkeys(names, threads) | {"PYTHONPATH": "."},
        check=True,
    )
    return done.stdout


def test_threads_and_processes():
    one = digits("1")
    assert len(one.split()) > 30
    assert digits("4") == one
