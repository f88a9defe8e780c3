"""Do the intervals of a trend hold the truth as often as they say? Simulated worlds, as measured.

    python reference_checks/coverage/check.py

fits a small run: the own world must cover as stated within Monte-Carlo error, and the first
animals of every world must agree with the published table; so must urgent lines and visits a year
of a few animals of `safety_run.py`, which publishes those. With `--full`, every world at full
size; the table is printed and published anew in `results.json` and `results.md` (minutes).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import chain
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import scipy

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.coverage.measure import BLOCK, LEVELS, SEED, Held, held
from reference_checks.coverage.safety_run import compared as safety_compared
from reference_checks.coverage.safety_run import with_sections
from reference_checks.coverage.summary import (
    LEAST,
    MOST,
    Line,
    Measured,
    lines,
    markdown_tables,
    shortfalls,
    text_table,
)
from reference_checks.coverage.worlds import WORLDS, World, cat_priors

HERE = Path(__file__).parent
#: Animals of the full run in the own world and in each other one.
FULL_OWN, FULL_OTHER = 10_000, 4_000
#: Blocks of the own world, and animals of each other world, in the small run.
SMALL_OWN_BLOCKS, SMALL_OTHER = 2, 60
#: Monte-Carlo standard errors allowed: about one false alarm in 15 000 comparisons.
ALLOWED = 4.0
#: Blocks of each world in which the widths of intervals are measured as well.
WIDTH_BLOCKS = 1

Job = tuple[World, int, int, bool]
Compared = tuple[str, float, float, float]


def job(of: Job) -> Held:
    """Fit one block of a world."""
    world, block, animals, widths = of
    return held(world, block, animals, cat_priors(), widths=widths)


def full_jobs(world: World) -> list[Job]:
    """Return the blocks of a world at full size."""
    animals = FULL_OWN if world.key == "own" else FULL_OTHER
    return [(world, block, BLOCK, block < WIDTH_BLOCKS) for block in range(animals // BLOCK)]


def publish(processes: int) -> int:
    """Run every world at full size; print and write the table."""
    measured: list[tuple[World, list[Line]]] = []
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for world in WORLDS:
            measured.append((world, lines(list(pool.map(job, full_jobs(world))))))
            print(f"{world.words}\n{text_table(measured[-1][1])}", flush=True)
    content = {
        "seed": SEED,
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "worlds": {world.key: [line.plain() for line in of] for world, of in measured},
    }
    (HERE / "results.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    (HERE / "results.md").write_text(with_sections(_page(measured)), encoding="utf-8")
    cover = {line.answer: line.cover[-1].value for line in measured[0][1]}
    outside = [answer for answer, value in cover.items() if not LEAST <= value <= MOST]
    print(f"own world, 95 % intervals outside {LEAST:.0%} to {MOST:.0%}: {outside or 'none'}")
    return int(bool(outside))


def _page(measured: Sequence[tuple[World, list[Line]]]) -> str:
    tables = markdown_tables([(world.words, of) for world, of in measured])
    short = [f"- {one}" for world, of in measured for one in shortfalls(world.words, of)]
    return (
        "# Coverage as measured\n\n"
        "Written by `python reference_checks/coverage/check.py --full`; the worlds are in "
        "`worlds.py`.\n"
        f"Seed {SEED}; numpy {np.__version__}, scipy {scipy.__version__}. After ± stands one "
        "Monte-Carlo standard error.\n\n"
        "Cats measured by Doppler: 1 to 14 sessions of 3 to 6 readings over up to two years; "
        "half of those with two sessions or more start\n"
        "one course in mid-record. Everything is drawn from the default priors and fitted under "
        "them, by the rule `guideline`; each other world\n"
        "differs from the own one as it is named. Treated animals are drawn from the three "
        "groups: most effects are falls, and a fall told too small\n"
        "is a bias above 0. Widths are those of the first "
        f"{WIDTH_BLOCKS * BLOCK} animals.\n\n"
        f"{tables}\n\n"
        "## Where 95 % intervals cover less than 94 %\n\n" + "\n".join(short) + "\n"
    )


def compared() -> Iterator[Compared]:
    """Yield what the small run compares: words, found, expected, and one Monte-Carlo error."""
    own = lines([job((WORLDS[0], block, BLOCK, False)) for block in range(SMALL_OWN_BLOCKS)])
    for line in own:
        for level, found in zip(LEVELS, line.cover, strict=True):
            se = float(np.sqrt(level * (1 - level) / line.animals))
            yield f"own: {100 * level:.0f} % of {line.answer} covers", found.value, level, se
        yield f"own: bias of {line.answer}", line.bias.value, 0.0, line.bias.se
    published = json.loads((HERE / "results.json").read_text(encoding="utf-8"))["worlds"]
    for world in WORLDS[1:]:
        small = lines([job((world, 0, SMALL_OTHER, False))])
        for line, plain in zip(small, published[world.key], strict=True):
            told = Line.from_plain(plain)
            yield _against(f"{world.key}: 95 % of {line.answer}", line, told.cover[-1], -1)
            yield _against(f"{world.key}: bias of {line.answer}", line, told.bias, None)


def _against(words: str, line: Line, told: Measured, cover: int | None) -> Compared:
    found = line.bias if cover is None else line.cover[cover]
    share = told.value
    # The error of a share from the published value: that of a few animals is itself uncertain.
    se = found.se if cover is None else float(np.sqrt(share * (1 - share) / line.animals))
    return words, found.value, told.value, float(np.hypot(se, told.se))


def check() -> int:
    """Print the small run beside what it must agree with; return 1 where it does not."""
    failed = False
    print(f"{'':44}{'found':>9}{'expected':>10}{'± MC error':>12}{'errors off':>12}")
    for words, found, expected, se in chain(compared(), safety_compared()):
        off = abs(found - expected) / se
        failed |= not off <= ALLOWED
        verdict = "" if off <= ALLOWED else "  BEYOND"
        print(f"{words:44}{found:9.3f}{expected:10.3f}{se:12.3f}{off:12.1f}{verdict}")
    print(f"tolerance: {ALLOWED:g} Monte-Carlo standard errors")
    return int(failed)


def main() -> int:
    """Run the small check, or with ``--full`` publish the table anew."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="every world; rewrites results.*")
    parser.add_argument("--processes", type=int, default=1, help="for --full (default 1)")
    options = parser.parse_args()
    return publish(options.processes) if options.full else check()


if __name__ == "__main__":
    sys.exit(main())
