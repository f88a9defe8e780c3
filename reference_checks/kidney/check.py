"""Coverage of the joint model of pressure and a laboratory value, and of the stage's probabilities.

    python reference_checks/kidney/check.py            a few animals, beside 95 %
    python reference_checks/kidney/check.py --full     as published in results.md

Animals are drawn from the model itself: noise SDs, level, slope and correlation from their priors,
ten visits seven weeks apart with five Doppler readings, a laboratory value at each; and from worlds
that differ from it. An interval of 95 % must hold the truth in 95 of 100 animals; stages that are
said to be p likely must hold in a share p of them.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

import bpvet
from bpvet.facts.priors.priors import Priors
from bpvet.facts.stages import staging
from bpvet.facts.words import UNITS
from bpvet.models.kidney.joint import GRID

EVERY, READINGS = 49, 5
#: What the drug of one world does to pressure, mmHg; it moves no laboratory value.
FALL = -25.0
RESULTS = Path(__file__).with_name("results.md")
#: Values beyond these the record check would rightly set aside: such animals are drawn again.
PLAUSIBLE = {
    "systolic": (70.0, 280.0),
    "creatinine": (30.0, 1200.0),
    "sdma": (4.0, 90.0),
    "upc": (0.02, 20.0),
    "weight": (1.5, 11.0),
}


@dataclass(frozen=True)
class World:
    """How animals are drawn: own world, but for what is named."""

    name: str
    markers: tuple[str, ...] = ("creatinine",)
    visits: int = 10
    every_marker: int = 1
    heavy: bool = False
    drug: bool = False


WORLDS = (
    World("own world, creatinine"),
    World("own world, SDMA", ("sdma",)),
    World("own world, protein in the urine", ("upc",)),
    World("own world, weight", ("weight",)),
    World("creatinine and SDMA, moving apart", ("creatinine", "sdma")),
    World("five visits", visits=5),
    World("creatinine at every other visit", every_marker=2),
    World("t-distributed visits (3 df, same SD)", heavy=True),
    World("a drug begun after the fifth visit lowers pressure by 25", drug=True),
)


@dataclass(frozen=True)
class Truth:
    """What one animal was made of: usual values of the latest date, changes a month."""

    correlation: float
    usual: dict[str, float]
    slope: dict[str, float]


def drawn(rng: np.random.Generator, world: World) -> tuple[bpvet.Records, Truth]:
    """Return records of one animal and what it was made of; implausible ones are drawn again."""
    while True:
        values, truth = animal(rng, world)
        pairs = ((PLAUSIBLE[name], one) for name, one in values.items())
        if all(low < one.min() and one.max() < high for (low, high), one in pairs):
            return recorded(rng, world, values), truth


def animal(rng: np.random.Generator, world: World) -> tuple[dict[str, np.ndarray], Truth]:
    """Return an animal's visit pressures and laboratory values, and what it was made of."""
    names = ("systolic", *world.markers)
    day = np.arange(world.visits) * float(EVERY)
    r = float(rng.choice(GRID))
    # Each marker goes with the pressure; of two, the second goes its own way.
    joined = np.eye(len(names))
    joined[0, 1] = joined[1, 0] = r
    near = np.exp(-np.abs(day[:, None] - day) / Priors.default("cat", "doppler").wander_days)
    root = np.linalg.cholesky(np.kron(joined, near) + 1e-10 * np.eye(len(names) * day.size))
    wander = (root @ rng.normal(size=root.shape[0])).reshape(len(names), -1)
    slopes = np.linalg.cholesky(joined) @ rng.normal(size=len(names))
    values, usual, each = {}, {}, {}
    for place, name in enumerate(names):
        how = ("doppler",) if name == "systolic" else ("laboratory", name)
        priors = Priors.default("cat", *how)
        sv, sw = (m * math.exp(s * rng.normal()) for m, s in (priors.sv, priors.sw))
        slope = priors.slope_sd * slopes[place]
        mu = rng.normal(*priors.level) + slope * (day - day[-1]) / 30 + sw * wander[place]
        if name == "systolic" and world.drug:
            mu = mu + FALL * (day > day[4])
        noise = (
            rng.standard_t(3, day.size) / math.sqrt(3) if world.heavy else rng.normal(size=day.size)
        )
        found = mu + sv * noise
        plain = name == "systolic"
        values[name] = found if plain else np.exp(found)
        usual[name] = float(mu[-1]) if plain else math.exp(mu[-1])
        each[name] = slope if plain else 100 * math.expm1(slope)
    return values, Truth(r, usual, each)


