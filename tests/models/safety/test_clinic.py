"""A whole clinic at once says what one animal at a time says."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import NothingLeft
from bpvet.facts.categories import guideline
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.clinic import Clinic, clinic_safety, clinic_urgency
from bpvet.models.safety.safety import safety
from bpvet.models.safety.standing import treated_on
from bpvet.models.trend.fit import animal_sessions
from bpvet.visits.treatments.courses import courses


def clinic(animals: int = 24, seed: int = 3) -> bpvet.Records:
    """Return an invented clinic: both methods and conditions, drugs, signs, labs, some unseen."""
    rng = np.random.default_rng(seed)
    readings, owners, drugs, labs, signs = [], [], [], [], []
    for a in range(animals):
        name = f"A{a:03d}"
        species = ("cat", "dog", "", "rabbit")[0 if rng.random() < 0.7 else int(rng.integers(4))]
        owners.append((name, species, "greyhound" if a == 5 else "", "2014-05-01"))
        level = 140 + 24 * rng.normal()
        for visit in range(int(rng.integers(0, 8))):
            date = str(np.datetime64("2025-01-01") + int(visit * 60 + rng.integers(0, 30)))
            method = "doppler" if rng.random() < 0.8 else "oscillometric"
            setting = "clinic" if rng.random() < 0.8 else "home"
            centre = level + 11 * rng.normal()
            readings += [
                (name, date, method, round(centre + 6 * rng.normal()), setting) for _ in range(4)
            ]
        if rng.random() < 0.5:
            drugs.append((name, "amlodipine", "2025-02-10", "0.625", "mg"))
        if rng.random() < 0.2:
            drugs.append((name, "telmisartan", "2025-06-10", "4", "mg"))
        if rng.random() < 0.6:
            for value in (140, 160, round(200 + 30 * rng.normal())):
                day = str(np.datetime64("2025-01-15") + int(rng.integers(0, 300)))
                labs.append((name, day, "creatinine", value, "µmol/L"))
        if rng.random() < 0.5:
            sign = rng.choice(["fundus normal", "blind OS", "head tilt", "murmur", "thin"])
            signs.append((name, "2025-08-01", sign, ""))
    frame = pd.DataFrame
    return bpvet.Records.from_frames(
        frame(readings, columns=["animal", "taken_at", "method", "systolic", "setting"]),
        animals=frame(owners, columns=["animal", "species", "breed", "birth_date"]),
        treatments=frame(drugs, columns=["animal", "drug", "started_on", "dose", "dose_unit"]),
        labs=frame(labs, columns=["animal", "sampled_on", "analyte", "value", "unit"]),
        observations=frame(signs, columns=["animal", "seen_on", "sign", "status"]),
        as_of="2026-01-20",
    )


@pytest.fixture(scope="module")
def records() -> bpvet.Records:
    return clinic()


def test_a_clinic_at_once_equals_one_animal_at_a_time(records):
    found = clinic_safety(records)
    assert [one.row.animal for one in found] == records.animals["animal"].tolist()
    with_tails = 0
    for one in found:
        animal = one.row.animal
        try:
            trend = bpvet.fit_trend(records, animal)
        except NothingLeft:
            trend = None
        chosen = guideline("acvim2018", one.row.species or None)
        own = animal_sessions(records, animal)
        alone = safety(AnimalCase(records, animal, own, courses(records, animal), trend), chosen)
        assert [(line.rule, line.why, line.on, line.value) for line in one.safety.lines] == [
            (line.rule, line.why, line.on, line.value) for line in alone.lines
        ]
        assert repr(one.safety.recheck) == repr(alone.recheck)
        assert (one.trend is None) == (trend is None)
        if trend is None or one.trend is None:
            continue
        series = one.trend.series
        assert (series.method, series.condition) == (trend.series.method, trend.series.condition)
        for name in ("p_target", "p_160", "p_raised", "p_180", "p_below_floor"):
            mine, its = (
                getattr(held.safety.standing if held is one else held, name)
                for held in (one, alone.standing)
            )
            assert mine == pytest.approx(its, abs=1e-8), (animal, name)
        if one.safety.standing.upper_tail is not None:
            with_tails += 1
            assert one.safety.standing.upper_tail == pytest.approx(
                alone.standing.upper_tail, abs=1e-7
            )
    # Tails are worked out for some animals, and not for all: both ways were met.
    assert 0 < with_tails < len(found)


def test_the_latest_usual_pressure_is_that_of_the_trend(records):
    for one in clinic_safety(records)[:12]:
        if one.trend is None:
            continue
        usual, own = one.trend.latest, one.trend.at(one.trend.latest_date)
        np.testing.assert_allclose(usual.means, own.means, rtol=0, atol=1e-8)
        np.testing.assert_allclose(usual.sds, own.sds, rtol=0, atol=1e-8)


def test_what_is_urgent_is_the_same_without_windows(records):
    found = clinic_urgency(Clinic.of(records))
    whole = clinic_safety(records)
    assert [one.row for one in found] == [one.row for one in whole]
    assert [repr(one.lines) for one in found] == [repr(one.safety.lines) for one in whole]
    assert any(one.lines for one in found)
    treated = [treated_on(one.treatments, records.as_of) for one in found]
    assert treated == [one.safety.standing.treated for one in whole]


def test_a_line_that_rests_on_a_trend_is_told_by_the_trend_alone():
    rows = [
        (name, f"2026-0{month}-05", "doppler", value + order)
        for name, usual in (("once", 150), ("always", 110))
        for month, value in zip(range(1, 7), [usual] * 5 + [113], strict=True)
        for order in range(4)
    ]
    names = ["once", "always"]
    records = bpvet.Records.from_frames(
        pd.DataFrame(rows, columns=["animal", "taken_at", "method", "systolic"]),
        animals=pd.DataFrame({"animal": names, "species": "cat"}),
        treatments=pd.DataFrame(
            {"animal": names, "drug": "amlodipine", "started_on": "2025-01-01"}
        ),
        as_of="2026-06-06",
    )
    found = clinic_urgency(Clinic.of(records))
    told = {one.row.animal: [line.why for line in one.lines] for one in found}
    assert told == {"once": [], "always": ["usual_below_floor"]}
    lines = [[line.why for line in one.safety.lines] for one in clinic_safety(records)]
    assert lines == [told[name] for name in names]


def test_an_animal_that_left_is_not_there():
    readings = pd.DataFrame(
        {
            "animal": ["A", "B"],
            "taken_at": ["2026-01-01"] * 2,
            "method": "doppler",
            "systolic": [150, 190],
        }
    )
    animals = pd.DataFrame({"animal": ["A", "B"], "species": "cat", "left_on": ["", "2026-01-10"]})
    records = bpvet.Records.from_frames(readings, animals=animals, as_of="2026-01-20")
    assert [one.row.animal for one in clinic_safety(records)] == ["A"]
    before = records.speaking_on("2026-01-09")
    assert [one.row.animal for one in clinic_safety(before)] == ["A", "B"]


def test_a_series_that_cannot_be_fitted_takes_no_other_with_it(records, monkeypatch):
    import bpvet.models.safety.clinic as module
    from bpvet.errors import FitError

    real = module.fit_clinic

    def fit(series, contexts):
        if any(one.animal == "A006" for one in series):
            raise FitError("cannot")
        return real(series, contexts)

    whole = {one.row.animal: one for one in clinic_safety(records)}
    monkeypatch.setattr(module, "fit_clinic", fit)
    found = {one.row.animal: one for one in clinic_safety(records)}
    assert list(found) == list(whole)
    assert whole["A006"].trend is not None
    assert found["A006"].trend is None
    assert repr(found["A007"].safety.recheck) == repr(whole["A007"].safety.recheck)
