"""Refits of a profile: wherever one begins, it ends where a refit from the optimum ends."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.mixed import profile_likelihood
from bpvet.mixed.cohort import Cohort, fit_cohort
from reference_checks.speed.cohort_data import readings

FORMULA = "systolic ~ months + method"


@pytest.fixture(scope="module")
def fit() -> Cohort:
    return fit_cohort(readings(40, seed=5, sessions=5), FORMULA, slope="months")


def test_a_guess_changes_no_end(fit: Cohort, monkeypatch: pytest.MonkeyPatch) -> None:
    guided = fit.profile()
    with monkeypatch.context() as patched:
        patched.setattr(profile_likelihood._Refits, "_guesses", lambda *_: [])
        plain = fit.profile()
    width = plain["upper"] - plain["lower"]
    for end in ("lower", "upper"):
        assert float(((guided[end] - plain[end]).abs() / width).max()) < 1e-8


def test_a_guess_saves_steps(fit: Cohort, monkeypatch: pytest.MonkeyPatch) -> None:
    steps = []
    minimise = profile_likelihood.minimise

    def counted(*given):
        found = minimise(*given)
        steps.append(found[1].steps)
        return found

    monkeypatch.setattr(profile_likelihood, "minimise", counted)
    fit.profile(parameters=["visit", "animal"])
    guided, number = sum(steps), len(steps)
    steps.clear()
    monkeypatch.setattr(profile_likelihood._Refits, "_guesses", lambda *_: [])
    fit.profile(parameters=["visit", "animal"])
    assert number == len(steps)
    assert guided < 0.7 * sum(steps)


def test_a_guess_is_the_line_through_the_nearest_two() -> None:
    # Guesses rest on where refits ended alone: criterion and optimum are not asked.
    refits = profile_likelihood._Refits(None, None, 0.0)  # type: ignore[arg-type]
    assert refits._guesses(1.0, 2) == []
    for at in (1.0, 2.0, 9.0):
        refits.ends[at] = np.array([2.0 * at, -at])
    refits.ends[2.5] = np.array([1.0])  # another number of parameters
    (guess,) = refits._guesses(3.0, 2)
    np.testing.assert_allclose(guess, [6.0, -3.0])
    (guess,) = refits._guesses(100.0, 2)
    near, far = refits.ends[9.0], refits.ends[2.0]
    np.testing.assert_allclose(guess, near - 1.5 * (far - near))
