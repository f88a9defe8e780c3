"""What learning a clinic's own priors is worth, by simulation with known truth.

A clinic's cats differ from the defaults: level 150 ± 20 (not 140 ± 35), visit noise of 20 mmHg
(not 11), readings of 5 (not 7). Priors are learned from 100 of them; then, of other animals of
the same clinic, it is counted how often the 95 % interval holds the true usual pressure at the
latest session, under the defaults, under the learned priors, and under the true ones.

    python reference_checks/learned_priors/check.py          one clinic, for CI
    python reference_checks/learned_priors/check.py --full   eight clinics; rewrites results.md
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

import bpvet

SEED = 20253
LEARNED_FROM, JUDGED_ON = 100, 250
TRUTH = replace(
    bpvet.Priors.default("cat", "doppler"),
    level=(150.0, 20.0),
    sv=(20.0, 0.3),
    sr=(5.0, 0.3),
    source="the truth",
)
KEY = ("cat", "doppler", "systolic")


def clinic(animals: int, rng: np.random.Generator) -> tuple[bpvet.Records, dict[str, float]]:
    """Return an invented clinic, and the true usual pressure of each animal at its latest."""

    def lognormal(pair: tuple[float, float]) -> float:
        return float(pair[0] * np.exp(pair[1] * rng.normal()))

    rows, truth = [], {}
    first_mean, first_sd = TRUTH.first_visit or (0.0, 1.0)
    for a in range(animals):
        day = np.sort(rng.choice(np.arange(0, 700, 7), size=rng.integers(3, 12), replace=False))
        sv, sr, sw = (lognormal(pair) for pair in (TRUTH.sv, TRUTH.sr, TRUTH.sw))
        level = TRUTH.level[0] + TRUTH.level[1] * rng.normal()
        slope, excited = TRUTH.slope_sd * rng.normal(), first_mean + first_sd * rng.normal()
        wander = sw * rng.normal()
        usual = level
        for j, at in enumerate(day):
            if j:
                kept = float(np.exp(-(at - day[j - 1]) / TRUTH.wander_days))
                wander = wander * kept + sw * np.sqrt(1 - kept**2) * rng.normal()
            usual = level + slope * (at - day[-1]) / 30 + wander
            visit = usual + excited * np.exp(-j / 1.5) + sv * rng.normal()
            date = str(np.datetime64("2024-01-01") + int(at))
            rows += [
                (f"a{a:03d}", date, "doppler", round(visit + sr * rng.normal(), 2), i + 1)
                for i in range(5)
            ]
        truth[f"a{a:03d}"] = usual
    frame = pd.DataFrame(rows, columns=["animal", "taken_at", "method", "systolic", "reading"])
    animals_table = pd.DataFrame({"animal": list(truth), "species": "cat"})
    return bpvet.Records.from_frames(frame, animals=animals_table, as_of="2026-11-01"), truth


def covered(records: bpvet.Records, truth: dict[str, float], priors: object) -> list[bool]:
    """Return of each animal whether its 95 % interval holds the truth."""
    trends = bpvet.fit_trends(records, rule="all", priors=priors, progress=False)  # type: ignore[arg-type]
    found = []
    for (animal, *_), trend in trends.items():
        low, high = trend.latest.interval(0.95)
        found.append(bool(low <= truth[animal] <= high))
    return found


def measure(clinics: int) -> dict[str, tuple[float, float, int]]:
    """Return coverage, its Monte-Carlo error and the count, for each kind of priors."""
    held: dict[str, list[bool]] = {"defaults": [], "learned": [], "true": []}
    for number in range(clinics):
        rng = np.random.default_rng([SEED, number])
        table = bpvet.learn_priors(clinic(LEARNED_FROM, rng)[0], rule="all", name="simulated")
        records, truth = clinic(JUDGED_ON, rng)
        for name, priors in (("defaults", None), ("learned", table), ("true", TRUTH)):
            held[name] += covered(records, truth, priors)
    return {
        name: (float(np.mean(one)), float(np.sqrt(np.mean(one) * (1 - np.mean(one)) / len(one))),
               len(one))
        for name, one in held.items()
    }  # fmt: skip


def main(full: bool) -> int:
    """Print the table; return 1 where learned priors do not bring the coverage back."""
    found = measure(8 if full else 1)
    lines = ["| priors | animals | 95 % intervals that hold the truth |", "|---|---|---|"]
    lines += [
        f"| {name} | {count} | {100 * share:.1f} ± {100 * error:.1f} % |"
        for name, (share, error, count) in found.items()
    ]
    table = "\n".join(lines)
    print(table)
    share, error, _ = found["learned"]
    good = 0.94 - 3 * error <= share <= 0.96 + 3 * error and share > found["defaults"][0]
    print(f"learned: {100 * share:.1f} %, wanted 94 to 96 within three Monte-Carlo errors: "
          f"{'ok' if good else 'BEYOND'}")  # fmt: skip
    if full:
        head = (
            "# Learned priors, as measured\n\nWritten by `python "
            f"reference_checks/learned_priors/check.py --full`. Seed {SEED}; eight clinics, "
            f"priors learned from {LEARNED_FROM} cats of each and judged on {JUDGED_ON} others. "
            "After ± stands one Monte-Carlo standard error.\n\n"
        )
        Path(__file__).with_name("results.md").write_text(head + table + "\n", encoding="utf-8")
    return int(not good)


if __name__ == "__main__":
    sys.exit(main("--full" in sys.argv[1:]))
