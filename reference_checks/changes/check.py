"""A recorded change of site: against plain dense arithmetic, and what it does in simulation.

    python reference_checks/changes/check.py

compares the trend with `../treated/site_changed_untreated.json` (readings invented; answers by a
dense program that shares nothing with this project) to the tolerances of the model, and fits a few
simulated animals, which must agree with `results.md` within Monte-Carlo error. With `--full`, the
table is published anew (some minutes).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy

sys.path.insert(0, str(Path(__file__).parents[2]))

import bpvet
from reference_checks.changes.simulated import SEED, Arm, measured

HERE = Path(__file__).parent
CASE = "site_changed_untreated"
FULL, SMALL = 4000, 150
#: Monte-Carlo standard errors allowed.
ALLOWED = 4.0
_DAY_0 = np.datetime64("2024-01-01")

Difference = tuple[str, float, float]


def case() -> dict[str, Any]:
    """Return the case with its reference answers."""
    return json.loads((HERE.parent / "treated" / f"{CASE}.json").read_text(encoding="utf-8"))


def records(of: dict[str, Any]) -> bpvet.Records:
    """Return the case as records: readings by Doppler, with the site where it is recorded."""
    rows = [
        {
            "animal": "one",
            "taken_at": str(_DAY_0 + session["day"]),
            "method": "doppler",
            "systolic": value,
            "site": session.get("site", ""),
        }
        for session in of["sessions"]
        for value in session["readings"]
    ]
    animals = pd.DataFrame([{"animal": "one", "species": "cat"}])
    as_of = str(_DAY_0 + of["t0_day"])
    return bpvet.Records.from_frames(pd.DataFrame(rows), animals=animals, as_of=as_of)


def differences() -> Iterator[Difference]:
    """Yield every difference from the reference, and its tolerance."""
    of = case()
    held = of["answers_with_fixed_parameters"]
    trend = bpvet.fit_trend(records(of), "one", rule="all", fixed=of["fixed_parameters"])
    evidence = trend.log_marginal_likelihood - held["log_evidence_of_all_readings"]
    yield "log-likelihood at fixed SDs", evidence, 1e-8
    for name, mixture in _answers(trend, of):
        yield "mean at fixed SDs", mixture.mean - held[name]["mean"], 1e-8
        yield "SD at fixed SDs", mixture.sd - held[name]["sd"], 1e-8
    held = of["answers_with_sds_integrated_out"]
    trend = bpvet.fit_trend(records(of), "one", rule="all")
    evidence = trend.log_marginal_likelihood - held["log_evidence_of_all_readings"]
    yield "log marginal likelihood", evidence, 1e-3
    for name, mixture in _answers(trend, of):
        one = held[name]
        yield "mean, in posterior SDs", (mixture.mean - one["mean"]) / one["sd"], 0.001
        yield "SD, relative", mixture.sd / one["sd"] - 1, 0.001
        ends = one["quantiles_025_500_975"][::2]
        for mine, theirs in zip(mixture.interval(0.95), ends, strict=True):
            allowed = max(0.02, 0.002 * one["sd"])
            yield "interval ends, of max(0.02, 0.002 SD)", (mine - theirs) / allowed, 1.0
    usual = held["usual_pressure_day_130"]["p_at_or_below_160"]
    yield "probability", float(trend.latest.below(160)) - usual, 0.001
    slope = held["slope_per_30_days"]["p_rising_by_1"]
    yield "probability", float(trend.slope.above(1)) - slope, 0.001


def _answers(trend: bpvet.Trend, of: dict[str, Any]) -> Iterator[tuple[str, bpvet.Mixture]]:
    for day in of["ask_days"]:
        yield f"usual_pressure_day_{day}", trend.at(_DAY_0 + day)
    yield "level_untreated_at_t0", trend.level
    yield "slope_per_30_days", trend.slope
    if trend.first_visit is not None:
        yield "first_visit_excitement", trend.first_visit
    for one in trend.changes:
        yield f"latest_{one.change.kind}_minus_{one.change.other}", one.difference
    following = of["next_session"]
    yield (
        "next_session_mean",
        trend.next_session(_DAY_0 + following["day"], readings=following["readings"]),
    )


def simulated_differences(arms: list[Arm]) -> Iterator[Difference]:
    """Yield what the simulated animals differ by from the published table, in standard errors."""
    published = json.loads((HERE / "results.json").read_text(encoding="utf-8"))
    for arm, held in zip(arms, published, strict=True):
        for i in (0, 1):
            cover, rmse = held["cover"][i], held["rmse"][i]
            error = np.sqrt(cover * (1 - cover) / arm.animals)
            yield "cover, in standard errors", (arm.cover[i] - cover) / error, ALLOWED
            # Twice the error of a normal sample's SD: a mixture's tails are heavier.
            error = 2 * rmse / np.sqrt(2 * arm.animals)
            yield "RMSE, in standard errors", (arm.rmse[i] - rmse) / error, ALLOWED


def publish(arms: list[Arm]) -> None:
    """Write the table anew."""
    plain = [
        {"words": a.words, "animals": a.animals, "cover": a.cover, "rmse": a.rmse} for a in arms
    ]
    text = json.dumps(plain, indent=1, default=float)
    (HERE / "results.json").write_text(f"{text}\n", encoding="utf-8")
    lines = [
        "# Half the sessions at another site, as measured",
        "",
        f"Written by `python reference_checks/changes/check.py --full`. Seed {SEED}; numpy "
        f"{np.__version__}, scipy {scipy.__version__}.",
        "Untreated animals of the own world with six sessions or more, half of them at another "
        "site, the latest not.",
        "Usual pressure at the latest session: cover of the 95 % interval, per cent, and "
        "root-mean-square error, mmHg.",
        "",
        "| truth | animals | cover, site ignored | allowed for | RMSE, ignored | allowed for |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {a.words} | {a.animals} | {100 * a.cover[0]:.1f} | {100 * a.cover[1]:.1f} "
        f"| {a.rmse[0]:.1f} | {a.rmse[1]:.1f} |"
        for a in arms
    ]
    (HERE / "results.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> int:
    """Print the worst difference of each kind; return 1 where one is beyond its tolerance."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true", help="publish the table anew")
    if parser.parse_args().full:
        publish(measured(FULL))
    worst: dict[str, tuple[float, float]] = {}
    for what, difference, tolerance in [*differences(), *simulated_differences(measured(SMALL))]:
        size = abs(float(difference))
        if size >= worst.get(what, (-1.0, 0.0))[0]:
            worst[what] = (size, tolerance)
    for what, (size, tolerance) in worst.items():
        verdict = "ok" if size <= tolerance else "BEYOND"
        print(f"  {what:40s} {size:10.2e}  tolerance {tolerance:g}  {verdict}")
    return int(any(size > tolerance for size, tolerance in worst.values()))


if __name__ == "__main__":
    sys.exit(main())
