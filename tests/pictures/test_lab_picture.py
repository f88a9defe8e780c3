"""A laboratory value alone: its own unit, its stages where they hold, and what the caption says."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.figures.trend import draw
from bpvet.pictures.answered import answered_picture, recorded_labs
from tests.figures.text_boxes import faults
from tests.models.kidney_records import CKD, DATES, creatinine, lab, sdma, upc, with_labs
from tests.models.small_records import drug, sign

VALUES = [225.0, 262.0, 241.0, 248.0, 255.0]


def _picture(labs, *observations, quantity="creatinine", edition="iris2019", **more):
    trend = bpvet.fit_trend(with_labs(labs, observations, **more), "A1", quantity=quantity)
    return answered_picture(trend, trend.answer(edition=edition))


def test_stages_are_named_as_such_only_where_kidney_disease_is_recorded():
    known, open_ = _picture(creatinine(VALUES), CKD), _picture(creatinine(VALUES))
    assert [one.name for one in known.panels[0].levels][1] == "stage 2"
    assert [one.name for one in open_.panels[0].levels][1] == "would be stage 2"
    assert "because kidney disease is recorded (“CKD”, 10 January 2026)" in known.caption
    assert "if kidney disease is diagnosed" in open_.caption
    assert open_.panels[0].guideline.endswith("if kidney disease is diagnosed")
    stones = _picture(creatinine(VALUES), sign("2026-01-10", "kidney stone"))
    assert "if kidney disease is diagnosed" in stones.caption


def test_values_and_bounds_stand_in_the_laboratorys_unit():
    values = [2.5, 2.9, 2.7, 2.8, 2.85]
    panel = _picture(creatinine(values, "mg/dL"), CKD).panels[0]
    converted = _picture(creatinine([88.4 * one for one in values]), CKD).panels[0]
    assert panel.unit == "mg/dL"
    assert panel.sessions.mean == pytest.approx(values)
    assert panel.band.high_outer == pytest.approx(converted.band.high_outer / 88.4)
    assert [one.low for one in panel.levels[1:]] == [1.6, 2.9, 5.0]
    # What stands beside the newest mark is in that unit too.
    assert panel.sessions.label[-1].startswith("2.85")
    assert [str(one) for one in panel.sessions.date] == DATES


def test_mixed_units_are_joined_and_said_to_be():
    labs = [*creatinine([225, 230]), lab("2026-05-02", "creatinine", 2.6, "mg/dL")]
    picture = _picture(labs)
    assert picture.panels[0].sessions.mean == pytest.approx([225 / 88.4, 230 / 88.4, 2.6])
    assert "Of the values 2 in µmol/L are drawn in mg/dL" in picture.caption


def test_a_bound_is_drawn_as_one_and_is_the_newest():
    picture = _picture(upc([0.2, 0.3, 0.25, 0.3, "<0.1"]), quantity="upc")
    (bounds,) = picture.panels[0].others
    assert (bounds.mean.tolist(), bounds.bound.tolist()) == ([0.1], ["at most"])
    assert picture.newest.startswith("Newest: < 0.1 on 1 August 2026")
    assert "Usual value on 2 May 2026" in picture.newest


def test_the_caption_says_how_fast_and_when_it_doubles():
    day = np.datetime64("2025-01-10") + (np.arange(8) * 60).astype("timedelta64[D]")
    labs = [
        lab(str(one), "creatinine", round(150 * 1.03 ** (2 * k), 1), "umol/L")
        for k, one in enumerate(day)
    ]
    rising = _picture(labs)
    for text in (rising.caption, rising.alt_text):
        assert "% a month (95 % interval" in text
        assert "At that rate it doubles in" in text
    flat = _picture(creatinine([225, 224, 226, 225, 225]))
    assert "Whether and when it doubles cannot be told yet" in flat.caption
    treated = _picture(creatinine(VALUES), treatments=[drug("2026-03-15")])
    assert "Apart from the drugs it changes" in treated.caption
    assert "on amlodipine" in treated.newest


def test_the_edition_is_that_which_was_asked_for():
    labs, dog = creatinine([205, 210, 207, 206, 208]), {"species": "dog"}
    older = _picture(labs, CKD, edition="iris2017", **dog)
    newer = _picture(labs, CKD, **dog)
    assert "IRIS 2017" in older.caption
    assert "IRIS 2019" in newer.caption
    assert older.panels[0].levels != newer.panels[0].levels
    # It had no table of SDMA.
    assert _picture(sdma([20, 21, 22]), quantity="sdma", edition="iris2017").panels[0].levels == ()


@pytest.mark.parametrize("width", [160.0, 85.0])
@pytest.mark.parametrize("quantity", ["creatinine", "upc"])
def test_no_words_meet(quantity, width):
    labs = creatinine(VALUES) + upc([0.2, 0.3, 0.25, 0.3, "<0.1"])
    assert faults(draw(_picture(labs, quantity=quantity), width)) == []


def _potassium(values):
    return [lab(day, "potassium", one, "mmol/L") for day, one in zip(DATES, values, strict=False)]


def test_potassium_is_drawn_as_recorded_with_its_bounds_where_they_come_into_view():
    quiet = recorded_labs(with_labs(_potassium([4.2, 4.4, 4.1])), "A1", "potassium")
    assert quiet.panels[0].levels == ()
    assert quiet.panels[0].sessions.mean.tolist() == [4.2, 4.4, 4.1]
    assert "not modelled" in quiet.caption
    high = recorded_labs(with_labs(_potassium([4.2, 5.7])), "A1", "potassium")
    assert [one.low for one in high.panels[0].levels[1:]] == [3.0, 5.5, 6.0]
    assert "from 5.5 on it is repeated" in high.caption


def test_what_is_urgent_comes_first_also_without_any_pressure():
    labs = [lab("2026-10-20", "potassium", 6.4, "mmol/L")]
    for pressure in (150, None):
        records = with_labs(labs, pressure=pressure)
        found = recorded_labs(records, "A1", "potassium")
        assert found.urgent[0].startswith("Urgent: ")
        assert found.caption.startswith(found.urgent[0])
        with pytest.raises(CallError, match=r"^Urgent: .*no value of total T4"):
            recorded_labs(records, "A1", "total_t4")
    t4 = [lab("2026-10-20", "total_t4", ">150", "nmol/L")]
    assert "Newest: > 150 nmol/L" in recorded_labs(with_labs(t4), "A1", "total_t4").newest
