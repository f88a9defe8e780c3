"""Laboratory values under the pressure: as recorded, in the units given."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.figures import trend as figure
from bpvet.pictures.lab_panels import lab_panels
from bpvet.pictures.lab_values import lab_values
from bpvet.pictures.trend import trend_picture
from bpvet.records.example import write_example
from bpvet.records.records import Records

COLUMNS = ["animal", "sampled_on", "analyte", "value", "unit"]


def records(*rows: tuple[object, ...], species: str = "cat") -> Records:
    """Return one invented animal with two sessions and these laboratory rows."""
    taken = [
        ("Z01", f"2026-0{month}-03T10:0{step}", "doppler", 150 + step)
        for month in (1, 4)
        for step in range(5)
    ]
    return Records.from_frames(
        pd.DataFrame(taken, columns=["animal", "taken_at", "method", "systolic"]),
        animals=pd.DataFrame({"animal": ["Z01"], "species": [species]}),
        labs=pd.DataFrame([("Z01", *row) for row in rows], columns=COLUMNS),
        as_of="2026-05-01",
    )


def test_values_are_shown_by_date_in_the_unit_they_came_in() -> None:
    found = lab_panels(
        records(
            ("2026-04-03", "creatinine", 180, "umol/L"), ("2026-01-03", "creatinine", 172, "µmol/l")
        ),
        "Z01",
    )
    (panel,) = found.panels
    assert panel.unit == "µmol/L"
    assert panel.sessions.date.astype(str).tolist() == ["2026-01-03", "2026-04-03"]
    assert panel.sessions.mean.tolist() == [172.0, 180.0]
    assert [level.low for level in panel.levels[1:]] == [140.0, 251.0, 440.0]
    assert panel.guideline == "IRIS 2019 kidney guidance"


def test_two_units_of_one_analyte_have_two_panels_and_nothing_is_converted() -> None:
    found = lab_panels(
        records(
            ("2026-01-03", "creatinine", 172, "umol/L"), ("2026-04-03", "creatinine", 2.1, "mg/dL")
        ),
        "Z01",
    )
    assert [(panel.unit, panel.sessions.mean.tolist()) for panel in found.panels] == [
        ("µmol/L", [172.0]),
        ("mg/dL", [2.1]),
    ]
    assert [panel.levels[1].low for panel in found.panels] == [140.0, 1.6]
    assert "Creatinine was recorded in µmol/L and in mg/dL: each unit has its own" in found.caption
    assert "nothing was converted" in found.caption


def test_a_dog_is_laid_beside_the_dog_s_stages() -> None:
    row = ("2026-01-03", "sdma", 30, "ug/dL")
    (dog,) = lab_panels(records(row, species="dog"), "Z01").panels
    (cat,) = lab_panels(records(row, species="cat"), "Z01").panels
    assert [level.low for level in dog.levels[1:]] == [18.0, 36.0, 54.0]
    assert [level.low for level in cat.levels[1:]] == [18.0, 26.0, 38.0]


@pytest.mark.parametrize(
    ("row", "species"),
    [
        (("2026-01-03", "potassium", 4.1, "mmol/L"), "cat"),
        (("2026-01-03", "phosphate", 1.4, "mmol/L"), "dog"),
        (("2026-01-03", "weight", 4.2, "kg"), "cat"),
        (("2026-01-03", "sdma", 0.8, "umol/L"), "cat"),
        (("2026-01-03", "creatinine", 170, "furlongs"), "cat"),
        (("2026-01-03", "creatinine", 170, "umol/L"), ""),
    ],
)
def test_no_stage_is_shaded_without_a_source(row: tuple[object, ...], species: str) -> None:
    found = lab_panels(records(row, species=species), "Z01")
    (panel,) = found.panels
    assert panel.levels == ()
    assert panel.guideline == ""
    assert "stage" not in found.caption


def test_a_value_after_the_date_of_the_report_is_not_shown() -> None:
    assert lab_panels(records(("2026-06-01", "weight", 4.2, "kg")), "Z01").panels == ()


def test_an_analyte_without_a_panel_is_named() -> None:
    rows = ("2026-01-03", "weight", 4.2, "kg"), ("2026-01-03", "glucose", 5.1, "mmol/L")
    found = lab_panels(records(*rows), "Z01")
    assert [panel.quantity for panel in found.panels] == ["weight"]
    assert "Also recorded, not drawn: glucose." in found.caption
    assert lab_panels(records(rows[1]), "Z01").panels == ()


def test_words_name_every_panel_with_its_first_and_last_value() -> None:
    rows = [("2026-01-03", "upc", 0.2, "ratio"), ("2026-04-03", "upc", 0.52, "")]
    found = lab_panels(records(*rows, ("2026-01-03", "weight", 4.25, "kg")), "Z01")
    assert "urine protein to creatinine ratio; weight in kg." in found.caption
    assert "(cat): urine protein to creatinine ratio: non-proteinuric below 0.2" in found.caption
    assert (
        "2 values between 0.2 and 0.52; 0.2 on 3 January 2026, 0.52 on 3 April 2026."
        in found.alt_text
    )
    assert "Weight: one value, 4.25 kg on 3 January 2026." in found.alt_text


def test_the_picture_of_a_trend_takes_them_on_request(tmp_path_factory) -> None:
    folder = tmp_path_factory.mktemp("labs") / "clinic"
    write_example(folder)
    read = bpvet.read(folder, as_of="2026-11-01")
    trend = bpvet.fit_trend(read, "A17")
    plain, below = trend_picture(trend), trend_picture(trend, labs=True)
    assert len(plain.panels) == 1
    assert [panel.quantity for panel in below.panels[1:]] == [
        *("creatinine", "sdma", "upc", "potassium", "phosphate", "weight")
    ]
    # As they stand in labs.csv.
    written = pd.read_csv(folder / "labs.csv").query("animal == 'A17' and analyte == 'weight'")
    assert np.array_equal(below.panels[-1].sessions.mean, written["value"])
    assert below.panels[0].sessions.mean.tolist() == plain.panels[0].sessions.mean.tolist()
    assert "weight in kg" in figure.caption(below)
    assert plain.caption.partition(" Small lines")[0] in below.caption
    assert [row.quantity for row in plain.rows] == [one.quantity for one in below.panels[1:]]
    assert below.rows == ()


def test_the_trend_of_a_kidney_value_is_shaded_by_its_stages_and_not_drawn_twice() -> None:
    rows = [(f"2026-0{month}-03", "creatinine", 170 + month, "umol/L") for month in (1, 2, 3)]
    read = records(*rows, ("2026-01-03", "weight", 4.2, "kg"))
    shown = trend_picture(bpvet.fit_trend(read, "Z01", quantity="creatinine"), labs=True)
    assert [panel.quantity for panel in shown.panels] == ["creatinine", "weight"]
    assert [level.name for level in shown.panels[0].levels][:2] == ["stage 1", "stage 2"]
    assert "stages of the IRIS 2019 kidney guidance" in shown.caption


def test_values_are_read_only() -> None:
    (one,) = lab_values(records(("2026-01-03", "weight", 4.2, "kg")), "Z01")
    (panel,) = lab_panels(records(("2026-01-03", "weight", 4.2, "kg")), "Z01").panels
    assert one.name == "weight in kg"
    with pytest.raises(ValueError, match="read-only"):
        panel.sessions.mean[0] = 1.0
