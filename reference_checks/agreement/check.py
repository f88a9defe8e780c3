"""Lay the agreement of two methods beside answers from outside; print the worst differences."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from bpvet.maths.agreement.comparison import Line
from bpvet.maths.agreement.lines import deming, passing_bablok
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.agreement import Agreement, agreement

HERE = Path(__file__).parent
#: Relative: plain sums to the twelve digits printed. Absolute: what an optimiser found.
PRINTED, LIMITS, LIKELIHOOD, EXACT_T = 1e-10, 1e-3, 1e-7, 1e-8
#: Where nlme stops short of a variance at zero.
BOUNDARY = 3e-5
#: The papers' digits; their intervals use 1.96 where ours use Student's t.
PAPER = 0.11

#: What is compared, the difference, and its tolerance.
Row = tuple[str, float, float]


def relative(kind: str, ours: float | None, theirs: float, tolerance: float = PRINTED) -> Row:
    if ours is None:
        return kind, float("inf"), tolerance
    return kind, abs(ours - theirs) / (abs(theirs) or 1.0), tolerance


def absolute(kind: str, ours: float | None, theirs: float, tolerance: float) -> Row:
    return kind, float("inf") if ours is None else abs(ours - theirs), tolerance


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / f"{name}.csv", dtype={"subject": str})


def answers(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((HERE / f"{name}.json").read_text())
    return found


def compared(frame: pd.DataFrame, second: str, first: str, linked: bool = False) -> Agreement:
    chosen = ("subject", "method", "replicate")
    animal, method, replicate = chosen
    return agreement(
        frame,
        "y",
        animal=animal,
        method=method,
        replicate=replicate,
        methods=(first, second),
        linked=linked,
    )


def firsts(frame: pd.DataFrame) -> pd.DataFrame:
    return frame[frame["replicate"] == 1]


def interval_rows(kind: str, ours: Estimate, theirs: list[float], tolerance: float) -> list[Row]:
    return [
        relative(kind, ours.lower, theirs[0], tolerance),
        relative(kind, ours.upper, theirs[1], tolerance),
    ]


def single_rows(agree: Agreement, theirs: dict[str, Any]) -> Iterator[Row]:
    """One reading by each method."""
    yield relative("bias of single readings", agree.bias.estimate, theirs["bias"])
    yield relative("SD of single differences", agree.sd.estimate, theirs["sd"])
    yield relative("limits of single readings", agree.lower.estimate, theirs["lower_limit"])
    yield relative("limits of single readings", agree.upper.estimate, theirs["upper_limit"])
    yield from interval_rows("interval of the bias", agree.bias, theirs["bias_ci_t"], PRINTED)
    yield from interval_rows("intervals of limits", agree.lower, theirs["lower_limit_ci_t"], 1e-9)
    yield from interval_rows("intervals of limits", agree.upper, theirs["upper_limit_ci_t"], 1e-9)


def replicate_rows(agree: Agreement, theirs: dict[str, Any]) -> Iterator[Row]:
    """Replicates by the paper's sums, to which balanced components come down."""
    sums = agree.by_sums
    assert sums is not None
    yield relative("bias by sums", sums[0], theirs["bias"])
    yield relative("limits by sums", sums[1], theirs["lower_limit"])
    yield relative("limits by sums", sums[2], theirs["upper_limit"])
    assert agree.fit is not None
    if agree.fit.at_zero:
        return
    yield absolute("replicate limits", agree.lower.estimate, theirs["lower_limit"], LIMITS)
    yield absolute("replicate limits", agree.upper.estimate, theirs["upper_limit"], LIMITS)
    for ours, side in ((agree.lower, "lower"), (agree.upper, "upper")):
        ends = theirs[f"{side}_limit_ci_normal"]
        for end, value in zip((ours.lower, ours.upper), ends, strict=True):
            yield absolute("intervals of replicate limits", end, value, LIMITS)
    second, first = agree.methods[1], agree.methods[0]
    for name, key in ((second, "first"), (first, "second")):
        ours_sd = agree.repeatability[name].estimate
        yield absolute("repeatability", ours_sd, theirs[f"repeatability_{key}"], LIMITS)


