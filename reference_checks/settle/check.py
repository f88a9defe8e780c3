"""The chance that more visits settle a question, against dense algebra and against what visits did.

    python reference_checks/settle/check.py          # well under a minute
    python reference_checks/settle/check.py --full [--processes 2] [--blocks 40]

The first lays the chances beside the answers of `dense_settle.py` (a large Monte Carlo that shares
nothing with bpvet), and the calibration that is published here beside its goals. The second
simulates again, a block of a hundred animals at a time, and writes `results.json` and
`results.md`.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

import bpvet
from bpvet.models.trend.settling import Asked, effect_asked, settling, slope_asked, usual_asked
from reference_checks.settle.calibration import Outcome, block
from reference_checks.settle.summary import Line, goals, lines, page
from reference_checks.settle.worlds import WORLDS
from reference_checks.treated.check import CASES, SITE, case, fitted

HERE = Path(__file__).parent
_DATE_0 = np.datetime64("2024-01-01")
#: Of a chance: the error of 256 points in up to 13 dimensions, 0.027 at most here (with 16 384
#: points nothing is left of it); three standard errors of the Monte Carlo come on top.
TOLERANCE = 0.03
PLANS = {"usual": ((1, 2, 4), 14), "drug": ((1, 2, 4), 14), "slope": ((3, 6, 12), 28)}

#: What is compared, the difference, and its tolerance.
Row = tuple[str, float, float]


def date(day: float) -> str:
    """Return the date of a day of a case."""
    return str(_DATE_0 + np.timedelta64(int(day), "D"))


def trend(of: dict[str, Any], kind: str) -> bpvet.Trend:
    """Return a case through the public library."""
    readings = [
        {"animal": "one", "taken_at": date(s["day"]), "method": "doppler", "systolic": value}
        for s in of["sessions"]
        for value in s["readings"]
    ]
    rows = []
    for i, course in enumerate(of["courses"]):
        following = of["courses"][i + 1 : i + 2]
        stop = course["stop"]
        if following and following[0]["prior"] == "increment":
            stop = following[0]["start"]
        row = {
            "animal": "one",
            "drug": course["drug"],
            "started_on": date(course["start"]),
            "stopped_on": "" if stop is None else date(stop),
            "dose": str(i + 1),
            "dose_unit": "mg",
        }
        rows.append(row)
    animal = {"animal": "one", "species": of["species"]}
    if of["priors"]["first_visit"] is None:
        animal["measured_before"] = "yes"
    records = bpvet.Records.from_frames(
        pd.DataFrame(readings),
        treatments=pd.DataFrame(rows) if rows else None,
        animals=pd.DataFrame([animal]),
        as_of=date(of["sessions"][-1]["day"]),
    )
    fixed = dict(zip(("sv", "sr", "sw"), of["fixed"], strict=True)) if kind == "fixed" else None
    return bpvet.fit_trend(records, "one", rule="all", fixed=fixed)


def asked(of: dict[str, Any], question: str, held: bpvet.Trend) -> Asked:
    """Return a question of a case."""
    if question == "usual":
        return usual_asked(of["target"])
    if question == "slope":
        return slope_asked(held)
    spell = next(one for one in held.treatments if set(one.courses) == set(of["spell"]))
    return effect_asked(held, spell)


def dense_rows(only: str = "") -> Iterator[Row]:
    """Lay every chance of `answers.json` beside ours."""
    cases = json.loads((HERE / "cases.json").read_text(encoding="utf-8"))
    answers = json.loads((HERE / "answers.json").read_text(encoding="utf-8"))
    for name, kinds in answers.items():
        if only and name != only:
            continue
        for kind, questions in kinds.items():
            held = trend(cases[name], kind)
            for question, found in questions.items():
                visits, gap = PLANS[question]
                told = settling(held, [asked(cases[name], question, held)], visits, gap)[0]
                for one in told:
                    if (theirs := found.get(str(one.visits))) is None:
                        continue
                    for what in ("chance", "at_or_below", "above"):
                        off = getattr(one, what) - theirs[what]
                        beyond = max(0.0, abs(off) - 3 * theirs["standard_error"])
                        yield f"{question}, {kind} SDs: {what}", beyond, TOLERANCE


def one_visit_rows() -> Iterator[Row]:
    """Lay the chance of one visit beside a one-dimensional integral, at fixed SDs.

    It stands in the open reference records of treated animals; no points are drawn there.
    """
    for name in (*CASES, SITE):
        of = case(name)
        held = fitted(of, of["fixed_parameters"])
        answers = of["chance_that_one_more_visit_settles_it_with_fixed_parameters"]["answers"]
        for key, theirs in answers.items():
            if key.startswith("usual"):
                question = usual_asked(of["target"])
            elif key.startswith("slope"):
                question = slope_asked(held)
            else:
                question = effect_asked(held, held.treatments[0])
            ((found,),) = settling(held, [question], (1,))
            yield "one visit, fixed SDs: chance", found.chance - theirs["chance"], 0.005
            off = found.at_or_below - theirs["upper_side"]
            yield "one visit, fixed SDs: at or below", off, 0.005
            yield "one visit, fixed SDs: above", found.above - theirs["lower_side"], 0.005


def published() -> list[Line]:
    """Return the calibration as published."""
    held = json.loads((HERE / "results.json").read_text(encoding="utf-8"))
    return [Line(**one) for one in held]


def goal_rows() -> Iterator[Row]:
    """Lay the published calibration beside its goals: 5 points overall, 8 by eighths."""
    yield from goals(published())


def main() -> int:
    """Print the worst difference of each kind; return 1 where one is beyond its tolerance."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--full", action="store_true")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--blocks", type=int, default=40)
    arguments = parser.parse_args()
    if arguments.full:
        simulate(arguments.blocks, arguments.processes)
    worst: dict[str, tuple[float, float]] = {}
    for what, off, tolerance in (*one_visit_rows(), *dense_rows(), *goal_rows()):
        if abs(off) >= worst.get(what, (-1.0, 0.0))[0]:
            worst[what] = (abs(off), tolerance)
    failed = False
    for what, (size, tolerance) in worst.items():
        failed |= size > tolerance
        verdict = "ok" if size <= tolerance else "BEYOND"
        print(f"{what:55s} {size:8.4f}  tolerance {tolerance:g}  {verdict}")
    return int(failed)


def simulate(blocks: int, processes: int) -> None:
    """Simulate all worlds again, and write what came of it."""
    jobs = [(world, index) for world in range(len(WORLDS)) for index in range(blocks)]
    with Pool(processes) as pool:
        found = pool.starmap(_job, jobs, chunksize=1)
    by_world: dict[str, list[Outcome]] = {one.key: [] for one in WORLDS}
    for (world, _), outcomes in zip(jobs, found, strict=True):
        by_world[WORLDS[world].key] += outcomes
    write(by_world)


def _job(world: int, index: int) -> list[Outcome]:
    return block(WORLDS[world], index)


def write(by_world: dict[str, list[Outcome]]) -> None:
    """Write results.json and results.md."""
    held = lines(by_world)
    text = json.dumps([one.__dict__ for one in held], indent=1)
    (HERE / "results.json").write_text(text + "\n", encoding="utf-8")
    (HERE / "results.md").write_text(page(held), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
