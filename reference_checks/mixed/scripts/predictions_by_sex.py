"""Add predictions to the dense fit of `orthodont` with residual variance by sex.

Conditional SDs are given all parameters, as lme4's condVar. Usage: DATA.csv OUTPUT.json.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd

FIT = "dense_intercept_residual_by_sex_reml"


def main(data: str, output: str) -> None:
    """Read both files and write the second again."""
    d = pd.read_csv(data)
    answers = json.loads(Path(output).read_text())
    fit = next(each for each in answers["fits"] if each["name"] == FIT)
    male = (d["Sex"] == "Male").to_numpy(float)
    x = np.column_stack([np.ones(len(d)), d["age"], male, d["age"] * male])
    left = d["distance"].to_numpy() - x @ [term["estimate"] for term in fit["fixed"]]
    g = fit["variance"]["subject_intercept_sd"] ** 2
    noise = np.array([fit["variance"]["residual_sd"][sex] ** 2 for sex in d["Sex"]])
    predictions = []
    for child in sorted(d["Subject"].unique()):
        mine = (d["Subject"] == child).to_numpy()
        v = g + np.diag(noise[mine])
        gain = g * np.linalg.solve(v, np.ones(mine.sum()))
        values = {
            "predicted": float(f"{gain @ left[mine]:.8g}"),
            "conditional_sd": float(f"{np.sqrt(g - gain.sum() * g):.8g}"),
        }
        predictions.append({"level": child, "(Intercept)": values})
    fit["predictions"] = {"Subject": predictions}
    Path(output).write_text(json.dumps(answers, indent=1))


if __name__ == "__main__":
    main(*sys.argv[1:3])
