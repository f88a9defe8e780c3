"""Readings beyond the gauge: answers beside plain grids, and worlds at the end of the gauge.

    python reference_checks/bounds/check.py

`cases.json` holds invented records (`make_cases.py`), `answers.json` what the slow program
`brute_force.py` makes of them, which shares nothing with bpvet. `--full` simulates two worlds
besides and publishes `results.md` (ten minutes; `--keep FILE` goes on from a run that was cut
short).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import astuple
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

import bpvet
from bpvet.facts.priors.priors import Priors
from reference_checks.bounds.worlds import WORLDS, Cover, Outcome, World, animal, cover

HERE = Path(__file__).parent
DAY_0 = np.datetime64("2026-01-01")
#: Largest differences allowed: means and ends in posterior SDs, the SD as a share of itself.
ALLOWED = {"mean": 0.01, "sd": 0.01, "ends": 0.1, "log evidence": 0.01}
QUANTILES = (0.025, 0.5, 0.975)
FULL, LEAST_COVER = 600, 93.0


def records(case: dict[str, Any]) -> bpvet.Records:
    """Return a case as records."""
    rows = []
    for session in case["sessions"]:
        said = [f"{one:g}" for one in session["readings"]]
        said += [f"> {one}" for one in session.get("above", [])]
        said += [f"< {one}" for one in session.get("below", [])]
        date = str(DAY_0 + session["day"])
        rows += [
            {"animal": "A", "taken_at": date, "method": "doppler", "systolic": s} for s in said
        ]
    tables = {"readings": rows, "animals": [{"animal": "A", "species": "cat"}]}
    if case["courses"]:
        tables["treatments"] = [
            {"animal": "A", "drug": one["drug"], "started_on": str(DAY_0 + one["start_day"])}
            for one in case["courses"]
        ]
    return bpvet.Records.from_frames(**{name: pd.DataFrame(part) for name, part in tables.items()})


def answers(case: dict[str, Any]) -> dict[str, Any]:
    """Return what bpvet makes of a case: the log evidence, and a distribution by name."""
    trend = bpvet.fit_trend(records(case), "A", rule="all", fixed=case.get("fixed_parameters"))
    ahead = case["next_session"]
    found: dict[str, Any] = {"log_evidence": trend.posterior.log_marginal}
    for day in case["ask_days"]:
        found[f"usual_pressure_day_{day}"] = trend.at(DAY_0 + day)
    found["level_untreated_at_t0"], found["slope_per_30_days"] = trend.level, trend.slope
    when = DAY_0 + ahead["day"]
    found["next_session_mean"] = trend.next_session(when, readings=ahead["readings"])
    if case["courses"]:
        found["full_effect_of_spell_1"] = trend.treatments[0].effect
    return found


def apart(found: dict[str, Any], held: dict[str, Any]) -> dict[str, float]:
    """Return the largest differences of one case, in the units of `ALLOWED`."""
    worst = dict.fromkeys(ALLOWED, 0.0)
    worst["log evidence"] = abs(found["log_evidence"] - held["log_evidence"])
    for name, told in found.items():
        if name == "log_evidence":
            continue
        one = held[name]
        ends = zip(QUANTILES, one["quantiles_025_500_975"], strict=True)
        gap = max(abs(float(told.quantile(p)) - end) for p, end in ends) / one["sd"]
        each = {
            "mean": abs(float(told.mean) - one["mean"]) / one["sd"],
            "sd": abs(float(told.sd) / one["sd"] - 1),
            "ends": gap,
        }
        worst |= {key: max(worst[key], value) for key, value in each.items()}
    return worst


def compared() -> tuple[list[str], bool]:
    """Return a line a case, and whether all are near enough."""
    cases = json.loads((HERE / "cases.json").read_text())
    held = json.loads((HERE / "answers.json").read_text())
    lines, good = [], True
    for case in cases:
        start = time.process_time()
        worst = apart(answers(case), held[case["name"]])
        near = all(worst[key] <= ALLOWED[key] for key in ALLOWED)
        good &= near
        numbers = ", ".join(f"{key} {worst[key]:.1g}" for key in ALLOWED)
        seconds = time.process_time() - start
        lines.append(f"{case['name']}: {numbers}; {seconds:.1f} s{'' if near else '  TOO FAR'}")
    return lines, good


def simulated(world: World, wanted: int, keep: Path | None) -> list[Outcome]:
    """Return the first animals of a world that have a reading beyond the gauge."""
    priors = Priors.default("cat", "doppler")
    known: dict[str, Any] = json.loads(keep.read_text()) if keep and keep.exists() else {}
    found: list[Outcome] = []
    seed = 0
    while len(found) < wanted:
        key = f"{world.name}, {seed}"
        if key not in known:
            known[key] = astuple(animal(world, priors, seed))
            if keep:
                keep.write_text(json.dumps(known))
        one = Outcome(*(tuple(part) if isinstance(part, list) else part for part in known[key]))
        found += [one] if one.beyond else []
        seed += 1
    return found


def page(lines: list[str], told: list[tuple[World, Cover]]) -> str:
    """Return the results as a page."""
    rows = [
        f"| {world.name} | {one.animals} | {one.beyond:.0f} | {one.usual:.1f} | "
        f"{one.above_low:.1f} | {one.following:.1f} | {one.as_numbers:.1f} | {one.error:.1f} |"
        for world, one in told
    ]
    return "\n".join(
        [
            "# Readings beyond the gauge",
            "",
            "Largest differences from plain grids over visit pressures and noise SDs: means and",
            "ends in posterior SDs, SDs as a share, log evidence plain; allowed "
            + ", ".join(f"{key} {value:g}" for key, value in ALLOWED.items())
            + ".",
            "",
            *(f"- {line}" for line in lines),
            "",
            "Worlds: untreated cats by Doppler, three visits two weeks apart, four readings each;",
            "noise SDs, slope, wander and first-visit excitement drawn from the priors, usual",
            "pressure as named; animals with at least one reading beyond the gauge. How often 95 %",
            "intervals hold the truth, per cent; *as numbers*: the gauge's end taken for the",
            "reading, as it used to be.",
            "",
            "| world | animals | readings beyond, % | usual pressure | its lower end alone "
            "(97.5 %) | next session | as numbers | standard error |",
            "|---|---|---|---|---|---|---|---|",
            *rows,
            "",
        ]
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the check; return the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--full", action="store_true", help="worlds too; publishes")
    parser.add_argument("--animals", type=int, default=FULL, help="animals of each world")
    parser.add_argument("--keep", type=Path, help="a file that animals are kept in")
    given = parser.parse_args(arguments)
    lines, good = compared()
    print("\n".join(lines), f"allowed: {ALLOWED}", sep="\n")
    if given.full:
        told = [(one, cover(simulated(one, given.animals, given.keep))) for one in WORLDS]
        for world, one in told:
            good &= one.usual >= LEAST_COVER
            print(f"{world.name}: usual pressure held by {one.usual:.1f} % of {one.animals}")
        (HERE / "results.md").write_text(page(lines, told))
    print("kept" if good else "NOT KEPT")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