def component_rows(agree: Agreement, theirs: dict[str, Any]) -> Iterator[Row]:
    """Variance components by nlme."""
    fit = agree.fit
    assert fit is not None
    if fit.at_zero:
        short = theirs["loglik_reml"] - fit.log_likelihood
        yield "log-likelihood at a zero: ours below nlme's", max(short, 0.0), 1e-9
        gap = abs(short)
        yield "log-likelihood at a zero", gap, BOUNDARY
    else:
        yield absolute("log-likelihood", fit.log_likelihood, theirs["loglik_reml"], LIKELIHOOD)
    yield absolute("bias by components", agree.bias.estimate, theirs["bias"], LIMITS)
    yield absolute("SE of the bias", fit.bias[1], theirs["se_bias"], LIMITS)
    yield absolute("limits by components", agree.lower.estimate, theirs["lower_limit"], LIMITS)
    yield absolute("limits by components", agree.upper.estimate, theirs["upper_limit"], LIMITS)
    for place, name in enumerate(("first", "second")):
        ours = float(np.sqrt(fit.of(f"reading by {name}")))
        yield absolute("reading SD", ours, theirs["residual_sd"][agree.methods[place]], LIMITS)
        own, ref = fit.of(f"animal × {name}"), theirs["subject_by_method_sd"][agree.methods[place]]
        if ref > 0.5:
            yield absolute("animal × method SD", float(np.sqrt(own)), ref, LIMITS)
        else:
            yield absolute("animal × method SD near zero", float(np.sqrt(own)), ref, 0.2)


def line_rows(line: Line, theirs: dict[str, Any]) -> Iterator[Row]:
    kind = line.words.split(",")[0]
    yield relative(f"{kind}: slope", line.slope.estimate, theirs["slope"])
    yield relative(f"{kind}: intercept", line.intercept.estimate, theirs["intercept"], 1e-9)
    ends = ("slope_ci", "intercept_ci")
    if "slope_ci" not in theirs:
        ends = ("slope_ci_t_n_minus_2", "intercept_ci_t_n_minus_2")
    yield from interval_rows(f"{kind}: interval of slope", line.slope, theirs[ends[0]], 1e-9)
    yield from interval_rows(
        f"{kind}: interval of intercept", line.intercept, theirs[ends[1]], 1e-8
    )


def blood_pressure_rows() -> Iterator[Row]:
    frame, theirs = read("blood_pressure_1999"), answers("blood_pressure_1999")
    one = compared(firsts(frame), "J", "S")
    yield from single_rows(one, theirs["first_readings_J_minus_S"])
    kept = firsts(frame)[~firsts(frame)["subject"].isin(["78", "80"])]
    yield from single_rows(compared(kept, "J", "S"), theirs["without_subjects_78_and_80"])
    yield from single_rows(compared(firsts(frame), "J", "R"), theirs["first_readings_J_minus_R"])
    three = compared(frame, "J", "S")
    yield from replicate_rows(three, theirs["replicates_J_minus_S"])
    yield from replicate_rows(compared(frame, "J", "R"), theirs["replicates_J_minus_R"])
    yield from component_rows(three, theirs["components_J_S_unlinked"])
    yield from component_rows(compared(frame, "J", "S", True), theirs["components_J_S_linked"])
    yield from component_rows(compared(frame, "J", "R", True), theirs["components_J_R_linked"])
    yield from paper_rows(one, three, theirs["published"])


def paper_rows(one: Agreement, three: Agreement, printed: dict[str, Any]) -> Iterator[Row]:
    """The figures as the papers print them, to their last digit or 0.1."""
    for agree, key in ((one, "first_readings_J_minus_S"), (three, "replicates_J_minus_S")):
        paper = printed[key]
        yield absolute("printed bias", agree.bias.estimate, paper["bias"], 0.005001)
        yield absolute("printed SD", agree.sd.estimate, paper["sd"], 0.005001)
        for ours, value in zip((agree.lower, agree.upper), paper["limits"], strict=True):
            yield absolute("printed limits", ours.estimate, value, 0.05)
    paper = printed["first_readings_J_minus_S"]
    for ours, key in ((one.lower, "lower_limit_ci"), (one.upper, "upper_limit_ci")):
        yield absolute("printed intervals of limits", ours.lower, paper[key][0], PAPER)
        yield absolute("printed intervals of limits", ours.upper, paper[key][1], PAPER)
    # The printed intervals with replicates take the variance of a single difference over n first.
    assert three.fit is not None
    bias, se, _ = three.fit.bias
    sd, reach = three.sd.estimate or 0.0, (three.upper.upper or 0) - (three.upper.estimate or 0)
    other = 1.96 * float(np.sqrt((reach / 1.96) ** 2 - se**2 + sd**2 / 85))
    paper = printed["replicates_J_minus_S"]
    for limit, key in ((bias - 1.96 * sd, "lower_limit_ci"), (bias + 1.96 * sd, "upper_limit_ci")):
        yield absolute("printed intervals, replicates", limit - other, paper[key][0], PAPER)
        yield absolute("printed intervals, replicates", limit + other, paper[key][1], PAPER)


