"""What learning a clinic's own priors is worth, by simulation with known truth.

Clinics whose cats differ from the defaults: untreated level 150 ± 20 (not 140 ± 35), visit noise
of 20 mmHg (not 11), readings of 5 (not 7), a first visit 15 ± 6 high that fades over three visits
(not 5 ± 8 over 1.5), and, of the treated half, other groups: usual animals about 142 (not 130),
high ones about 175 (not 195), half of them of the group that ends near 140 under the drug. Priors
are learned from some of them; then, of other animals of the same clinic, it is counted how often
the 95 % interval holds the true usual pressure at the latest session, and the true full effect of
the drug, under the defaults, under the learned priors, and under the true ones.

    python reference_checks/learned_priors/check.py          one clinic, for CI
    python reference_checks/learned_priors/check.py --full   more; rewrites results.md
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

import bpvet
from bpvet.facts.priors.groups import PriorGroup

SEED = 20253
JUDGED_ON = 150
#: Animals that priors are learned from, and clinics of each size in the full run.
SIZES = {30: 6, 100: 4, 300: 2}
DEFAULT = bpvet.Priors.default("cat", "doppler")
assert DEFAULT.groups is not None
TRUTH = replace(
    DEFAULT,
    level=(150.0, 20.0),
    sv=(20.0, 0.3),
    sr=(5.0, 0.3),
    first_visit=(15.0, 6.0),
    first_visit_fading=3.0,
    source="the truth",
)
TRUTH = replace(
    TRUTH,
    groups=replace(
        DEFAULT.groups,
        parts=(
            PriorGroup(0.45, (142.0, 16.0), effect_sd=20.0),
            PriorGroup(0.05, (175.0, 50.0), effect_sd=10.0),
            PriorGroup(0.50, (175.0, 50.0), under_drug=(140.0, 30.0)),
        ),
        beside=(TRUTH.level, TRUTH.effect_sd),
    ),
)

Truth = dict[str, tuple[float, float | None]]
#: By answer: whether each interval held the truth.
Held = dict[str, list[bool]]


def clinic(animals: int, rng: np.random.Generator) -> tuple[bpvet.Records, Truth]:
    """Return an invented clinic, and each animal's usual pressure at its latest, and effect."""

    def lognormal(pair: tuple[float, float]) -> float:
        return float(pair[0] * np.exp(pair[1] * rng.normal()))

    rows, drugs, truth = [], [], {}
    first_mean, first_sd = TRUTH.first_visit or (0.0, 1.0)
    for a in range(animals):
        name = f"a{a:03d}"
        day = np.sort(rng.choice(np.arange(0, 700, 7), size=rng.integers(3, 12), replace=False))
        sv, sr, sw = (lognormal(pair) for pair in (TRUTH.sv, TRUTH.sr, TRUTH.sw))
        treated = bool(rng.random() < 0.5)
        level, effect = _drawn(treated, rng)
        begun = int(day[rng.integers(0, len(day) - 1)])
        if treated:
            start = str(np.datetime64("2024-01-01") + begun)
            drugs.append({"animal": name, "drug": "amlodipine", "started_on": start})
        slope, excited = TRUTH.slope_sd * rng.normal(), first_mean + first_sd * rng.normal()
        wander = sw * rng.normal()
        usual = level
        for j, at in enumerate(day):
            if j:
                kept = float(np.exp(-(at - day[j - 1]) / TRUTH.wander_days))
                wander = wander * kept + sw * np.sqrt(1 - kept**2) * rng.normal()
            usual = level + slope * (at - day[-1]) / 30 + wander
            if treated:
                usual -= effect * np.expm1(-max(at - begun, 0) / TRUTH.tau_of("amlodipine"))
            visit = usual + excited * np.exp(-j / TRUTH.first_visit_fading) + sv * rng.normal()
            date = str(np.datetime64("2024-01-01") + int(at))
            rows += [
                (name, date, "doppler", round(visit + sr * rng.normal(), 2), i + 1)
                for i in range(5)
            ]
        truth[name] = (usual, effect if treated else None)
    frame = pd.DataFrame(rows, columns=["animal", "taken_at", "method", "systolic", "reading"])
    animals_table = pd.DataFrame({"animal": list(truth), "species": "cat"})
    given = pd.DataFrame(drugs) if drugs else None
    return bpvet.Records.from_frames(
        frame, animals=animals_table, treatments=given, as_of="2026-11-01"
    ), truth


