"""How often the intervals of an audit's gains hold the truth, by simulation with known truth.

    python reference_checks/audit/precision.py --trials 1000

Animals are seen a few times near in time; visit noise and reading noise are known, and so is what
each change would give. Printed is the share of trials, in per cent, whose 95 % interval holds it.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.models.audit.precision import Precision, precision

#: Animals, sessions of each, how many readings a session may have, visit SD, reading SD.
WORLDS = (
    (30, 4, (5,), 8.0, 6.0),
    (30, 4, (3, 4, 5), 8.0, 6.0),
    (12, 3, (3,), 8.0, 6.0),
    (6, 2, (2, 3, 5), 8.0, 6.0),
    (30, 4, (5,), 2.0, 8.0),
    (10, 6, (3, 5), 12.0, 5.0),
    (2, 2, (3,), 8.0, 6.0),
)
#: Shares that are taken for 95 %, with three standard errors of the trials beside them.
LEAST, MOST = 0.93, 0.97


def truth(n: np.ndarray, visit: float, reading: float) -> dict[str, float]:
    """Return the SD of a visit's mean, and the gain of each change, of true variances."""
    each = reading * np.mean(1 / n)
    enough = reading * np.mean(1 / np.maximum(n, ENOUGH_READINGS))
    now = np.sqrt(visit + each)
    return {
        "now": now,
        "visit SD": np.sqrt(visit),
        "at least": now - np.sqrt(visit + enough),
        "a second": now - np.sqrt((visit + each) / 2),
        "half the": now - np.sqrt(visit / 4 + each),
        "readings": now - np.sqrt(visit + each / 4),
    }


def simulated(rng: np.random.Generator, n: np.ndarray, sv: float, sr: float) -> pd.DataFrame:
    """Return sessions of animals a week apart, `n` (animals, sessions) readings each."""
    animals, sessions = n.shape
    mean = rng.normal(150, 20, (animals, 1)) + rng.normal(0, sv, n.shape)
    week = np.tile(np.arange(sessions), animals)
    return pd.DataFrame(
        {
            "animal": np.repeat(np.arange(animals), sessions),
            "method": "doppler",
            "condition": "clinic",
            "date": np.datetime64("2026-01-05") + 7 * week.astype("timedelta64[D]"),
            "session": week,
            "treated": False,
            "systolic": (mean + sr * rng.standard_normal(n.shape) / np.sqrt(n)).ravel(),
            "systolic_n": n.ravel(),
            "systolic_ss": (sr**2 * rng.chisquare(n - 1)).ravel(),
            "systolic_bound": "",
        }
    )


def holds(found: Precision, true: dict[str, float]) -> dict[str, bool]:
    """Return which intervals hold the truth, to rounding."""
    held = {"now": found.now, "visit SD": found.visit_sd}
    held |= {one.words[:8]: one.gain for one in found.changes}
    return {
        name: bool((one.lower or 0.0) - 1e-9 <= true[name] <= (one.upper or 0.0) + 1e-9)
        for name, one in held.items()
    }


def main() -> int:
    """Print the shares and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--trials", type=int, default=1000)
    trials = asked.parse_args().trials
    rng, failures = np.random.default_rng(20261128), 0
    for animals, sessions, readings, sv, sr in WORLDS:
        counts: dict[str, int] = {}
        for _ in range(trials):
            n = rng.choice(readings, (animals, sessions))
            (found,) = precision(simulated(rng, n, sv, sr), 0.95)
            for name, held in holds(found, truth(n, sv**2, sr**2)).items():
                counts[name] = counts.get(name, 0) + held
        slack = 3 * np.sqrt(0.05 * 0.95 / trials)
        # Where every session has enough readings already, the gain is none for certain.
        told = {name: n for name, n in counts.items() if not (name == "at least" and n == trials)}
        outside = [n for n in told.values() if not LEAST - slack <= n / trials <= MOST + slack]
        failures += len(outside)
        shares = ", ".join(f"{name} {100 * count / trials:.1f}" for name, count in told.items())
        print(
            f"{animals} animals × {sessions}, readings {readings}, SDs {sv:g} and {sr:g}: {shares}"
        )
    print(f"{failures} outside {LEAST:.0%} to {MOST:.0%}, give or take three standard errors")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
