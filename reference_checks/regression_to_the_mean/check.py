"""Does a drug without effect seem to work where it is started on a high day?

    python reference_checks/regression_to_the_mean/check.py

Animals are drawn from the default priors, with a drug that does nothing, begun on their first
session of 160 mmHg or more. Plain before/after differences must show a fall of several mmHg;
the model's mean effect must stay within 1 mmHg of nothing. The small run allows for two
Monte-Carlo standard errors on top; `--full` takes more animals, allows for nothing, and
publishes `results.md`.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.coverage.animals import (
    Array,
)
from reference_checks.coverage.worlds import HIGH
from reference_checks.regression_to_the_mean.animals import DAYS_AFTER, Case, found

HERE = Path(__file__).parent
SEED = 20252
SMALL, FULL = 500, 4_000
#: The model's bias may be no further from nothing than this, mmHg.
TOLERANCE = 1.0
#: A plain difference that is to be warned of falls by at least this, mmHg.
SEVERAL = 4.0
#: Monte-Carlo standard errors allowed on top in the small run.
ERRORS = 2.0

CASES = tuple(
    Case(before, species, used_to_it)
    for species, used_to_it in (("cat", True), ("cat", False), ("dog", False))
    for before in (1, 2, 3)
)
#: Told, not judged: what wrong priors do.
WRONG = tuple(Case(before, "dog", fitted_without=True) for before in (1, 2, 3))


@dataclass(frozen=True)
class Row:
    """One case: mean answer and Monte-Carlo standard error of each kind, mmHg."""

    case: Case
    naive: tuple[float, float]
    naive_high: tuple[float, float]
    model: tuple[float, float]

    def kept(self, errors: float) -> bool:
        """Return whether the model stayed near nothing and the plain difference did not.

        Parameters
        ----------
        errors : float
            Monte-Carlo standard errors allowed on top.
        """
        within = abs(self.model[0]) <= TOLERANCE + errors * self.model[1]
        fell = self.naive_high[0] <= -SEVERAL + errors * self.naive_high[1]
        return within and fell


def row(case: Case, animals: int) -> Row:
    """Simulate and fit one case."""
    answers = found(case, animals, SEED)
    return Row(case, *(_mean(one) for one in (answers.naive, answers.naive_high, answers.model)))


def _mean(values: Array) -> tuple[float, float]:
    return float(values.mean()), float(values.std() / np.sqrt(values.size))


def printed(rows: Sequence[Row], errors: float) -> None:
    """Print the rows, each with its verdict unless it is told only."""
    for one in rows:
        parts = [f"{mean:+6.2f} ± {se:.2f}" for mean, se in (one.naive, one.naive_high, one.model)]
        verdict = "" if one.kept(errors) else "  BEYOND"
        if one.case.fitted_without:
            verdict = "  (not judged)"
        numbers = "".join(f"{part:>17}" for part in parts)
        print(f"{one.case.words:44}{one.case.before:7d}{numbers}{verdict}")


def page(rows: Sequence[Row], animals: int) -> str:
    """Return the published page."""
    lines = [
        "# Regression to the mean, as measured",
        "",
        "Written by `python reference_checks/regression_to_the_mean/check.py --full`. "
        f"Seed {SEED}; numpy {np.__version__}, scipy {scipy.__version__}.",
        f"{animals} animals a row, on a drug without effect that was begun on their first session "
        f"of {HIGH:g} mmHg or more; sessions on days {_days()} after.",
        "Mean difference or effect, mmHg, ± one Monte-Carlo standard error; the truth is 0.",
        "",
        "| animals | sessions before | after − before | after − the high session | model |",
        "|---|---|---|---|---|",
    ]
    for one in rows:
        parts = [f"{mean:+.1f} ± {se:.1f}" for mean, se in (one.naive, one.naive_high, one.model)]
        lines.append(f"| {one.case.words} | {one.case.before} | " + " | ".join(parts) + " |")
    return "\n".join(lines) + "\n"


def _days() -> str:
    *first, last = (str(day) for day in DAYS_AFTER)
    return f"{', '.join(first)} and {last}"


def main() -> int:
    """Print naive and model beside the tolerance; return 1 where a case fails."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="more animals; rewrites results.md")
    full = parser.parse_args().full
    animals, errors = (FULL, 0.0) if full else (SMALL, ERRORS)
    print(f"{animals} treated animals a case; mean ± Monte-Carlo error, mmHg; the truth is 0")
    print(f"{'':44}{'before':>7}{'after − before':>17}{'after − high':>17}{'model':>17}")
    rows = []
    for case in (*CASES, *WRONG):
        rows.append(row(case, animals))
        printed(rows[-1:], errors)
    print(f"tolerance: model within {TOLERANCE:g}, after − high at or below −{SEVERAL:g} mmHg,")
    print(f"with {errors:g} Monte-Carlo errors of room")
    if full:
        (HERE / "results.md").write_text(page(rows, animals), encoding="utf-8")
    return int(not all(one.kept(errors) for one in rows if not one.case.fitted_without))


if __name__ == "__main__":
    sys.exit(main())
