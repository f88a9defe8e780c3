"""How much CPU the trend takes, as ratios to a plain filter pass in the same run.

    python reference_checks/speed/trend.py [ANIMALS]

The peer is one pass of the Kalman filter (with the regression and the likelihood) over 343
fixed noise nodes for each animal, nodes centred on the prior: the cheapest thing that could be
called an answer, and out by up to 34 mmHg on odd records. Ratios are told only after both gave
the same likelihood at the same nodes. One BLAS thread; CPU time, not wall time.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import sys
import time
from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

import bpvet
from bpvet.maths.gaussian import Batch, coefficients, whiten
from bpvet.maths.quadrature import integrate
from bpvet.maths.surface import NoisePrior, Surface, noise_at
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.posteriors import batch_of, noise_prior_of
from bpvet.visits.series import Series, all_series

PLAIN_NODES = 343
MEAN_SESSIONS = 7.6


def clinic(animals: int, sessions: float = MEAN_SESSIONS, seed: int = 1) -> bpvet.Records:
    """Return an invented clinic of cats measured by Doppler."""
    rng = np.random.default_rng(seed)
    rows = []
    for a in range(animals):
        count = int(np.clip(rng.poisson(sessions), 1, 60))
        level = 150 + 20 * rng.normal()
        for day in np.sort(rng.choice(np.arange(730), size=count, replace=False)):
            visit = level + 11 * rng.normal()
            date = str(np.datetime64("2024-01-01") + int(day))
            rows += [
                (f"a{a}", date, "doppler", round(visit + 7 * rng.normal()), i + 1) for i in range(5)
            ]
    frame = pd.DataFrame(rows, columns=["animal", "taken_at", "method", "systolic", "reading"])
    animals_table = pd.DataFrame({"animal": frame["animal"].unique(), "species": "cat"})
    return bpvet.Records.from_frames(frame, animals=animals_table, as_of="2026-11-01")


def batches(series: list[Series], size: int = 64) -> Iterator[tuple[Batch, NoisePrior]]:
    """Yield the series in batches of nearly one length."""
    ordered = sorted(series, key=lambda one: one.y.size)
    own = bpvet.Priors.default("cat", "doppler")
    for at in range(0, len(ordered), size):
        part = ordered[at : at + size]
        columns = [columns_of(one, own) for one in part]
        yield batch_of(part, columns), noise_prior_of([(own,)] * len(part))


def plain_pass(batch: Batch, prior: NoisePrior) -> np.ndarray:
    """Return the log-likelihood at 7 × 7 × 7 nodes around the prior, (B, 343)."""
    z = np.linspace(-3, 3, 7)
    nodes = [part.ravel() for part in np.meshgrid(z, z, z, indexing="ij")]
    pairs = (prior.sv[0], prior.sr[0], prior.sw)
    logs = [pair[0][:, None] + pair[1][:, None] * at for pair, at in zip(pairs, nodes, strict=True)]
    noise = noise_at(prior, *logs)
    return np.asarray(coefficients(batch, noise.reading, whiten(batch, noise)).log_likelihood)


def agree(batch: Batch, prior: NoisePrior) -> float:
    """Return the worst difference of the two ways to the same log density."""
    rho = np.linspace(-2, 1, 5) + np.zeros((batch.y.shape[1], 1))
    lt, lr = (np.full((*rho.shape, 3), value) for value in (2.5, 2.0))
    shared = Surface.of(batch, prior, rho)
    filtered = Surface(batch, prior, rho)
    return float(np.max(np.abs(shared.at(lt, lr) - filtered.at(lt, lr))))


def cpu(job: Callable[[], object]) -> float:
    """Return the CPU seconds of a job: the least of three runs."""
    times = []
    for _ in range(3):
        start = time.process_time()
        job()
        times.append(time.process_time() - start)
    return min(times)


def main(animals: int = 1000) -> int:
    """Print the ratios."""
    series = list(all_series(clinic(animals)).values())
    held = list(batches(series))
    worst = max(agree(batch, prior) for batch, prior in held)
    print(f"worst difference of the two ways to the log density: {worst:.1e}")
    if worst > 1e-8:
        print("they do not agree; no ratio is told")
        return 1
    plain = cpu(lambda: [plain_pass(*one) for one in held])
    whole = cpu(lambda: [integrate(*one) for one in held])
    print(f"{animals} animals of {MEAN_SESSIONS} sessions on average, CPU time an animal")
    print(f"  plain {PLAIN_NODES}-node filter pass {1e3 * plain / animals:6.2f} ms")
    print(
        f"  nested rule               {1e3 * whole / animals:6.2f} ms   ratio {whole / plain:.2f}"
    )
    twelve = next(one for one in all_series(clinic(60, 12, 2)).values() if one.y.size == 12)
    (one,) = batches([twelve])
    single, alone = cpu(lambda: integrate(*one)), cpu(lambda: plain_pass(*one))
    print("one animal of 12 sessions on its own")
    print(f"  plain {PLAIN_NODES}-node filter pass {1e3 * alone:6.2f} ms")
    print(f"  nested rule               {1e3 * single:6.2f} ms   ratio {single / alone:.2f}")
    records = clinic(200, seed=3)
    together = cpu(lambda: bpvet.fit_trends(records))
    names = list(dict.fromkeys(records.readings["animal"]))
    loop = cpu(lambda: [bpvet.fit_trend(records, name) for name in names])
    print(f"200 animals: all at once {together:.2f} s, one at a time {loop:.2f} s, "
          f"ratio {together / loop:.2f}")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(one) for one in sys.argv[1:])))