def _drawn(treated: bool, rng: np.random.Generator) -> tuple[float, float]:
    """Return an untreated level and a full effect, of the groups where an animal is treated."""
    if not treated or TRUTH.groups is None:
        return TRUTH.level[0] + TRUTH.level[1] * rng.normal(), 0.0
    parts = TRUTH.groups.parts
    one = parts[rng.choice(len(parts), p=[part.weight for part in parts])]
    level = one.level[0] + one.level[1] * rng.normal()
    if one.under_drug is None:
        return level, (one.effect_sd or 0.0) * rng.normal()
    return level, one.under_drug[0] + one.under_drug[1] * rng.normal() - level


def covered(records: bpvet.Records, truth: Truth, priors: object) -> Held:
    """Return of each animal whether its 95 % intervals hold the truth."""
    trends = bpvet.fit_trends(records, rule="all", priors=priors, progress=False)  # type: ignore[arg-type]
    held: Held = {"usual": [], "effect": []}
    for (animal, *_), trend in trends.items():
        usual, effect = truth[animal]
        low, high = trend.latest.interval(0.95)
        held["usual"].append(bool(low <= usual <= high))
        if effect is not None:
            low, high = trend.treatments[0].effect.interval(0.95)
            held["effect"].append(bool(low <= effect <= high))
    return held


def measure(learned_from: int, clinics: int, judged_on: int) -> dict[str, Held]:
    """Return what intervals held, for each kind of priors."""
    found: dict[str, Held] = {
        name: {"usual": [], "effect": []} for name in ("defaults", "learned", "true")
    }
    for number in range(clinics):
        rng = np.random.default_rng([SEED, learned_from, number])
        table = bpvet.learn_priors(clinic(learned_from, rng)[0], rule="all", name="simulated")
        records, truth = clinic(judged_on, rng)
        for name, priors in (("defaults", None), ("learned", table), ("true", TRUTH)):
            for answer, held in covered(records, truth, priors).items():
                found[name][answer] += held
    return found


def share(held: list[bool]) -> tuple[float, float]:
    """Return the share that held, and its Monte-Carlo error."""
    mean = float(np.mean(held))
    return mean, float(np.sqrt(mean * (1 - mean) / len(held)))


def main(full: bool) -> int:
    """Print the table; return 1 where learned priors do not bring the coverage back."""
    sizes = SIZES if full else {40: 1}
    lines = [
        "| learned from | priors | animals judged | usual pressure | full effect |",
        "|---|---|---|---|---|",
    ]
    good = True
    for learned_from, clinics in sizes.items():
        found = measure(learned_from, clinics, JUDGED_ON)
        for name, held in found.items():
            cells = [
                f"{100 * value:.1f} ± {100 * error:.1f} %"
                for value, error in (share(held[answer]) for answer in ("usual", "effect"))
            ]
            lines.append(
                f"| {learned_from} | {name} | {len(held['usual'])} | {' | '.join(cells)} |"
            )
        value, error = share(found["learned"]["usual"])
        good &= 0.92 - 3 * error <= value <= 0.97 + 3 * error
    table = "\n".join(lines)
    print(table)
    print(f"learned priors hold the usual pressure as they should: {'ok' if good else 'BEYOND'}")
    if full:
        head = (
            "# Learned priors, as measured\n\nWritten by `python "
            f"reference_checks/learned_priors/check.py --full`. Seed {SEED}; clinics unlike the "
            f"defaults, half of the cats treated, judged on {JUDGED_ON} others of each clinic. "
            "How often 95 % intervals hold the truth; after ± stands one Monte-Carlo standard "
            "error.\n\n"
        )
        Path(__file__).with_name("results.md").write_text(head + table + "\n", encoding="utf-8")
    return int(not good)


if __name__ == "__main__":
    sys.exit(main("--full" in sys.argv[1:]))
