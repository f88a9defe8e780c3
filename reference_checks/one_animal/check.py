"""The trend of one animal against plain dense arithmetic, through the public library.

The cases and their answers were written by `one_animal_reference.py` beside this file (mpmath,
60 digits, for fixed noise SDs; a dense grid of the three log-SDs where they are integrated
out); those of the hard records by `make_hard.py`. Run it to see the worst difference of each kind
beside its tolerance:

    python reference_checks/one_animal/check.py
"""

from __future__ import annotations

import itertools
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

import bpvet
from reference_checks.one_animal import hard

FOLDER = Path(__file__).parent
CASES = ("cat_one_course", "dog_stop_and_dose_change", "one_session_only")
_DAY_0 = np.datetime64("2024-01-01")

# A difference, what it is of, and the tolerance of the model's definition.
Difference = tuple[str, float, float]


def case(name: str) -> dict[str, Any]:
    """Return a case with its reference answers."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def date(day: float) -> np.datetime64:
    """Return the date that stands for a day of the case; its noon and the part of a day after."""
    if day == int(day):
        return _DAY_0 + np.timedelta64(int(day), "D")
    return _DAY_0.astype("datetime64[m]") + np.timedelta64(int((day + 0.5) * 1440), "m")


def records(of: dict[str, Any]) -> bpvet.Records:
    """Return the case as records: readings by Doppler, one drug, its dose changes as rows."""
    rows = [
        {"animal": "one", "taken_at": str(date(s["day"])), "method": "doppler", "systolic": value}
        for s in of["sessions"]
        for value in s["readings"]
    ]
    stop = of["courses"][0].get("stop_day") if of["courses"] else None
    treatments = [
        {
            "animal": "one",
            "drug": "an unlisted drug",
            "purpose": "blood pressure",
            "started_on": str(date(course["start_day"])),
            "stopped_on": "" if stop is None else str(date(stop)),
            "dose": str(i + 1),
            "dose_unit": "mg",
        }
        for i, course in enumerate(of["courses"])
    ]
    for row, following in itertools.pairwise(treatments):
        row["stopped_on"] = following["started_on"]
    animals = pd.DataFrame([{"animal": "one", "species": "cat"}])
    return bpvet.Records.from_frames(
        pd.DataFrame(rows),
        treatments=pd.DataFrame(treatments) if treatments else None,
        animals=animals,
        as_of=str(date(of["t0_day"])),
    )


def priors(of: dict[str, Any]) -> bpvet.Priors:
    """Return the priors of the case."""
    own = of["priors"]
    changes = [course["effect_sd"] for course in of["courses"] if "effect_sd" in course]
    taus = {course["tau_days"] for course in of["courses"]}
    first = own["first_visit"]
    return bpvet.Priors(
        level=(own["level_centre"], own["level_sd"]),
        slope_sd=own["slope_sd_per_30_days"],
        effect_sd=own["effect_sd"],
        increment_sd=changes[0] if changes else 15.0,
        sv=(own["sv_median"], own["sv_log_sd"]),
        sr=(own["sr_median"], own["sr_log_sd"]),
        sw=(own["sw_median"], own["sw_log_sd"]),
        wander_days=own["wander_days"],
        first_visit=None if first is None else (first[0], first[1]),
        tau_days={"an unlisted drug": float(*taus)} if taus else {},
    )


def fixed_differences(of: dict[str, Any]) -> Iterator[Difference]:
    """Compare with the noise SDs held fixed: 60-digit conditioning on every reading."""
    held, sds = of["answers_with_fixed_parameters"], of["fixed_parameters"]
    trend = bpvet.fit_trend(records(of), "one", rule="all", priors=priors(of), fixed=sds)
    likelihood = float(held["log_marginal_likelihood"]["of_all_readings"])
    yield "log-likelihood at fixed SDs", trend.log_likelihood(**sds) - likelihood, 1e-8
    yield "log-likelihood at fixed SDs", trend.log_marginal_likelihood - likelihood, 1e-8
    usual = trend.at([date(day) for day in of["ask_days"]])
    for i, one in enumerate(held["usual_pressure"]):
        yield "mean at fixed SDs", usual.mean[i] - float(one["mean"]), 1e-8
        yield "SD at fixed SDs", usual.sd[i] - float(one["sd"]), 1e-8
        p = float(one["p_below_160"])
        yield "probability at fixed SDs", usual.below(160)[i] - p, 1e-8
    for name, mixture in _terms(trend):
        yield "mean at fixed SDs", mixture.mean - float(held[name]["mean"]), 1e-8
        yield "SD at fixed SDs", mixture.sd - float(held[name]["sd"]), 1e-8
    following = held["next_session_mean"]
    expected = trend.next_session(date(following["day"]), readings=following["readings"])
    yield "mean at fixed SDs", expected.mean - float(following["mean"]), 1e-8
    yield "SD at fixed SDs", expected.sd - float(following["sd"]), 1e-8


def integrated_differences(of: dict[str, Any]) -> Iterator[Difference]:
    """Compare with the noise SDs integrated out: a dense grid of 81 points each."""
    held = of["answers_with_sds_integrated_out"]
    trend = bpvet.fit_trend(records(of), "one", rule="all", priors=priors(of))
    reference = held["log_marginal_likelihood_of_all_readings"]
    yield "log marginal likelihood", trend.log_marginal_likelihood - reference, 1e-3
    usual = trend.at([date(day) for day in of["ask_days"]])
    for i, one in enumerate(held["usual_pressure"]):
        each = bpvet.Mixture(usual.weights, usual.means[i], usual.sds[i])
        yield from _compared(each, one, {"interval_50": 0.5, "interval_80": 0.8})
        yield "probability", each.below(160) - one["p_below_160"], 0.001
    for name, mixture in _terms(trend):
        yield from _compared(mixture, held[name], {})
    slope = held["slope_per_30_days"]
    yield "probability", trend.slope.above(1) - slope["p_rising_by_1"], 0.001
    yield "probability", trend.slope.above(0) - slope["p_rising"], 0.001
    for i, course in enumerate(trend.courses):
        effect = held[f"effect_of_course_{i + 1}"]
        yield "probability", course.effect.below(-10) - effect["p_lower_by_at_least_10"], 0.001
        yield "probability", course.effect.below(0) - effect["p_lower_by_at_least_0"], 0.001
    following = held["next_session_mean"]
    expected = trend.next_session(date(following["day"]), readings=following["readings"])
    yield from _compared(expected, following, {})


def _terms(trend: bpvet.Trend) -> Iterator[tuple[str, bpvet.Mixture]]:
    yield "level_at_t0", trend.level
    yield "slope_per_30_days", trend.slope
    for i, course in enumerate(trend.courses):
        yield f"effect_of_course_{i + 1}", course.effect
    if trend.first_visit is not None:
        yield "first_visit_excitement", trend.first_visit


def _compared(
    own: bpvet.Mixture, held: dict[str, Any], intervals: dict[str, float]
) -> Iterator[Difference]:
    """Ordinary records: mean 0.001 SD, SD 0.1 %, 95 % ends 0.02 mmHg or 0.002 SD."""
    sd = held["sd"]
    yield "mean, in posterior SDs", (own.mean - held["mean"]) / sd, 0.001
    yield "SD, relative", own.sd / sd - 1, 0.001
    for name, level in {**intervals, "interval_95": 0.95}.items():
        for mine, theirs in zip(own.interval(level), held[name], strict=True):
            yield (
                "interval ends, of max(0.02, 0.002 SD)",
                (mine - theirs) / max(0.02, 0.002 * sd),
                1,
            )


def differences(name: str) -> list[Difference]:
    """Return every difference of a case."""
    of = case(name)
    return [*fixed_differences(of), *integrated_differences(of)]


def main() -> int:
    """Print the worst difference of each kind; return 1 where one is beyond its tolerance."""
    failed = False
    found = {name: iter(differences(name)) for name in CASES}
    found |= {of["name"]: hard.differences(of) for of in hard.cases()}
    for name, own in found.items():
        worst: dict[str, tuple[float, float]] = {}
        for what, difference, tolerance in own:
            size = abs(float(difference))
            if size >= worst.get(what, (-1.0, 0.0))[0]:
                worst[what] = (size, tolerance)
        print(name)
        for what, (size, tolerance) in worst.items():
            verdict = "ok" if size <= tolerance else "BEYOND"
            failed |= size > tolerance
            print(f"  {what:40s} {size:10.2e}  tolerance {tolerance:g}  {verdict}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
