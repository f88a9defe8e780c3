"""Changes between two laboratory values, by hand."""

from __future__ import annotations

import numpy as np

from bpvet.visits.labs.history import change
from tests.visits.labs.lab_values import value


def test_a_value_in_another_unit_is_converted_before_it_is_compared():
    found = change(
        value("2026-01-01 creatinine 176.84 µmol/L"), value("2026-01-31 creatinine 3 mg/dL")
    )
    assert found.converted
    assert found.days == 30
    assert np.isclose(found.absolute, 1.0, atol=0.01)
    assert np.isclose(found.percent, 50.0, atol=0.5)


def test_a_fall_to_nothing_is_one_of_all_whatever_the_unit():
    before = value("2026-01-01 creatinine 150 µmol/L")
    assert change(before, value("2026-02-01 creatinine 0 µmol/L")).percent == -100.0
    assert change(before, value("2026-02-01 creatinine 0 mg/dL")).percent == -100.0


def test_nothing_after_nothing_is_no_change_and_a_rise_from_it_is_beyond_any_share():
    nothing = value("2026-01-01 upc 0 ratio")
    assert change(nothing, value("2026-02-01 upc 0 ratio")).percent == 0.0
    assert change(nothing, value("2026-02-01 upc 0.1 ratio")).percent == np.inf


def test_a_fall_to_nothing_is_in_the_unit_of_the_newer_value():
    found = change(
        value("2026-01-01 creatinine 176.8 µmol/L"), value("2026-02-01 creatinine 0 mg/dL")
    )
    assert found.unit == "mg/dL"
    assert np.isclose(found.absolute, -2.0, atol=1e-9)