def recorded(
    rng: np.random.Generator, world: World, values: dict[str, np.ndarray]
) -> bpvet.Records:
    """Return the records of an animal: five readings about each visit's pressure, and the labs."""
    own = Priors.default("cat", "doppler")
    sr = own.sr[0] * math.exp(own.sr[1] * rng.normal())
    day = np.arange(world.visits) * float(EVERY)
    dates = np.datetime64("2024-06-01") + day.astype("timedelta64[D]")
    readings = [
        {
            "animal": "A1",
            "taken_at": str(one),
            "method": "doppler",
            "systolic": round(mean + sr * rng.normal(), 3),
            "reading": k + 1,
        }
        for one, mean in zip(dates, values["systolic"], strict=True)
        for k in range(READINGS)
    ]
    labs = [
        {
            "animal": "A1",
            "sampled_on": str(one),
            "analyte": name,
            "value": round(float(value), 4),
            "unit": UNITS[name],
        }
        for name in world.markers
        # Counted from the newest: its date is the latest of the pressure too.
        for one, value in list(zip(dates, values[name], strict=True))[:: -world.every_marker]
    ]
    given = {"animal": "A1", "drug": "amlodipine", "started_on": str(dates[4] + 1)}
    return bpvet.Records.from_frames(
        pd.DataFrame(readings),
        labs=pd.DataFrame(labs),
        treatments=pd.DataFrame([given]) if world.drug else None,
        animals=pd.DataFrame([{"animal": "A1", "species": "cat", "measured_before": "yes"}]),
        as_of=str(dates[-1] + 1),
    )


def looked_at(records: bpvet.Records, world: World, truth: Truth) -> dict[str, float]:
    """Return, of one animal, which intervals held the truth and how surely a stage was given."""
    marker = world.markers[0]
    joint = bpvet.fit_joint(records, "A1", marker)
    asked = {
        "usual pressure": (joint.latest_pressure, truth.usual["systolic"]),
        "usual marker": (joint.latest_marker, truth.usual[marker]),
        "pressure a month": (joint.slope_pressure, truth.slope["systolic"]),
        "marker a month": (joint.slope_marker, truth.slope[marker]),
    }
    found = {}
    for name, (mixture, value) in asked.items():
        low, high = mixture.interval(0.95)
        found[name] = float(low <= value <= high)
    _, low, high = joint.correlation
    found["correlation"] = float(low <= truth.correlation <= high)
    _, soonest, latest = joint.doubling
    rate = truth.slope[marker]
    true = math.inf if rate <= 0 else math.log(2) / math.log1p(rate / 100)
    found["doubling time"] = float(soonest <= true <= latest)
    return found | staged(records, world, truth)


def staged(records: bpvet.Records, world: World, truth: Truth) -> dict[str, float]:
    """Return how likely the likeliest stage was said to be, and whether it was so."""
    kidney = bpvet.kidney(records, "A1")
    table = kidney.proteinuria.probability if "upc" in world.markers else kidney.combined
    bounds = [staging(name, "cat", UNITS[name]) for name in world.markers]
    if not table or any(one is None for one in bounds):
        return {"stage, said": math.nan, "stage, true": math.nan}
    places = [
        one.place_of(truth.usual[name])
        for name, one in zip(world.markers, bounds, strict=True)
        if one is not None
    ]
    shares = np.array(list(table.values()))
    return {
        "stage, said": float(shares.max()),
        "stage, true": float(shares.argmax() == max(places)),
    }


