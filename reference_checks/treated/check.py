"""Treated animals under the three groups against plain dense arithmetic.

Nine records with the answers of `treated_reference.py`, and those of `more.json` with the answers
of the twin in `reference_checks/answers`. Run it to see the worst difference of each kind beside
its tolerance:

    python reference_checks/treated/check.py
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

HERE = Path(__file__).parent
CASES = (
    "severe_one_before_two_after",
    "ordinary_level",
    "same_drug_stopped_and_restarted",
    "two_dose_increments",
    "hard_240_then_120",
    "diastolic_oscillometric",
)
#: Records with a bound, each without and with a course, and one with another site.
BOUNDS = ("bounds_mixed_in_the_newest", "bounds_in_an_older_session")
SITE = "site_changed_untreated"
_DAY_0 = np.datetime64("2024-01-01")

# A difference, what it is of, and the tolerance of the model's definition.
Difference = tuple[str, float, float]


def case(name: str) -> dict[str, Any]:
    """Return a case with its reference answers."""
    return json.loads((HERE / f"{name}.json").read_text(encoding="utf-8"))


def more() -> list[dict[str, Any]]:
    """Return the cases of `more.json`."""
    return json.loads((HERE / "more.json").read_text(encoding="utf-8"))


def date(day: int) -> str:
    """Return the date that stands for a day of a case."""
    return str(_DAY_0 + np.timedelta64(day, "D"))


def records(of: dict[str, Any], courses: list[dict[str, Any]] | None = None) -> bpvet.Records:
    """Return a case as records, one row a reading; changes of dose are rows of treatment."""
    method = "oscillometric" if of["quantity"] == "diastolic" else "doppler"
    rows = []
    for session in of["sessions"]:
        values = [str(value) for value in session["readings"]]
        values += [f">{value}" for value in session.get("above", [])]
        values += [f"<{value}" for value in session.get("below", [])]
        for reading, value in enumerate(values, start=1):
            row = {
                "animal": "one",
                "taken_at": date(session["day"]),
                "method": session.get("method", method),
                "setting": "home" if session.get("condition") == "home" else "clinic",
                "state": "calmed" if session.get("condition") == "calmed" else "",
                "reading": reading,
                "site": session.get("site") or "",
                of["quantity"]: value,
            }
            rows.append(row)
    treatments = _treatments(of["courses"] if courses is None else courses)
    return bpvet.Records.from_frames(
        pd.DataFrame(rows),
        treatments=treatments if len(treatments) else None,
        animals=pd.DataFrame([{"animal": "one", "species": "cat"}]),
        as_of=date(of["t0_day"]),
    )


def _treatments(courses: list[dict[str, Any]]) -> pd.DataFrame:
    rows = []
    for _, held in itertools.groupby(courses, key=lambda one: one["spell"]):
        parts = list(held)
        stop = parts[0].get("stop_day")
        ends = [one["start_day"] for one in parts[1:]] + [stop]
        for i, (one, end) in enumerate(zip(parts, ends, strict=True)):
            row = {
                "animal": "one",
                "drug": one["drug"],
                "started_on": date(one["start_day"]),
                "stopped_on": "" if end is None else date(end),
                "dose": str(i + 1),
                "dose_unit": "mg",
            }
            rows.append(row)
    return pd.DataFrame(rows)


def fitted(of: dict[str, Any], fixed: dict[str, float] | None, **choices: Any) -> bpvet.Trend:
    """Return the trend of a case under the default priors."""
    return bpvet.fit_trend(
        records(of, choices.get("courses")),
        "one",
        quantity=of["quantity"],
        rule="all",
        bridge=of.get("bridge", ()),
        fixed=fixed,
    )


def answers(trend: bpvet.Trend, of: dict[str, Any]) -> dict[str, bpvet.Mixture]:
    """Return our answers by the names of the reference."""
    following = of["next_session"]
    found = {
        "level_untreated_at_t0": trend.level,
        "slope_per_30_days": trend.slope,
        "next_session_mean": trend.next_session(
            date(following["day"]), readings=following["readings"]
        ),
    }
    if trend.first_visit is not None:
        found["first_visit_excitement"] = trend.first_visit
    for i, spell in enumerate(trend.treatments, start=1):
        found[f"full_effect_of_spell_{i}"] = spell.effect
        found[f"effect_now_of_spell_{i}"] = spell.effect_now
    for i, course in enumerate(trend.courses, start=1):
        name = "effect_of_base" if course.course.kind == "base" else "increment"
        found[f"{name}_{i}"] = course.effect
    for name, offset in trend.offsets.items():
        key = "method" if "oscillometric" in name else name.split()[0]
        found[f"join_{key}"] = offset
    return found


def _below(own: bpvet.Mixture, held: dict[str, Any]) -> Iterator[tuple[float, float]]:
    """Yield each probability of ours beside the reference's."""
    for name, value in held.items():
        if name.startswith("p_at_or_below_"):
            yield float(own.below(float(name.rpartition("_")[2]))), value
        elif name in ("p_lower_by_10", "p_lower_at_all"):
            yield float(own.below(-10.0 if name.endswith("10") else 0.0)), value
        elif name in ("p_rising", "p_rising_by_1"):
            yield float(own.above(1.0 if name.endswith("1") else 0.0)), value