def peak_flow_rows() -> Iterator[Row]:
    frame, theirs = read("peak_flow_1986"), answers("peak_flow_1986")
    one = compared(firsts(frame), "Wright", "Mini")
    yield from single_rows(one, theirs["first_readings_Wright_minus_Mini"])
    two = compared(frame, "Wright", "Mini")
    yield from replicate_rows(two, theirs["replicates_Wright_minus_Mini"])
    yield from component_rows(two, theirs["components_unlinked"])
    back = compared(firsts(frame), "Mini", "Wright")
    yield from line_rows(back.deming(), theirs["deming_first_readings_x_Wright_y_Mini"])
    yield from line_rows(back.deming(2.0), theirs["deming_first_readings_ratio_2"])
    means = theirs["deming_of_means_with_estimated_ratio"]
    ratio = means["variance_ratio_y_over_x"]
    yield from line_rows(compared(frame, "Mini", "Wright").deming(ratio), means)
    yield from line_rows(back.passing_bablok(), theirs["passing_bablok_first_readings"])


def milk_rows() -> Iterator[Row]:
    wide, theirs = read("milk_fat"), answers("milk_fat")
    frame = wide.melt("sample", var_name="method", value_name="y").rename(
        columns={"sample": "subject"}
    )
    agree = compared(frame.assign(replicate=1), "Trig", "Gerber")
    yield from single_rows(agree, theirs["difference_Trig_minus_Gerber"])
    found, on_mean = agree.proportional, theirs["difference_on_mean"]
    yield relative("difference on mean", found.slope.estimate, on_mean["slope"])
    yield relative("difference on mean", found.intercept.estimate, on_mean["intercept"])
    yield relative("difference on mean: p", found.p, on_mean["p_slope"], 1e-9)
    yield relative("difference on mean: SD", found.residual_sd, on_mean["residual_sd"])
    grows = theirs["absolute_residual_on_mean"]
    yield relative("scatter on mean", found.spread_slope, grows["slope"], 1e-9)
    yield relative("scatter on mean", found.spread_intercept, grows["intercept"], 1e-9)
    yield from line_rows(agree.deming(), theirs["deming_x_Gerber_y_Trig"])
    yield from line_rows(agree.passing_bablok(), theirs["passing_bablok_x_Gerber_y_Trig"])
    x, y = wide["Gerber"], wide["Trig"]
    yield from line_rows(deming(x, y), theirs["deming_x_Gerber_y_Trig"])
    yield from line_rows(passing_bablok(x, y), theirs["passing_bablok_x_Gerber_y_Trig"])


def drawn_rows() -> Iterator[Row]:
    """Unequal replicates, changing true values, and the exact intervals."""
    theirs = answers("unequal")
    frame = read("unequal")
    agree = compared(frame, "O", "D")
    sums = theirs["unequal"]["sums_O_minus_D"]
    assert agree.by_sums is not None
    bias = sums["bias_mean_of_subject_differences"]
    yield relative("bias by sums, unequal", agree.by_sums[0], bias)
    yield relative("limits by sums, unequal", agree.by_sums[1], sums["lower_limit"])
    yield relative("limits by sums, unequal", agree.by_sums[2], sums["upper_limit"])
    yield from component_rows(agree, theirs["unequal"]["components_unlinked"])
    linked = compared(read("pairs"), "O", "D", linked=True)
    sums = theirs["pairs"]["sums_O_minus_D"]
    assert linked.by_sums is not None
    yield relative("bias by sums, pairs", linked.by_sums[0], sums["bias_mean_of_all_pairs"])
    yield relative("limits by sums, pairs", linked.by_sums[1], sums["lower_limit"])
    yield relative("limits by sums, pairs", linked.by_sums[2], sums["upper_limit"])
    yield from component_rows(linked, theirs["pairs"]["components_linked"])
    one, held = compared(firsts(frame), "O", "D"), theirs["first_readings"]
    exact = one.limits(intervals="better")[1]
    yield from interval_rows("exact interval", exact, held["exact_upper_limit_ci"], EXACT_T)
    yield from interval_rows("correlation", one.correlation, held["correlation_ci"], PRINTED)
    share = one.within[10]
    yield absolute("count within 10", share.count, held["share_within_10"]["count"], 0.0)
    yield from interval_rows(
        "share within 10", share.observed, held["share_within_10"]["ci"], PRINTED
    )


def main() -> int:
    worst: dict[str, tuple[float, float]] = {}
    rows = (*blood_pressure_rows(), *peak_flow_rows(), *milk_rows(), *drawn_rows())
    for kind, difference, tolerance in rows:
        worst[kind] = (max(difference, worst.get(kind, (0.0, 0.0))[0]), tolerance)
    print(f"{'compared':46} {'worst difference':>16} {'tolerance':>10}")
    for kind, (difference, tolerance) in worst.items():
        over = "" if difference <= tolerance else "  EXCEEDED"
        print(f"{kind:46} {difference:16.1e} {tolerance:10.0e}{over}")
    return int(any(difference > tolerance for difference, tolerance in worst.values()))


if __name__ == "__main__":
    sys.exit(main())
