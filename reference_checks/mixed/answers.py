"""Marginal means, contrasts, predictions and residuals beside R's emmeans and lme4."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd

from bpvet.mixed.cohort import Cohort, fit_cohort
from reference_checks.mixed.compare import HERE, Difference, data

# Which fit, by which column and at which values each block of the answers asks.
MEANS: dict[str, tuple[str, str, dict[str, float]]] = {
    "orthodont_age_8": ("orthodont", "Sex", {"age": 8}),
    "orthodont_age_14_kr": ("orthodont", "Sex", {"age": 14}),
    "chickweight_mean_time": ("chickweight", "Diet", {}),
    "chickweight_time_21": ("chickweight", "Diet", {"Time": 21}),
    "oats": ("oats", "Variety", {}),
    "oats_kr": ("oats", "Variety", {"nitro": 0.6}),
}
FITS: dict[str, tuple[str, dict[str, Any]]] = {
    "orthodont": ("distance ~ age * Sex", {"animal": "Subject", "slope": "age", "session": None}),
    "chickweight": ("weight ~ Time * Diet", {"animal": "Chick", "slope": "Time", "session": None}),
    "oats": ("yield ~ nitro + Variety", {"animal": "Block", "session": "Variety"}),
    "sleepstudy": (
        "Reaction ~ Days",
        {"animal": "Subject", "slope": "Days", "session": None},
    ),
}


def the_fit(file: str) -> Cohort:
    """Return our fit of a data set."""
    formula, options = FITS[file]
    return fit_cohort(data(file), formula, **options)


def differences() -> list[Difference]:
    """Return every comparison with the outside answers."""
    theirs = json.loads((HERE / "outputs" / "answers.json").read_text())
    found: list[Difference] = []
    for block, (file, by, at) in MEANS.items():
        answer = theirs[block]
        rule = "kenward_roger" if answer["df"] == "kenward-roger" else "satterthwaite"
        fit = the_fit(file).with_df(rule)
        names = [row[by] for row in answer["means"]]
        found += _rows(block, rule, answer["means"], fit.marginal_means(by, at=at).loc[names])
        ours = fit.contrasts(by, at=at)
        names = [row["contrast"].replace(" - ", " − ") for row in answer["pairs"]]
        names = [name.replace("Diet", "").replace("(", "").replace(")", "") for name in names]
        found += _rows(block, rule, answer["pairs"], ours.loc[names])
    return found + _predictions(theirs["sleepstudy"])


def _rows(
    block: str, rule: str, theirs: list[dict[str, Any]], ours: pd.DataFrame
) -> list[Difference]:
    found = []
    for row, (name, mine) in zip(theirs, ours.iterrows(), strict=True):
        length = row["upper.CL"] - row["lower.CL"]
        df = "Kenward-Roger df" if rule == "kenward_roger" else "Satterthwaite df"
        sizes = {
            "marginal mean": (mine["estimate"] - row["estimate"]) / row["SE"],
            "standard error": mine["se"] / row["SE"] - 1.0,
            df: mine["df"] / row["df"] - 1.0,
            "interval end": max(
                abs(mine["lower"] - row["lower.CL"]), abs(mine["upper"] - row["upper.CL"])
            )
            / length,
            "p value": mine["p"] - row["p.value"],
        }
        found += [Difference(block, what, str(name), abs(size)) for what, size in sizes.items()]
    return found


def _predictions(theirs: dict[str, Any]) -> list[Difference]:
    frame, fit = data("sleepstudy"), the_fit("sleepstudy")
    new = pd.DataFrame({"Days": theirs["new"]["Days"], "Subject": theirs["new"]["Subject"]})
    pairs = {
        "population": (fit.predict(frame)["estimate"], theirs["population"]),
        "subject": (fit.predict(frame, level="animal")["estimate"], theirs["subject"]),
        "residual": (fit.residuals(), theirs["conditional_residual"]),
        "standardised residual": (
            fit.residuals("standardised"),
            np.array(theirs["conditional_residual"]) / theirs["sigma"],
        ),
        "new population": (fit.predict(new)["estimate"], theirs["new"]["population"]),
        "new subject": (fit.predict(new, level="animal")["estimate"], theirs["new"]["subject"]),
    }
    scale = theirs["sigma"]
    return [
        Difference(
            "sleepstudy",
            "prediction",
            which,
            float(np.abs(np.asarray(ours) - np.asarray(other)).max())
            / (1.0 if which.startswith("standardised") else scale),
        )
        for which, (ours, other) in pairs.items()
    ]
