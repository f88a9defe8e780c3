"""A clinic's default cohort: who counts, what the records can support, and how it moves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError, FitError
from bpvet.models.clinic.cohort import ClinicCohort, clinic_cohort, default_fit, pseudonyms_of
from bpvet.models.clinic.components import component_words, components
from bpvet.models.clinic.flow import EntryRow, Flow, Step, entry, flow
from bpvet.models.clinic.grid import grid, main_effects, reference_month
from bpvet.pictures.clinic import (
    caterpillar,
    population,
    population_lines,
    residuals,
    scatter,
)
from bpvet.pictures.clinic_panels import panels
from bpvet.records.example import write_example
from bpvet.records.records import Records
from tests.models.small_clinic import AS_OF, write_clinic


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Records:
    return bpvet.read(write_clinic(tmp_path_factory.mktemp("clinic") / "small"), as_of=AS_OF)


@pytest.fixture(scope="module")
def study(records: Records) -> ClinicCohort:
    return clinic_cohort(records)


def test_the_flow_is_the_one_worked_by_hand(study: ClinicCohort) -> None:
    # Doppler in the clinic: 6 + 6 + 5 + 5 + 4 + 4 + 3 + 1 = 34 sessions of 5, K1's first with
    # two rows more; oscillometric: 4 of 3; home 1 + 1 and calmed 1 of 3; sedated 1 of 2.
    # In: 34·5 + 2 + 12 + 9 + 2 = 195 rows of 34 + 4 + 4 = 42 sessions of 10 animals.
    # Left out as first of four or more: 34. Counted: 34·4 + 12 = 148.
    assert flow(study) == Flow(
        animals_in=10,
        sessions_in=42,
        readings_in=195,
        steps=(
            Step("reading set aside by the record check", 0, 0, 1),
            Step("reading excluded by the clinic", 0, 0, 1),
            Step("first of four or more readings, left out by the rule", 0, 0, 34),
            Step("animal without any session on record", 1, 0, 0),
            Step("session measured sedated", 0, 1, 2),
            Step("session measured after a calming drug", 0, 1, 3),
            Step("session measured at home", 1, 2, 6),
        ),
        animals=8,
        sessions=38,
        readings=148,
        numbers=148,
    )


@pytest.mark.parametrize("rule", ["guideline", "all"])
@pytest.mark.parametrize("quantity", ["systolic", "diastolic", "heart_rate", "pulse_pressure"])
def test_the_flow_adds_up_for_the_example(
    tmp_path_factory: pytest.TempPathFactory, quantity: str, rule: str
) -> None:
    folder = tmp_path_factory.mktemp("example") / "clinic"
    write_example(folder)
    held = clinic_cohort(bpvet.read(folder, as_of="2026-11-01"), quantity, rule=rule)
    found = flow(held)
    for name in ("animals", "sessions", "readings"):
        lost = sum(getattr(step, name) for step in found.steps)
        assert getattr(found, f"{name}_in") - lost == getattr(found, name)
    counted = held.counted
    assert found.animals == counted["animal"].nunique()
    assert found.sessions == len(counted) == held.cohort.n_sessions


def test_the_animals_at_entry_are_those_worked_by_hand(study: ClinicCohort) -> None:
    rows = {(row.group, row.name): row for row in entry(study)}
    every = rows["all", "Animals"]
    assert (every.value, every.known) == (8, 8)
    assert rows["dog", "Animals"].value == 2
    # Males stand at even places: K1, K3, K5, K7.
    assert rows["all", "Male"].value == 4
    assert rows["all", "First counted session by Doppler"].value == 8
    assert rows["all", "On a pressure-acting drug at entry"].value == 1  # K4
    assert rows["all", "On one at any counted session"].value == 4
    # Counted sessions: 7, 7, 6, 6, 4, 4, 3, 1; the middle two are 6 and 4.
    assert rows["all", "Counted sessions of an animal"] == EntryRow(
        "all", "Counted sessions of an animal", "", "median (range)", 8, 5.0, least=1.0, most=7.0
    )
    # Readings 2 to 5 of a first session average to its mean: levels plus VISITS in turn.
    first = [168 + 0, 172 + 9, 160 - 7, 150 + 4, 138 - 10, 144 + 6, 131 - 3, 125 + 0]
    row = rows["all", "Systolic pressure, mean of the first counted session"]
    assert row.value == pytest.approx(np.mean(first))
    assert row.sd == pytest.approx(np.std(first, ddof=1))
    # K8's birth is not known; K1 was born on 1 January 2010 and first seen on 10 January 2026.
    age = rows["all", "Age"]
    assert age.known == 7
    assert rows["dog", "Age"].sd is None


def test_the_fit_is_the_engines_of_the_counted_sessions(study: ClinicCohort) -> None:
    assert study.cohort.formula == "systolic ~ months * treated + method"
    again = bpvet.fit_cohort(study.counted, study.cohort.formula, slope=_slope(study), **_by(study))
    pd.testing.assert_frame_equal(study.cohort.fixed, again.fixed)
    assert study.cohort.criterion == again.criterion


def _slope(study: ClinicCohort) -> str | None:
    return None if study.fit.slopes_reason else "months"


def _by(study: ClinicCohort) -> dict[str, str | None]:
    by = None if study.fit.spread_reason else "method"
    return {"visit_by": by, "residual_by": by}


def test_the_main_estimates_are_differences_of_predictions(study: ClinicCohort) -> None:
    month = reference_month(study)
    held = main_effects(study.fit, month)
    on = study.counted["months"][study.counted["treated"]]
    assert month == round(float(on.median()), 1)

    def at(months: float, treated: bool, method: str = "doppler") -> float:
        row = pd.DataFrame({"months": [months], "treated": [treated], "method": [method]})
        return float(study.cohort.predict(row)["estimate"].iloc[0])

    for name, first, second in (
        ("months", (1.0, False), (0.0, False)),
        ("months_treated", (1.0, True), (0.0, True)),
        ("treated", (month, True), (month, False)),
        ("oscillometric", (0.0, False, "oscillometric"), (0.0, False)),
    ):
        assert held[name].estimate == pytest.approx(at(*first) - at(*second), abs=1e-9)
        assert held[name].lower < held[name].estimate < held[name].upper
    wider = main_effects(study.fit, month, 0.99)
    assert wider["months"].lower < held["months"].lower


def test_the_grid_has_every_combination_and_each_row_is_its_own_fit(study: ClinicCohort) -> None:
    held = grid(study)
    # Two rules, home or not, calmed or not, treated before entry or not; then cats and dogs.
    assert len(held.rows) == 2 * 2 * 2 * 2 + 2
    assert [row.main for row in held.rows] == [True] + [False] * 17
    assert held.unmoved == ()
    assert (
        len({(r.rule, r.home, r.calmed, r.treated_before_entry, r.species) for r in held.rows})
        == 18
    )
    main, dogs = held.rows[0], held.rows[-1]
    assert main.treated == main_effects(study.fit, held.month)["treated"]
    assert dogs.species == "dog"
    assert dogs.months.estimate is None
    assert dogs.reason is not None
    assert "2 and 1" in dogs.reason
    row = next(
        r
        for r in held.rows
        if (r.rule, r.home, r.calmed, r.treated_before_entry) == ("guideline", True, False, False)
    )
    rows = study.every
    own = rows[rows["condition"].isin(["clinic", "home"]) & (rows["animal"] != "K4")]
    fit = default_fit(own.reset_index(drop=True), "systolic")
    assert (row.animals, row.sessions) == (8, 34)
    assert "condition" in fit.cohort.formula
    assert row.months == main_effects(fit, held.month)["months"]


def test_choices_that_change_nothing_are_said_and_not_repeated(tmp_path: Path) -> None:
    folder = write_clinic(tmp_path / "plain", treated=False)
    kept = [
        row
        for row in (folder / "readings.csv").read_text().splitlines()
        if ",home," not in row and ",calmed," not in row
    ]
    (folder / "readings.csv").write_text("\n".join(kept) + "\n")
    held = grid(clinic_cohort(bpvet.read(folder, as_of=AS_OF)))
    assert len(held.rows) == 2 + 2
    assert len(held.unmoved) == 3
    assert held.month == 0.0


def test_without_a_treatment_the_drug_is_not_in_the_model(tmp_path: Path) -> None:
    study = clinic_cohort(bpvet.read(write_clinic(tmp_path, treated=False), as_of=AS_OF))
    assert study.cohort.formula == "systolic ~ months + method"
    assert study.fit.left_out_terms["treated"] == "no session is on a pressure-acting drug"
    held = main_effects(study.fit, 0.0)
    assert held["treated"].estimate is held["months_treated"].estimate is None
    assert held["treated"].reason == "no session is on a pressure-acting drug"
    assert held["months"].estimate is not None
    assert set(population(study)["treated"]) == {False}


def test_of_one_method_only_nothing_is_by_method(tmp_path: Path) -> None:
    study = clinic_cohort(bpvet.read(write_clinic(tmp_path, method="doppler"), as_of=AS_OF))
    assert "method" not in study.cohort.formula
    assert main_effects(study.fit, 1.0)["oscillometric"].reason == (
        "every session is by one method (Doppler)"
    )
    assert {one.component for one in components(study)} >= {"visit", "residual"}


def test_what_cannot_be_told_apart_is_left_out_and_said(study: ClinicCohort) -> None:
    rows = study.counted.assign(treated=study.counted["method"] == "oscillometric")
    fit = default_fit(rows, "systolic")
    assert (
        fit.left_out_terms["method"] == "these sessions cannot distinguish it from the other terms"
    )
    still = rows.assign(months=0.0, treated=True)
    fit = default_fit(still, "systolic")
    assert fit.cohort.formula == "systolic ~ method"
    assert fit.left_out_terms["months"] == "every session is on an animal's first day"
    assert fit.left_out_terms["treated"] == "every session is on a pressure-acting drug"


def test_a_method_of_few_sessions_has_no_spread_of_its_own(study: ClinicCohort) -> None:
    # By hand: 4 oscillometric sessions beside 34 by Doppler.
    why = "there are too few sessions by one method (oscillometric: 4)"
    assert study.fit.spread_reason == why


def test_only_animals_of_three_dates_or_more_tell_a_slope(study: ClinicCohort) -> None:
    rows = study.counted.groupby("animal").head(2).reset_index(drop=True)
    why = "only 0 of the animals have 3 dates or more, and 5 are needed"
    assert default_fit(rows, "systolic").slopes_reason == why


def test_too_few_animals_are_refused_with_their_number(study: ClinicCohort) -> None:
    few = study.counted[study.counted["animal"].isin(["K1", "K8"])].reset_index(drop=True)
    with pytest.raises(FitError, match=r"at least 5 animals are needed.* here they are 2 and 1"):
        default_fit(few, "systolic")


def test_an_unknown_quantity_is_refused(records: Records) -> None:
    with pytest.raises(CallError, match="quantity is one of"):
        clinic_cohort(records, "creatinine")


def test_pseudonyms_keep_the_numbers_and_no_name(records: Records, study: ClinicCohort) -> None:
    hidden = clinic_cohort(records, pseudonyms=True)
    assert hidden.source == ""
    assert hidden.digest is None
    assert list(hidden.names) == [f"animal {i:02d}" for i in range(1, 11)]
    assert set(hidden.names.values()) == {""}
    texts = pd.concat([hidden.every, hidden.other_rule]).to_csv() + hidden.rows.to_csv()
    texts += repr(hidden.names)
    assert "K1" not in texts
    assert "Name of" not in texts
    assert flow(hidden) == flow(study)
    np.testing.assert_allclose(hidden.cohort.coefficients, study.cohort.coefficients, rtol=1e-6)
    assert hidden.cohort.criterion == pytest.approx(study.cohort.criterion, abs=1e-6)


def test_pseudonyms_do_not_follow_the_ids() -> None:
    ids = [f"A{i:03d}" for i in range(200)]
    named = pseudonyms_of(ids, "salt")
    assert sorted(named.values()) == [f"animal {i:03d}" for i in range(1, 201)]
    places = np.array([int(named[one].split()[1]) for one in ids])
    # Of 200 in no order, the rank correlation with the ids has an SD of 1/√199 = 0.07.
    assert abs(np.corrcoef(places, np.arange(200))[0, 1]) < 0.28
    assert pseudonyms_of(ids, "other") != named
    assert pseudonyms_of(ids[::-1], "salt") == named


def test_components_are_the_fits_sds_with_profile_intervals(study: ClinicCohort) -> None:
    held = {one.component: one for one in components(study, 0.9)}
    frame = study.cohort.variance.set_index("component")
    profile = study.cohort.profile(
        0.9, ["residual: doppler" if "residual: doppler" in held else "residual"]
    )
    one = held[profile["parameter"].iloc[0]]
    assert one.estimate == frame.loc[one.component, "sd"]
    assert (one.lower, one.upper) == (profile["lower"].iloc[0], profile["upper"].iloc[0])
    for part in held.values():
        assert part.estimate is None or part.lower is None or part.lower <= part.estimate


def test_an_interval_that_begins_at_zero_is_said_to(study: ClinicCohort) -> None:
    sds = [one for one in components(study, 1 - 1e-9) if one.unit and one.estimate]
    told = {bool(one.reason and "begins at zero" in one.reason) for one in sds}
    assert told == {True, False}
    for one in sds:
        assert (one.reason is not None) == (one.lower == 0.0)


def test_components_in_words() -> None:
    assert component_words("animal: months", "mmHg")[1] == "mmHg a month"
    name = "animal: correlation of intercept and months"
    assert component_words(name, "mmHg") == ("Correlation of level and slope between animals", "")


def test_pictures_hold_the_fits_numbers(study: ClinicCohort) -> None:
    (shown,) = panels(study)
    for panel in shown.panels:
        own = study.counted[study.counted["animal"] == panel.key].sort_values(["months", "session"])
        assert panel.value.tolist() == own["systolic"].tolist()
        assert panel.date.tolist() == own["date"].dt.date.tolist()
    assert sum(panel.value.size for panel in shown.panels) == len(study.counted)
    held = population_lines(study)
    assert [line.treated for line in held] == [False, True]
    lines = population(study)
    np.testing.assert_array_equal(held[1].value, lines[lines["treated"]]["estimate"])
    assert "2 animals of the records have no counted session" in shown.caption
    assert "no gap between lines is a drug's effect" in shown.caption
    points = residuals(study.cohort, "mmHg")
    assert sorted(points.residual) == points.residual.tolist()
    np.testing.assert_allclose(
        points.residual, np.sort(study.cohort.residuals("standardised").to_numpy())
    )
    # The middle of an even count lies at ± the same normal score.
    np.testing.assert_allclose(points.normal, -points.normal[::-1], atol=1e-12)
    rows = caterpillar(study)
    frame = study.cohort.animals.sort_values("intercept")
    assert rows.names == tuple(f"{animal} (Name of {animal})" for animal in frame.index)
    held = components(study)
    assert len(scatter(study, held).names) == sum(one.unit == "mmHg" for one in held)