def _pairs(
    trend: bpvet.Trend, of: dict[str, Any], held: dict[str, Any]
) -> Iterator[tuple[str, bpvet.Mixture, dict[str, Any]]]:
    own = answers(trend, of)
    for name, one in held.items():
        if name.startswith("usual_pressure_day_"):
            yield name, trend.at(date(int(name.rpartition("_")[2]))), one
        elif name in own:
            yield name, own[name], one
        elif name.startswith(("full_", "effect_now", "effect_of", "increment", "join", "next")):
            raise AssertionError(f"{of['name']}: no answer is {name}")


def fixed_differences(of: dict[str, Any]) -> Iterator[Difference]:
    """Compare with the noise SDs held fixed."""
    held = of["answers_with_fixed_parameters"]
    trend = fitted(of, of["fixed_parameters"])
    evidence = held["log_evidence_of_all_readings"]
    yield "log evidence at fixed SDs", trend.log_marginal_likelihood - evidence, 1e-8
    likelihood = trend.log_likelihood(**of["fixed_parameters"])
    yield "log evidence at fixed SDs", likelihood - evidence, 1e-8
    for _, own, one in _pairs(trend, of, held):
        yield "mean at fixed SDs", own.mean - one["mean"], 1e-8
        yield "SD at fixed SDs", own.sd - one["sd"], 1e-8
        if one["sd"] == 0:
            continue
        ends = own.interval(0.95)
        for mine, theirs in zip(ends, one["quantiles_025_500_975"][::2], strict=True):
            yield "95 % ends at fixed SDs", mine - theirs, 1e-7
        for mine, theirs in _below(own, one):
            yield "probability at fixed SDs", mine - theirs, 1e-8


def integrated_differences(of: dict[str, Any]) -> Iterator[Difference]:
    """Compare with the noise SDs integrated out; a hard record has wider tolerances."""
    held = of["answers_with_sds_integrated_out"]
    hard = of["name"].startswith("hard")
    of_mean, of_sd, of_p, end = (0.005, 0.005, 0.003, 0.5) if hard else (0.001, 0.001, 0.001, 0.02)
    trend = fitted(of, None)
    evidence = held["log_evidence_of_all_readings"]
    yield "log evidence", trend.log_marginal_likelihood - evidence, 1e-3
    for _, own, one in _pairs(trend, of, held):
        sd = one["sd"]
        if sd == 0:
            yield "mean of what is not on", own.mean, 1e-8
            continue
        yield "mean, in posterior SDs", (own.mean - one["mean"]) / sd, of_mean
        yield "SD, relative", own.sd / sd - 1, of_sd
        for mine, theirs in zip(own.interval(0.95), one["quantiles_025_500_975"][::2], strict=True):
            yield f"95 % ends, of {end:g} mmHg", (mine - theirs) / max(end, 0.002 * sd), 1
        for mine, theirs in _below(own, one):
            yield "probability", mine - theirs, of_p


def differences(of: dict[str, Any]) -> list[Difference]:
    """Return every difference of a case."""
    return [*fixed_differences(of), *integrated_differences(of)]


def printed(name: str, found: list[Difference]) -> bool:
    """Print the worst difference of each kind; return whether all are within."""
    worst: dict[str, tuple[float, float]] = {}
    for what, difference, tolerance in found:
        size = abs(float(difference))
        if size >= worst.get(what, (-1.0, 0.0))[0]:
            worst[what] = (size, tolerance)
    print(name)
    kept = True
    for what, (size, tolerance) in worst.items():
        verdict = "ok" if size <= tolerance else "BEYOND"
        kept &= size <= tolerance
        print(f"  {what:40s} {size:10.2e}  tolerance {tolerance:g}  {verdict}")
    return kept


def main() -> int:
    """Print the differences of every case; return 1 where one is beyond its tolerance."""
    held = [case(name) for name in CASES] + more()
    shown = [printed(of["name"], differences(of)) for of in held]
    return int(not all(shown))


if __name__ == "__main__":
    sys.exit(main())
