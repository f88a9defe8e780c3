"""Urgent lines and the recheck rule in simulated clinics: every figure, published as measured.

    nice .venv/bin/python -m reference_checks.coverage.safety_run --processes 2

rewrites `safety.json` and its sections of `results.md` (with `--page` only those). The small run is
part of `check.py`.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from reference_checks.coverage.alarms import Block, Figures, budget, cost, delays
from reference_checks.coverage.clinic import visits
from reference_checks.coverage.measure import SEED
from reference_checks.coverage.patients import World, patients
from reference_checks.coverage.safety_page import HEADING, sections

HERE = Path(__file__).parent
#: Blocks a world, animals a block, and days that they are followed.
BLOCKS, BLOCK, DAYS = 4, 125, 730
#: Days beyond that the truth is drawn for: the longest wait.
BEYOND = 400
SMALL = 24
FIXED = (30, 90, 180)

BUDGET = (
    World("nominal", "nominal", "steady"),
    World("harder", "harder: visit SD 14, tails of t3", "steady", harder=True),
    World("nominal_words", "nominal, with past reactions and words", "steady", wordy=True),
    World(
        "harder_words", "harder, with past reactions and words", "steady", harder=True, wordy=True
    ),
)
EVENTS = (
    World("events", "nominal", "steady", events=True),
    World("events_harder", "harder: visit SD 14, tails of t3", "steady", harder=True, events=True),
)
COST = (
    World("clinic", "nominal clinic, middle of the window", "mixed"),
    World("clinic_latest", "nominal clinic, its latest day", "mixed", at="latest"),
    World("hard", "hard to control, middle of the window", "hard"),
    World("hard_latest", "hard to control, its latest day", "hard", at="latest"),
)
WORLDS = BUDGET + EVENTS + COST
Job = tuple[World, int, int, int | None]


def job(of: Job) -> Block:
    """Follow one block of a world; the same world and number are the same animals, always."""
    world, block, animals, every = of
    # Who they are hangs on neither the day within the window nor the interval.
    name = world.key.removesuffix("_latest")
    drawn = patients(
        world, animals, DAYS + BEYOND, np.random.default_rng([SEED, *name.encode(), block])
    )
    rng = np.random.default_rng([SEED, *name.encode(), block, 1])
    return drawn, visits(world, drawn, DAYS, rng, every=every)


def figures(world: World, blocks: list[Block]) -> list[Figures]:
    """Return the figures of a world."""
    if world.acts:
        return [cost(blocks, DAYS)]
    return delays(blocks) if world.events else budget(blocks)


def publish(processes: int, blocks: int, keep: Path | None) -> int:
    """Run every world and publish it; with `keep`, blocks that stand there are not run again."""
    # One animal after another: threads of the algebra would only wait for each other.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    begun = time.time()
    # Every world's first block before any second one: a run that is cut short has all worlds.
    jobs: list[tuple[Job, Path | None]] = [
        ((world, block, BLOCK, None), keep) for block in range(blocks) for world in WORLDS
    ]
    done: dict[str, list[Block]] = {world.key: [] for world in WORLDS}
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for (of, _), block in zip(jobs, pool.map(_kept, jobs), strict=True):
            done[of[0].key].append(block)
            print(f"{time.time() - begun:6.0f} s  {of[0].key} {of[1]}", flush=True)
    found: dict[str, object] = {"seed": SEED, "animals": blocks * BLOCK, "days": DAYS}
    found |= {world.key: figures(world, done[world.key]) for world in WORLDS}
    for world in (COST[0], COST[2]):
        for every in FIXED:
            fixed = [job((world, block, BLOCK, every)) for block in range(blocks)]
            found[f"{world.key}_{every}"] = figures(world, fixed)
    (HERE / "safety.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    write_page()
    return 0


def _kept(of: tuple[Job, Path | None]) -> Block:
    """Run a block, or take it from where it was kept."""
    (world, number, *_), keep = of
    if keep is None:
        return job(of[0])
    place = keep / f"{world.key}_{number}.pickle"
    if not place.exists():
        keep.mkdir(parents=True, exist_ok=True)
        part = place.with_suffix(".part")
        part.write_bytes(pickle.dumps(job(of[0])))
        part.replace(place)
    found: Block = pickle.loads(place.read_bytes())
    return found


def write_page() -> None:
    """Write the sections of `results.md` anew, from `safety.json`."""
    page = (HERE / "results.md").read_text(encoding="utf-8")
    (HERE / "results.md").write_text(with_sections(page), encoding="utf-8")


def with_sections(page: str) -> str:
    """Return a page with these sections at its end, in place of those that it has."""
    found = json.loads((HERE / "safety.json").read_text(encoding="utf-8"))
    return page.split(HEADING)[0] + sections(found)


def compared() -> Iterator[tuple[str, float, float, float]]:
    """Yield what the small run compares: words, found, published, one Monte-Carlo error."""
    told = json.loads((HERE / "safety.json").read_text(encoding="utf-8"))
    for world in (BUDGET[0], BUDGET[3], COST[0]):
        name = "mean" if world.acts else "per_100"
        small = figures(world, [job((world, 0, SMALL, None))])[0]
        published = told[world.key][0]
        # A few animals may have no line at all: their error is that of the published run.
        share = np.sqrt(1 + published["animals"] / small["animals"])
        words = f"{world.key}: {'visits a year' if world.acts else 'urgent lines in 100'}"
        yield words, small[name], published[name], published["se"] * float(share)


def main() -> int:
    """Publish the figures anew, or only their page."""
    assert __doc__ is not None
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--processes", type=int, default=1, help="default 1")
    parser.add_argument("--blocks", type=int, default=BLOCKS, help=f"of {BLOCK} animals a world")
    parser.add_argument("--keep", type=Path, help="folder of finished blocks: a run goes on there")
    parser.add_argument("--page", action="store_true", help="only the sections, from safety.json")
    options = parser.parse_args()
    if options.page:
        write_page()
        return 0
    return publish(options.processes, options.blocks, options.keep)


if __name__ == "__main__":
    sys.exit(main())
