"""Lay the companion statistics beside answers from outside; print the worst differences."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from bpvet.maths import charts, orders, ranks, spread

HERE = Path(__file__).parent
#: Relative tolerances: answers in fractions to the last digits, R's to its 12 digits.
FRACTIONS, PRINTED = 1e-14, 1e-11
#: Absolute tolerance of exact p.
EXACT_P = 1e-12

#: What is compared, the difference, and its tolerance.
Row = tuple[str, float, float]


def relative(kind: str, ours: float | None, theirs: float, tolerance: float) -> Row:
    if ours is None:
        return kind, float("inf"), tolerance
    return kind, abs(ours - theirs) / (abs(theirs) or 1.0), tolerance


def trend_rows() -> Iterator[Row]:
    """Every answer in trend.json."""
    answers = json.loads((HERE / "trend/trend.json").read_text())
    for answer in answers.values():
        table = np.loadtxt(HERE / "trend" / answer["data"], delimiter=",", skiprows=1)
        yield from kendall_rows(table[:, 0], table[:, 1], answer)
        yield from sen_rows(table[:, 0], table[:, 1], answer)


def kendall_rows(x: Any, y: Any, answer: dict[str, Any]) -> Iterator[Row]:
    test = ranks.mann_kendall(x, y)
    yield relative("Mann–Kendall S", test.s, answer["S"], 0.0)
    yield relative("variance of S", test.var_s, answer["var_S"], PRINTED)
    yield relative("tau-b", test.tau_b, answer["tau_b"], PRINTED)
    yield relative("z with continuity", test.z, answer["z_with_continuity"], PRINTED)
    yield relative("normal p", test.p_normal, answer["p_normal"], PRINTED)
    if "p_exact" in answer:
        yield "exact p", abs(test.p - answer["p_exact"]), EXACT_P
    if "exact_by_enumeration" in answer:
        by_hand = answer["exact_by_enumeration"]
        yield "exact p", abs(test.p - by_hand["p_two_sided"]), EXACT_P
        yield "exact p, rising", abs(test.p_rising - by_hand["p_rising_one_sided"]), EXACT_P
        counted = {int(s): count for s, count in by_hand["distribution_counts"].items()}
        yield "orders by S (1: differ)", float(orders.orders_by_s(x, y) != counted), 0.0


def sen_rows(x: Any, y: Any, answer: dict[str, Any]) -> Iterator[Row]:
    sen = answer["theil_sen"]
    ends = {
        "interpolated": sen["sen_95"]["interpolated"],
        "conservative": sen["sen_95"]["conservative_integer_ranks"],
        "rounded": [answer["scipy"]["theilslopes"][end] for end in ("lower", "upper")],
    }
    for convention, (lower, upper) in ends.items():
        line = ranks.theil_sen(x, y, convention=convention)
        kind = f"Sen's interval, {convention}"
        yield relative(kind, line.slope.lower, lower, PRINTED)
        yield relative(kind, line.slope.upper, upper, PRINTED)
    medians = sen["intercept_through_medians"]
    yield relative("Theil–Sen slope", line.slope.estimate, sen["slope"], PRINTED)
    yield relative("intercept", line.intercept, sen["intercept_median_of_residuals"], PRINTED)
    yield relative("intercept", line.intercept_through_medians, medians, PRINTED)


def variability_rows() -> Iterator[Row]:
    """Every answer in variability.json that is a companion's."""
    answers = json.loads((HERE / "variability/variability.json").read_text())
    for name in ("A", "B"):
        answer = answers[name]
        t, y = np.array(answer["days"]), np.array(answer["session_means"], dtype=float)
        yield from share_rows(t, y, answer)
        yield from spread_rows(t, y, answer)
        yield from chart_rows(y, answer)
    vim = answers["vim_beta_1"]
    relation = spread.mean_relation(vim["animal_means"], vim["animal_sds"])
    yield relative("VIM: beta", relation.beta, vim["beta"], FRACTIONS)
    yield relative("VIM: centre", relation.centre, float(Fraction(vim["M"])), FRACTIONS)
    for m, s, theirs in zip(vim["animal_means"], vim["animal_sds"], vim["vim"], strict=True):
        animal = m + s * np.array([-1, 0, 1])
        ours = spread.independent_of_mean(animal, relation).estimate
        yield relative("VIM", ours, theirs, FRACTIONS)
    change = answers["reference_change_value"]
    ours = spread.reference_change(
        change["cv_within_animal_percent"], change["cv_analytical_percent"]
    )
    yield relative("reference change value", ours, change["rcv_percent"], FRACTIONS)


def share_rows(t: Any, y: Any, answer: dict[str, Any]) -> Iterator[Row]:
    for key, theirs in answer.items():
        if not key.startswith("rosendaal"):
            continue
        numbers = [float(word) for word in key.split("_") if word.isdigit()]
        if "under" in key:
            gap = numbers[1] if "skipped" in key else np.inf
            ours = spread.share_interpolated(t, y, numbers[0], longest_gap=gap)
        else:
            ours = spread.share_interpolated(t, y, numbers[1], numbers[0])
        yield relative(
            "share in range", ours.estimate, float(Fraction(theirs["share"]["fraction"])), FRACTIONS
        )


def spread_rows(t: Any, y: Any, answer: dict[str, Any]) -> Iterator[Row]:
    ours = {
        "mean": spread.mean(y),
        "sd": spread.sd(y),
        "cv_percent": spread.coefficient_of_variation(y).times(100),
        "average_real_variability": spread.average_real_variability(y),
        "average_real_variability_time_weighted": spread.average_real_variability(y, np.diff(t)),
        "successive_variation": spread.successive_variation(y),
        "residual_sd_about_the_line": spread.residual_sd(t, y),
    }
    for key, part in ours.items():
        yield relative(key.replace("_", " "), part.estimate, answer[key]["value"], FRACTIONS)


def chart_rows(y: Any, answer: dict[str, Any]) -> Iterator[Row]:
    averages = charts.ewma(y, float(Fraction(answer["ewma"]["lambda"])))
    for ours, theirs in zip(averages, answer["ewma"]["values"], strict=True):
        yield relative("EWMA", float(ours), float(Fraction(theirs)), FRACTIONS)
    sums = answer["cusum"]
    upper, lower = charts.cusum(y, float(sums["target"]), float(sums["allowance_k"]))
    for side, ours in (("upper", upper), ("lower", lower)):
        yield "CUSUM", float(np.abs(ours - np.array(sums[side], dtype=float)).max()), 0.0


def main() -> int:
    worst: dict[str, tuple[float, float]] = {}
    for kind, difference, tolerance in (*trend_rows(), *variability_rows()):
        worst[kind] = (max(difference, worst.get(kind, (0.0, 0.0))[0]), tolerance)
    print(f"{'compared':42} {'worst difference':>16} {'tolerance':>10}")
    for kind, (difference, tolerance) in worst.items():
        over = "" if difference <= tolerance else "  EXCEEDED"
        print(f"{kind:42} {difference:16.1e} {tolerance:10.0e}{over}")
    return int(any(difference > tolerance for difference, tolerance in worst.values()))


if __name__ == "__main__":
    sys.exit(main())
