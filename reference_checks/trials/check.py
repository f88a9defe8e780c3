"""Animals shaped like the published trials, not like our prior: bias, cover, and the verdicts.

    python reference_checks/trials/check.py

draws and fits a few animals of every arm and holds them against what was published. `--full` draws
3 000 of every arm and publishes `results.json` and `results.md` (ten minutes of a quiet core);
`--keep DIR` goes on from blocks that are there. `--full --single` does the same under one normal
level and effect, for the table that compares, in `single.json`.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.trials.arms import ARMS, Arm
from reference_checks.trials.measure import (
    ANSWERS,
    BLOCK,
    SEED,
    Figure,
    Held,
    Row,
    default_priors,
    goals,
    held,
    row,
    single_priors,
)
from reference_checks.trials.page import page, text_line

HERE = Path(__file__).parent
FULL = 3_000
#: Animals of each arm in the small run.
SMALL = 60
#: Monte-Carlo standard errors allowed in the small run: about one false alarm in 15 000.
ALLOWED = 4.0

Job = tuple[str, int, int, str | None, bool]


def job(of: Job) -> Held:
    """Fit one block of an arm, or take it from the folder that keeps them."""
    key, block, animals, keep, single = of
    kept = Path(keep) / f"{'single_' * single}{key}_{block}.pickle" if keep else None
    if kept is not None and kept.exists():
        found: Held = pickle.loads(kept.read_bytes())
        return found
    arm = next(one for one in ARMS if one.key == key)
    made = held(arm, block, animals, single_priors() if single else default_priors())
    if kept is not None:
        kept.write_bytes(pickle.dumps(made))
    return made


def publish(processes: int, animals: int, keep: str | None, *, single: bool = False) -> int:
    """Run every arm at full size; print and write the tables."""
    rows: list[tuple[Arm, Row]] = []
    blocks = range(animals // BLOCK)
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for arm in ARMS:
            jobs: list[Job] = [(arm.key, block, BLOCK, keep, single) for block in blocks]
            rows.append((arm, row(arm, list(pool.map(job, jobs)))))
            print(text_line(*rows[-1]), flush=True)
    content = {"seed": SEED, "arms": {arm.key: found.plain() for arm, found in rows}}
    name = "single" if single else "results"
    (HERE / f"{name}.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    if single:
        return 0
    (HERE / "results.md").write_text(page(rows, published("single")), encoding="utf-8")
    return int(not all(_kept(rows)))


def _kept(rows: Sequence[tuple[Arm, Row]]) -> list[bool]:
    """Print what each arm must keep, and return whether it does."""
    kept = []
    for arm, found in rows:
        for words, value, bound, holds in goals(arm, found):
            kept.append(holds)
            mark = "ok" if holds else "BEYOND"
            print(f"  {arm.key:22}{words:32}{value:9.3f}  goal {bound:g}  {mark}")
    return kept


def published(name: str = "results") -> dict[str, Row]:
    """Return the published rows by arm: ``results``, or ``single``."""
    content = json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))
    return {key: Row.from_plain(plain) for key, plain in content["arms"].items()}


def check(animals: int = SMALL) -> int:
    """Print the small run beside what it must agree with; return 1 where it does not."""
    told = published()
    agreed = True
    print(f"{'':24}{'found':>9}{'published':>11}{'errors off':>12}")
    for arm in ARMS:
        found = row(arm, [held(arm, 0, animals, default_priors())])
        for answer in ANSWERS:
            if answer not in found.bias:
                continue
            both = (
                ("bias", found.bias[answer], told[arm.key].bias[answer]),
                ("cover", found.cover[answer], told[arm.key].cover[answer]),
            )
            for what, mine, theirs in both:
                off = _errors_off(what, mine, theirs)
                agreed &= off <= ALLOWED
                verdict = "" if off <= ALLOWED else "  BEYOND"
                words = f"{arm.key}: {what}, {answer}"
                print(f"{words:48}{mine.value:9.3f}{theirs.value:11.3f}{off:8.1f}{verdict}")
    print(f"tolerance: {ALLOWED:g} Monte-Carlo standard errors")
    return int(not agreed)


def _errors_off(what: str, mine: Figure, theirs: Figure) -> float:
    """Return how many Monte-Carlo errors the small run lies from what was published."""
    # The error of a share from the published value: that of a few animals is itself uncertain.
    se = mine.se
    if what == "cover":
        at = min(max(theirs.value, 0.02), 0.98)
        se = (at * (1 - at) / mine.n) ** 0.5
    return abs(mine.value - theirs.value) / float((se**2 + theirs.se**2) ** 0.5)


def main() -> int:
    """Run the small check, or with ``--full`` publish the tables anew."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="every arm; rewrites results.*")
    parser.add_argument("--processes", type=int, default=1, help="for --full (default 1)")
    parser.add_argument("--animals", type=int, default=FULL, help="an arm, for --full")
    parser.add_argument("--single", action="store_true", help="without groups, for --full")
    parser.add_argument("--keep", help="a folder that keeps the blocks of a full run")
    options = parser.parse_args()
    if not options.full:
        return check()
    if options.keep:
        Path(options.keep).mkdir(parents=True, exist_ok=True)
    return publish(options.processes, options.animals, options.keep, single=options.single)


if __name__ == "__main__":
    sys.exit(main())
