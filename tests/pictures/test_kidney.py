"""Kidney values and joint trends as pictures: what is drawn is what is recorded and answered."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.pictures.kidney import joint_picture, kidney_picture
from tests.models.kidney_records import creatinine, lab, sdma, upc, with_labs

VALUES = [150, 162, 171, 168, 190]
RATIOS = [0.2, 0.3, 0.25]
CKD = [{"animal": "A1", "seen_on": "2026-01-05", "sign": "chronic kidney disease"}]


@pytest.fixture(scope="module")
def records() -> bpvet.Records:
    labs = [*creatinine(VALUES), *sdma([14, 16, 17]), *upc(RATIOS)]
    drug = [{"animal": "A1", "drug": "amlodipine", "started_on": "2026-02-01"}]
    return with_labs(labs, CKD, treatments=drug)


def test_each_marker_has_a_panel_with_its_values_its_band_and_its_stages(records) -> None:
    shown = kidney_picture(bpvet.kidney(records, "A1"))
    assert [panel.quantity for panel in shown.panels] == ["creatinine", "sdma", "upc"]
    first, second, third = shown.panels
    np.testing.assert_allclose(first.sessions.mean, VALUES)
    np.testing.assert_allclose(second.sessions.mean, [14, 16, 17])
    np.testing.assert_allclose(third.sessions.mean, RATIOS)
    assert (first.unit, second.unit, third.unit) == ("µmol/L", "µg/dL", "")
    assert [level.name for level in first.levels] == [f"stage {n}" for n in (1, 2, 3, 4)]
    for panel in shown.panels:
        trend = bpvet.fit_trend(records, "A1", quantity=panel.quantity)
        assert panel.band is not None
        at_newest = int(np.flatnonzero(panel.band.date == panel.sessions.date[-1])[0])
        lower, upper = trend.latest.interval(0.95)
        scale = float(trend.latest.mean) / panel.band.centre[at_newest]
        assert panel.band.low_outer[at_newest] * scale == pytest.approx(float(lower))
        assert panel.band.high_outer[at_newest] * scale == pytest.approx(float(upper))
    assert [span.drug for span in shown.courses] == ["amlodipine"]
    assert "five values, 150 to 190 µmol/L" in shown.alt_text
    assert shown.newest in shown.alt_text


def test_the_edition_and_the_level_are_those_that_were_asked_for(records) -> None:
    older = kidney_picture(bpvet.kidney(records, "A1", edition="iris2017", level=0.8))
    newer = kidney_picture(bpvet.kidney(records, "A1"))
    assert older.panels[0].guideline != newer.panels[0].guideline
    width = [np.mean(one.panels[0].band.high_outer - one.panels[0].band.low_outer)
             for one in (older, newer)]  # fmt: skip
    assert width[0] < width[1]
    assert "80 %" in older.caption


def test_without_kidney_disease_the_stages_are_conditional() -> None:
    shown = kidney_picture(bpvet.kidney(with_labs(creatinine(VALUES)), "A1"))
    assert all(level.name.startswith("would be") for level in shown.panels[0].levels)


def test_values_that_make_no_trend_stand_as_recorded() -> None:
    shown = kidney_picture(bpvet.kidney(with_labs(creatinine(["> 1200"])), "A1"))
    (panel,) = shown.panels
    assert panel.band is None
    assert panel.sessions.bound.tolist() == ["at least"]
    assert shown.newest == "No stage is given: the newest creatinine is a bound, no number."


def test_what_is_urgent_comes_first() -> None:
    days = {"2026-07-28": 150, "2026-08-01": 400}
    labs = [lab(day, "creatinine", value, "umol/L") for day, value in days.items()]
    records = with_labs(labs, as_of="2026-08-02")
    shown = kidney_picture(bpvet.kidney(records, "A1"))
    urgent = bpvet.fit_trend(records, "A1").answer().urgent
    assert len(shown.urgent) == len(urgent) > 0
    assert shown.caption.startswith(shown.urgent[0])
    assert shown.alt_text.startswith(shown.urgent[0])


def test_an_answer_sends_to_where_its_figure_is(records) -> None:
    within = bpvet.fit_trend(records, "A1").answer().kidney
    with pytest.raises(CallError, match=r"bpvet\.kidney\(records, animal\)"):
        within.plot()
    assert within == bpvet.kidney(records, "A1")


def test_an_animal_without_values_has_no_figure() -> None:
    with pytest.raises(CallError, match="no kidney value"):
        bpvet.kidney(with_labs([]), "A1").plot()


def test_joint_trends_are_drawn_one_below_the_other(records) -> None:
    joint = bpvet.fit_joint(records, "A1")
    shown = joint_picture(joint)
    assert [panel.quantity for panel in shown.panels] == ["systolic", "creatinine"]
    np.testing.assert_allclose(shown.panels[0].sessions.mean, joint.pressure.observed)
    np.testing.assert_allclose(shown.panels[1].sessions.mean, VALUES)
    low, high = joint.correlation[1:]
    frame = joint.to_frame()
    slope = frame.loc["marker_per_30_days"]
    for number in (low, high, slope["value"], slope["lower"], slope["upper"]):
        assert f"{number:.1f}".replace("-0.0", "0.0").replace("-", "−") in shown.newest
    assert shown.panels[0].band is not None
    assert "Each band is that of its series by itself." in shown.caption
