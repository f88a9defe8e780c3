"""From an audit to its pictures: the numbers shown are those of the audit, and nobody is ranked."""

from __future__ import annotations

import numpy as np

from bpvet.figures.clinic.audit_picture import BarsPanel, RowsPanel
from bpvet.models.agreement.situation import situation
from bpvet.models.audit.audit import audit
from bpvet.pictures import audit as audit_pictures
from tests.models.agreement import test_situation
from tests.models.audit.test_audit import clinic


def test_operators_stand_in_alphabetical_order_with_the_caution() -> None:
    found = audit(clinic(gap=12.0))
    shown = audit_pictures.operators_picture(found)
    assert shown is not None
    panel = shown.panels[0]
    assert isinstance(panel, RowsPanel)
    assert [name.split(" ")[0] for name in panel.names] == ["AB", "CD"]
    effects = [one.effect for one in found.operators[0].effects]
    np.testing.assert_array_equal(panel.estimate, [one.estimate for one in effects])
    np.testing.assert_array_equal(panel.low, [one.lower for one in effects])
    assert "not for judging people" in shown.caption


def test_digits_and_order_show_the_counts_and_the_first_reading() -> None:
    found = audit(clinic(first=10.0))
    digits, order = audit_pictures.digits_picture(found), audit_pictures.order_picture(found)
    assert digits is not None
    assert order is not None
    bars, rows = digits.panels[0], order.panels[0]
    assert isinstance(bars, BarsPanel)
    assert isinstance(rows, RowsPanel)
    assert tuple(bars.count) == found.digits[0].test.counts
    assert bars.line == sum(found.digits[0].test.counts) / 5
    assert rows.estimate[0] == found.order[0].first_minus_rest.estimate
    assert "first (n = 72)" in order.alt_text


def test_spread_is_drawn_where_there_are_groups() -> None:
    found = audit(clinic())
    shown = audit_pictures.spread_picture(found)
    assert shown is not None
    assert shown.panels[0].names == ("operator: AB (n = 36)", "operator: CD (n = 36)")
    assert audit_pictures.spread_picture(audit(clinic(operator="AB"))) is None


def test_nothing_is_drawn_of_nothing() -> None:
    found = audit(clinic(animals=1, visits=1, readings=1))
    assert audit_pictures.order_picture(found) is None
    assert audit_pictures.spread_picture(found) is None
    assert audit_pictures.operators_picture(found) is None


def test_the_situational_effect_by_animal() -> None:
    found = situation(test_situation.clinic())
    panel = audit_pictures.situation_picture(found).panels[0]
    assert isinstance(panel, RowsPanel)
    assert panel.names[:2] == ("all animals", "A0 (3 and 3)")
    assert panel.estimate[0] == found.overall.estimate
