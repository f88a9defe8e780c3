"""How much CPU the three groups of treated animals take, as ratios in one run.

    python -m reference_checks.speed.treated [ANIMALS]

The same invented cats are fitted in turn: without a drug; on one from mid-record under one normal
level and effect; and on it under the groups. `fit_trends` with the rows of treatments may cost at
most 2.2 times what it costs without them, and an animal without a drug what it costs under priors
that hold no groups; what the posteriors alone cost is told besides. One BLAS thread; CPU time, not
wall time; the middle of the repeated ratios.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import sys
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

import bpvet
from bpvet.facts.priors.priors import Priors
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.posteriors import posteriors
from bpvet.visits.series import Series, all_series
from bpvet.visits.treatments.courses import Course
from reference_checks.speed.trend import clinic

LIMIT, REPEATS, BATCH = 2.2, 5, 100
#: Without groups nothing may differ but what a clock tells.
SAME = 1.1


def on_drug(series: Series) -> Series:
    """Return a series with one course, begun on the date of a session in mid-record."""
    begun = series.date[(series.date.size - 1) // 2]
    course = Course(
        drug="amlodipine",
        kind="base",
        started_on=begun,
        stopped_on=np.datetime64("NaT"),
        tau_days=3.0,
        spell=0,
        dose="",
        known_drug=True,
        spells=(0,),
    )
    return replace(series, courses=(course,))


def seconds(series: Sequence[Series], priors: Priors) -> float:
    """Return the CPU time of every animal's posterior, in batches of nearly one length."""
    begun = time.process_time()
    for at in range(0, len(series), BATCH):
        part = series[at : at + BATCH]
        columns = [columns_of(one, priors) for one in part]
        posteriors(part, [(priors,)] * len(part), columns)
    return time.process_time() - begun


def fitted(records: bpvet.Records) -> float:
    """Return the CPU time of `fit_trends`."""
    begun = time.process_time()
    bpvet.fit_trends(records, progress=False)
    return time.process_time() - begun


def with_drugs(records: bpvet.Records, treated: Sequence[Series]) -> bpvet.Records:
    """Return the records with a row of treatments for each of those series."""
    drugs = [
        {"animal": one.animal, "drug": "amlodipine", "started_on": str(one.courses[0].started_on)}
        for one in treated
    ]
    return bpvet.Records.from_frames(
        records.readings,
        animals=records.animals,
        treatments=pd.DataFrame(drugs),
        as_of=records.as_of,
    )


def main() -> int:
    """Print the ratios; return 1 where one is too large."""
    animals = int(sys.argv[1]) if len(sys.argv) > 1 else 600
    groups = Priors.default("cat", "doppler")
    single = replace(groups, groups=None)
    # One session cannot be before and after a start.
    records = clinic(animals)
    held = [one for one in all_series(records).values() if one.date.size > 1]
    plain = sorted(held, key=lambda one: one.date.size)
    treated = [on_drug(one) for one in plain]
    tried = {
        "without a drug, priors without groups": (plain, single),
        "without a drug": (plain, groups),
        "on a drug, one level and effect": (treated, single),
        "on a drug, three groups": (treated, groups),
    }
    took, whole = {name: np.zeros(REPEATS) for name in tried}, np.zeros(REPEATS)
    drugs = with_drugs(records, treated)
    for repeat in range(REPEATS):
        # In turn, so that what else the machine does falls on all.
        for name, (series, priors) in tried.items():
            took[name][repeat] = seconds(series, priors)
        whole[repeat] = fitted(drugs) / fitted(records)
    for name, each in took.items():
        print(f"{name:42}{1000 * np.median(each) / len(plain):8.2f} ms an animal")
    bare, untreated, one, three = took.values()
    limits = (
        ("fit_trends with treatments / without", whole, LIMIT),
        ("without a drug: priors with groups / without", untreated / bare, SAME),
    )
    for name, ratios in (("one level and effect", three / one), ("no drug", three / untreated)):
        print(f"{f'posteriors alone: three groups / {name}':48}{np.median(ratios):6.2f}")
    good = True
    for name, ratios, limit in limits:
        ratio = float(np.median(ratios))
        good &= ratio <= limit
        print(f"{name:48}{ratio:6.2f}  at most {limit}{'' if ratio <= limit else '  TOO SLOW'}")
    return int(not good)


if __name__ == "__main__":
    sys.exit(main())