def percent(shares: pd.Series) -> str:
    """Return a share in per cent with its Monte-Carlo standard error."""
    share, count = shares.mean(), len(shares)
    return f"{100 * share:.1f} ± {100 * math.sqrt(max(share * (1 - share), 1e-9) / count):.1f}"


def coverage_table(found: dict[str, pd.DataFrame]) -> str:
    """Return the table of coverages, a row a world."""
    names = [name for name in next(iter(found.values())).columns if "stage" not in name]
    lines = [f"| world | animals | {' | '.join(names)} |", "|---" * (len(names) + 2) + "|"]
    for world, rows in found.items():
        shown = " | ".join(percent(rows[name]) for name in names)
        lines.append(f"| {world} | {len(rows)} | {shown} |")
    return "\n".join(lines)


def stage_table(found: dict[str, pd.DataFrame]) -> str:
    """Return how often the likeliest stage was so, by how likely it was said to be."""
    ends = ((0.0, 0.7), (0.7, 0.9), (0.9, 1.01))
    heads = " | ".join(f"{100 * a:.0f}–{min(100 * b, 100):.0f} %" for a, b in ends)
    lines = [f"| world | {heads} |", "|---" * (len(ends) + 1) + "|"]
    for world, rows in found.items():
        known = rows.dropna()
        cells = []
        for low, high in ends:
            own = known[(known["stage, said"] >= low) & (known["stage, said"] < high)]
            if len(own) == 0:
                cells.append("none")
                continue
            said, true = 100 * own["stage, said"].mean(), percent(own["stage, true"])
            cells.append(f"{len(own)}: said {said:.0f}, so in {true}")
        if len(known):
            lines.append(f"| {world} | {' | '.join(cells)} |")
    return "\n".join(lines)


def page(found: dict[str, pd.DataFrame]) -> str:
    """Return results.md; worlds that were not run are named."""
    rest = [world.name for world in WORLDS if world.name not in found]
    missing = f"Not run yet: {'; '.join(rest)}.\n\n" if rest else ""
    return (
        "# Pressure and a laboratory value together: coverage\n\n"
        "Invented cats drawn from the model itself, but for what is named (`check.py --full`): "
        "ten visits seven weeks apart, a laboratory value at each.\n\n"
        "Per cent of 95 % intervals that hold the truth, ± one Monte-Carlo standard error. With "
        "two markers the intervals are of the first.\n\n"
        f"{coverage_table(found)}\n\n{missing}"
        "How often the likeliest stage (of protein in the urine: substage; of two markers: the "
        "higher) was so, by how likely it was said to be: animals, its mean probability, and in "
        "how many per cent of them it was so.\n\n"
        f"{stage_table(found)}\n"
    )


def main() -> int:
    """Run the check; status 1 where a coverage in the own world is lower than chance allows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--animals", type=int, help="in each world")
    asked = parser.parse_args()
    animals = asked.animals or (250 if asked.full else 6)
    found: dict[str, pd.DataFrame] = {}
    for number, world in enumerate(WORLDS):
        rng = np.random.default_rng([20261118, number])
        rows = []
        for _ in range(animals):
            records, truth = drawn(rng, world)
            rows.append(looked_at(records, world, truth))
        found[world.name] = pd.DataFrame(rows)
        if asked.full:
            # World by world: what was run is published, whatever interrupts the rest.
            RESULTS.write_text(page(found), encoding="utf-8")
    print(page(found))
    least = 0.95 - 4 * math.sqrt(0.95 * 0.05 / animals)
    own = [rows for world, rows in found.items() if world.startswith("own world")]
    return int(any(bool((rows.iloc[:, :6].mean() < least).any()) for rows in own))


if __name__ == "__main__":
    raise SystemExit(main())
