"""Which joint trends an animal has, and what they say on the command line and in a report."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.command.trend import trend_text
from bpvet.models.kidney.joint_trends import joint_trends
from bpvet.reports.animal.sections import together
from bpvet.wording.en.kidney.joint import joint_statements
from tests.models.kidney_records import CKD, DATES, creatinine, lab, sdma, upc, with_labs
from tests.models.small_records import rows


def _trend(labs, quantity="systolic", **more):
    return bpvet.fit_trend(with_labs(labs, [CKD], **more), "A1", quantity=quantity)


def _names(found):
    return [one.marker.series.quantity for one in found]


def test_each_value_with_dates_enough_is_laid_beside_the_pressure():
    labs = creatinine([225, 230, 240]) + sdma([20, 21]) + upc([0.3, 0.4, 0.3])
    found = joint_trends(_trend(labs))
    assert _names(found) == ["creatinine", "upc"]
    own = bpvet.fit_joint(with_labs(labs, [CKD]), "A1", "creatinine")
    assert found[0].to_dict() == own.to_dict()
    assert _names(joint_trends(_trend(labs, "upc"))) == ["upc"]
    assert joint_trends(_trend(labs, "sdma")) == ()
    assert joint_trends(_trend(labs, dates=DATES[:2])) == ()


def test_a_series_that_has_no_pressure_beside_it_has_none():
    records = with_labs(creatinine([225, 230, 240]), pressure=None)
    assert joint_trends(bpvet.fit_trend(records, "A1", quantity="creatinine")) == ()


def _rising(factor):
    day = np.datetime64("2024-06-10") + (np.arange(14) * 45).astype("timedelta64[D]")
    wave = np.sin(np.arange(14) / 2.2)
    readings = [
        row
        for one, w in zip(day, wave, strict=True)
        for row in rows([(str(one), [140 + 22 * w + k for k in (4, -2, 0, 2, -2, 1)])])
    ]
    labs = [
        lab(str(one), "creatinine", round(180 * 1.04**k * np.exp(factor * w), 1), "umol/L")
        for k, (one, w) in enumerate(zip(day, wave, strict=True))
    ]
    return bpvet.fit_trend(
        bpvet.Records.from_frames(
            pd.DataFrame(readings),
            labs=pd.DataFrame(labs),
            animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
            as_of="2026-11-01",
        ),
        "A1",
    )


@pytest.mark.parametrize(
    ("factor", "words"),
    [(0.25, "They rise and fall together"), (-0.25, "One rises as the other falls")],
)
def test_that_they_move_together_is_said_where_it_is_sure(factor, words):
    (statement,) = joint_statements(joint_trends(_rising(factor)))
    assert statement.key == "joint.creatinine"
    assert words in statement.text


def test_where_it_is_not_sure_it_cannot_be_told():
    (statement,) = joint_statements(joint_trends(_trend(creatinine([225, 230, 240]))))
    assert "cannot tell yet" in statement.text
    assert "doubles" not in statement.text


def test_terminal_and_report_say_the_same_of_them():
    trend = _trend(creatinine([225, 230, 240]) + upc([0.3, 0.4, 0.3]))
    answer, found = trend.answer(), joint_trends(trend)
    texts = [one.text for one in joint_statements(found)]
    terminal = " ".join(trend_text(answer, found).split())
    shown = together(trend, answer)
    for text in texts:
        assert text in terminal.replace("\xa0", " ")
        assert text in shown.text
    assert shown.html.count("<table") == 1
    assert "Pressure and laboratory values together" not in trend_text(answer)
    assert together(_trend(()), answer).html == ""
    json.dumps([one.to_dict() for one in found], allow_nan=False)
