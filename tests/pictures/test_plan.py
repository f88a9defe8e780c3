"""Plans as pictures: rows are the plan's own intervals, and the study's own power."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.models.plan.plan import Plan
from bpvet.pictures.plan import plan_picture, study_picture


@pytest.fixture(scope="module")
def plan() -> Plan:
    return bpvet.plan(bpvet.Priors.default("cat", "doppler"), visits=5)


def test_each_row_is_the_interval_after_so_many_visits(plan: Plan) -> None:
    usual, effect = plan_picture(plan).panels
    table = plan.table((1, 2, 4, 5, 6, 8, 12), (plan.readings,)).set_index("visits")
    np.testing.assert_allclose(usual.high, table["usual_half_width"])
    np.testing.assert_allclose(-usual.low, table["usual_half_width"])
    # One visit tells nothing of a drug.
    np.testing.assert_allclose(effect.high, table["effect_half_width"].dropna())
    assert len(effect.names) == len(usual.names) - 1
    assert not usual.estimate.any()
    assert [name for name in usual.names if "this plan" in name] == [
        f"five visits, this plan: ± {plan.usual.half_width:.1f} mmHg"
    ]
    assert usual.span == effect.span


def test_a_drug_begun_otherwise_is_not_called_the_plan_s(plan: Plan) -> None:
    late = bpvet.plan(plan.priors, visits=5, before=4)
    usual, effect = plan_picture(late).panels
    assert any("this plan" in name for name in usual.names)
    assert not any("this plan" in name for name in effect.names)


def test_the_power_is_the_study_s_with_the_error_of_its_simulation(plan: Plan) -> None:
    study = plan.study(20.0)
    simulated, exact = study_picture(study).panels
    mine = next(at for at, name in enumerate(simulated.names) if "this study" in name)
    assert simulated.estimate[mine] == pytest.approx(100 * study.power)
    assert simulated.high[mine] - simulated.low[mine] == pytest.approx(
        100 * 2 * 1.96 * study.power_error, rel=0.02
    )
    assert simulated.line == pytest.approx(100 * study.wanted)
    assert np.all(simulated.low < simulated.estimate)
    assert np.isnan(exact.low).all()
    curve = study.power_curve([study.formula.animals])
    assert curve["formula"].iloc[0] == pytest.approx(study.formula.power)


def test_animals_that_were_given_ask_for_no_power(plan: Plan) -> None:
    simulated, _ = study_picture(plan.study(20.0, animals=2)).panels
    assert simulated.names == ("2 per arm, this study",)
    assert simulated.line_is == ""


def test_more_animals_find_more(plan: Plan) -> None:
    study = plan.study(20.0)
    counts = [2, study.animals, study.powers.size + 1]
    curve = study.power_curve(counts)
    assert curve["power"].is_monotonic_increasing
    assert curve.loc[study.animals, "power"] == study.power
    assert (curve["upper"] >= curve["power"]).all()
