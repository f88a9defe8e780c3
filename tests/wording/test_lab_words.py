"""What is said of laboratory values: a rise is what matters, in decimals and units that fit."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.command.trend import trend_text
from bpvet.errors import CallError
from bpvet.pictures.trend import trend_picture
from bpvet.wording.en.kidney.labs import lab_verdict
from bpvet.wording.en.trend.statements import sentence
from tests.models.small_records import drug, rows, steady

START = np.datetime64("2025-01-10")
#: A usual value of each quantity, its unit, and the decimals that it is written with.
KINDS = {
    "creatinine": (180.0, "umol/L", 0),
    "sdma": (16.0, "ug/dL", 1),
    "upc": (0.3, "", 2),
    "phosphate": (1.5, "mmol/L", 2),
    "weight": (4.5, "kg", 2),
}
KIDNEY = [one for one in KINDS if one != "weight"]


def answered(quantity, shares, treatments=(), every=28, more=(), species="cat"):
    usual, unit, _ = KINDS[quantity]
    labs = [
        ("A1", str(START + np.timedelta64(i * every, "D")), quantity, f"{usual * share:.4g}", unit)
        for i, share in enumerate(shares)
    ]
    columns = ["animal", "sampled_on", "analyte", "value", "unit"]
    records = bpvet.Records.from_frames(
        pd.DataFrame(rows(steady(150, [str(START)]))),
        labs=pd.DataFrame([*labs, *more], columns=columns),
        treatments=pd.DataFrame(list(treatments)) if treatments else None,
        animals=pd.DataFrame([{"animal": "A1", "species": species}]),
        as_of="2028-01-01",
    )
    return bpvet.fit_trend(records, "A1", quantity=quantity).answer()


STEADY = [1.0, 1.02, 0.98, 1.01, 0.99, 1.0, 1.02, 0.98]
RISING = list(np.exp(0.08 * np.arange(12)))
FALLING = list(np.exp(-0.08 * np.arange(12)))
SHAPES = {"steady": STEADY * 2, "rising": RISING, "falling": FALLING, "two": [1.0, 1.3]}
ON = [drug("2025-05-01")]


@pytest.mark.parametrize("quantity", KINDS)
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("treatments", [(), ON, [drug("2024-12-01")]], ids=["none", "on", "before"])
def test_no_sentence_of_a_laboratory_value_weighs_a_fall_or_a_drug(quantity, shape, treatments):
    answer = answered(quantity, SHAPES[shape], treatments)
    said = " ".join([*answer.sentences, trend_text(answer)])
    assert "not a reason to stop" not in said
    assert not re.search(r"fall[^.]{0,40} is unlikely", said)
    assert "creeping" not in said
    assert "has lowered" not in said
    assert ", ," not in said
    if quantity != "weight":
        verdicts = {one.verdict for one in answer.treatments}
        assert verdicts <= {"has risen", "rise unlikely", "cannot tell yet", "cannot be known"}


@pytest.mark.parametrize("quantity", KIDNEY)
def test_the_headline_of_a_slope_is_what_its_probability_is_of(quantity):
    rising = sentence(answered(quantity, RISING), "slope")
    assert rising.startswith("It is rising by more than 3 % a month (probability")
    falling = sentence(answered(quantity, FALLING), "slope")
    assert falling.startswith("A rise is unlikely (probability less than 1 %)")
    unknown = sentence(answered(quantity, [1.0, 1.05]), "slope")
    assert unknown.startswith("Whether it is rising: cannot tell yet (probability")
    assert all("% a month" in one for one in (rising, falling, unknown))


def test_a_slow_rise_is_called_a_rise():
    shares = np.exp(0.012 * np.arange(30)) * (1 + 0.06 * (-1.0) ** np.arange(30))
    answer = answered("creatinine", list(shares))
    assert answer.slope.p_rising_by_1 < 0.1
    said = sentence(answer, "slope")
    assert said.startswith("It is rising (probability more than 99 %, by more than 3 % a month")


def test_of_a_weight_a_loss_is_what_matters():
    assert sentence(answered("weight", FALLING), "slope").startswith("It is falling (probability")
    assert sentence(answered("weight", RISING), "slope").startswith("It is rising (probability")
    assert "Whether it is falling" in sentence(answered("weight", [1, 1.01]), "slope")


def test_a_drug_and_a_kidney_value_are_put_beside_each_other_by_the_rise():
    before, after = [1.0, 1.01, 0.99, 1.0, 1.02, 0.98] * 2, [1.5, 1.51, 1.49, 1.5] * 3
    held = answered("creatinine", [*before, *after], [drug("2025-12-05")])
    (one,) = held.treatments
    assert one.verdict == "has risen"
    assert one.effect.p_higher_by_10 > 0.9
    assert "creatinine rose by 10 % or more with it (probability" in sentence(held, "drugs")
    assert lab_verdict(held, one) == "creatinine rose with it"
    # Plain means stand in the unit, not as logarithms.
    assert one.before_mean == pytest.approx(180, rel=0.02)
    assert one.after_mean == pytest.approx(270, rel=0.02)
    flat = answered("creatinine", [*before, *before], [drug("2025-12-05")])
    assert flat.treatments[0].verdict in ("rise unlikely", "cannot tell yet")
    assert "fall" not in sentence(flat, "drugs")
    # Of protein in the urine both are told.
    assert "A fall by 10 % or more has probability" in sentence(
        answered("upc", [*before, *before], [drug("2025-12-05")]), "drugs"
    )


@pytest.mark.parametrize("quantity", KINDS)
def test_tables_have_the_decimals_and_units_that_fit(quantity):
    digits = KINDS[quantity][2]
    answer = answered(quantity, STEADY * 2, ON)
    text = trend_text(answer)
    table = text[text.index("estimate") :]
    number = rf"\d+\.\d{{{digits}}}" if digits else r"\d+"
    assert re.search(rf"usual on \S+ +{number} +{number} to {number} +{answer.unit}\b", table)
    assert re.search(rf"value on \S+ +{number} ", table)
    assert re.search(r"full effect +−?\d+ +−?\d+ to −?\d+ +%", table)
    assert re.search(r"change a month, apart from drugs +−?\d+\.\d +\S+ to \S+ +%", table)
    assert "mean of a session" not in table
    # The head says whose, of what, how, and as of when, with nothing blank between.
    assert "recorded, as of" in " ".join(text.split("\n\n")[0].split())


def test_the_short_table_of_a_trend_shows_what_there_is():
    usual = KINDS["upc"][0]
    labs = [
        {
            "animal": "A1",
            "sampled_on": f"2025-0{i}-01",
            "analyte": "upc",
            "value": usual,
            "unit": "",
        }
        for i in range(1, 6)
    ]
    records = bpvet.Records.from_frames(
        pd.DataFrame(rows(steady(150, [str(START)]))), labs=pd.DataFrame(labs), as_of="2026-01-01"
    )
    text = repr(bpvet.fit_trend(records, "A1", quantity="upc"))
    assert text.startswith("upc of A1; 5 values; as of 2026-01-01")
    assert re.search(r"usual on 2025-05-01 +0\.\d\d +0\.\d\d +0\.\d\d +ratio", text)
    assert "–" not in text


def test_bounds_are_left_out_by_name_and_drawn():
    more = [("A1", "2025-06-20", "upc", "<0.1", ""), ("A1", "2025-07-20", "upc", "0", ""),
            ("A1", "2025-08-20", "upc", "3", "g/L")]  # fmt: skip
    plain, answer = answered("upc", STEADY), answered("upc", STEADY, more=more)
    assert answer.latest == plain.latest
    assert [(one.value, one.bound) for one in answer.left_out] == [
        (0.1, "at most"), (0.0, ""), (3.0, "")
    ]  # fmt: skip
    said = sentence(answer, "usual")
    assert "(a bound is no number): at most 0.1 on 20 June 2025" in said
    assert "(0 has no per cent): 0 on 20 July 2025" in said
    assert '"g/L" is not a unit that is read' in said
    assert sentence(plain, "usual") + " " == said[: len(sentence(plain, "usual")) + 1]
    assert answer.to_dict()["left_out"][0]["reason"] == "a bound is no number"


def test_a_series_of_bounds_alone_is_refused_with_the_reason():
    with pytest.raises(CallError, match="no trend is made of: a bound is no number"):
        answered("upc", [], more=[("A1", "2025-06-20", "upc", "<0.1", "")])


def test_the_picture_shows_bounds_hollow_and_says_the_stages_with_their_bounds():
    records_more = [("A1", "2025-06-20", "creatinine", ">13.6", "mg/dL")]
    usual, unit, _ = KINDS["creatinine"]
    labs = [("A1", f"2025-0{i}-01", "creatinine", usual, unit) for i in range(1, 6)]
    columns = ["animal", "sampled_on", "analyte", "value", "unit"]
    records = bpvet.Records.from_frames(
        pd.DataFrame(rows(steady(150, [str(START)]))),
        labs=pd.DataFrame([*labs, *records_more], columns=columns),
        animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
        as_of="2026-01-01",
    )
    picture = trend_picture(bpvet.fit_trend(records, "A1", quantity="creatinine"))
    (panel,) = picture.panels
    (bounds,) = panel.others
    assert bounds.bound.tolist() == ["at least"]
    assert bounds.mean[0] == pytest.approx(13.6 * 88.4)
    assert "stage 2 140–250" in picture.caption
    assert "A newer edition exists; its bounds were not seen." in picture.caption
    assert "not part of the trend: bounds" in picture.caption
    # As a small panel under the pressure, the bound keeps its arrow too.
    below = trend_picture(bpvet.fit_trend(records, "A1"), labs=True).panels[1:]
    assert [one.sessions.bound.tolist() for one in below] == [[""] * 5, ["at least"]]
    assert (
        "one value, at least 13.6 mg/dL"
        in trend_picture(bpvet.fit_trend(records, "A1"), labs=True).alt_text
    )
