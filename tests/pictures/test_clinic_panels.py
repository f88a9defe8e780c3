"""The sheets of small panels: who has one, in which order, on which axes, in what words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pytest

from bpvet.figures.clinic.panels_picture import PanelsPicture
from bpvet.models.clinic.needs import Need, Needs
from bpvet.pictures.clinic_panels import EXTREMES, MOST_PANELS, shared_axes, sheets

from .cohort_many import animal_rows, group, lines, names_in, needs_in


def made(rows: pd.DataFrame, hidden: bool = False) -> tuple[PanelsPicture, ...]:
    names = names_in(rows)
    return sheets(rows, needs_in(rows), names, "systolic", lines(), hidden=hidden)


@pytest.mark.parametrize("count", [1, 2, 59, 60])
def test_up_to_sixty_each_has_a_panel_in_the_order_of_need(count: int) -> None:
    rows = group(count)
    needs = needs_in(rows)[::-1]
    found = sheets(rows, needs, names_in(rows), "systolic", lines())
    drawn = [panel.key for sheet in found for panel in sheet.panels]
    assert drawn == [one.animal for one in needs]
    assert [one.overview is not None for one in found] == [True] + [False] * (len(found) - 1)
    assert found[0].overview is not None
    assert found[0].overview.deciles is None
    assert [one.words for one in found[0].overview.lines] == [one.words for one in lines()]
    assert len({(one.low, one.high, one.longest) for one in found}) == 1


@pytest.mark.parametrize("count", [MOST_PANELS + 1, 400])
def test_of_more_there_are_deciles_and_the_most_pressing(count: int) -> None:
    rows = group(count)
    (found,) = made(rows)
    assert [panel.key for panel in found.panels] == [f"A{k:03d}" for k in range(EXTREMES)]
    assert found.overview is not None
    held = found.overview.deciles
    assert held is not None
    # The first three months hold each animal's sessions of days 0, 30, 60 and 90.
    first = rows[rows["months"] < 3].groupby("animal")["systolic"].mean()
    np.testing.assert_allclose(held.value[0], np.quantile(first, np.arange(1, 10) / 10))
    assert held.animals[0] == count
    assert f"Of {count} animals the {EXTREMES} first have a panel" in found.caption


def test_of_more_only_those_with_a_panel_are_asked_for() -> None:
    rows = group(400)
    asked = []

    def found() -> Iterator[Need]:
        for one in needs_in(rows):
            asked.append(one.animal)
            yield one

    sheets(rows, Needs(found(), 400), names_in(rows), "systolic", lines())
    assert asked == [f"A{k:03d}" for k in range(EXTREMES)]


def test_deciles_stand_for_ten_animals_or_more() -> None:
    rows = pd.concat(
        [group(70), *(animal_rows(f"A{k:03d}", [150.0] * 20) for k in range(9))], ignore_index=True
    )
    (found,) = made(rows)
    assert found.overview is not None
    assert found.overview.deciles is not None
    assert found.overview.deciles.animals.min() >= 10
    assert found.overview.deciles.months.max() < rows["months"].max() - 3
    assert "with fewer than 10 there are none" in found.caption


def test_no_animal_sets_the_scale_of_all() -> None:
    rows = group(12)
    without = shared_axes(rows, "systolic")
    high = animal_rows("HIGH", [300.0, 296.0])
    low = animal_rows("LOW", [52.0, 60.0])
    long = animal_rows("LONG", [150.0] * 200)
    for other in (high, low, long):
        held = shared_axes(pd.concat([rows, other]), "systolic")
        span, before = held.high - held.low, without.high - without.low
        assert span <= 1.6 * before
        assert held.longest <= 2.0 * without.longest
    held = shared_axes(pd.concat([rows, high]), "systolic")
    assert held.high < 300 < 320
    assert held.low < 120
    assert held.high > 160


def test_a_sole_animal_has_its_own_axes() -> None:
    held = shared_axes(animal_rows("A", [300.0, 250.0, 190.0]), "systolic")
    assert held.high > 300
    assert held.low < 120


def test_what_lies_beyond_is_said() -> None:
    rows = pd.concat([group(12), animal_rows("HIGH", [300.0], systolic_bound="at least")])
    (found,) = made(rows)
    assert (
        "Beyond the shared axes, drawn at their edge: HIGH ≥\N{NO-BREAK SPACE}300 mmHg."
        in found.caption
    )
    (found,) = made(group(12))
    assert "Beyond" not in found.caption


def test_a_group_without_sessions_is_counted_and_said() -> None:
    rows = group(3)
    needs = (*needs_in(rows), Need("B1"), Need("B2"))
    (found,) = sheets(rows, needs, names_in(rows), "systolic", lines())
    assert "2 animals of the records have no counted session, and no panel." in found.caption
    assert {panel.key for panel in found.panels} == {"A000", "A001", "A002"}


def test_identical_names_stay_apart_by_their_ids() -> None:
    rows = group(5)
    (found,) = sheets(rows, needs_in(rows), names_in(rows, "Tilly"), "systolic", lines())
    assert [panel.name for panel in found.panels] == [f"A00{k} (Tilly)" for k in range(5)]


def test_with_pseudonyms_no_date_is_in_it() -> None:
    shown, hidden = (made(group(3), hidden)[0] for hidden in (False, True))
    assert not np.isnat(shown.panels[0].date).any()
    assert "6 January 2025" in shown.panels[0].words[0]
    for panel in hidden.panels:
        assert np.isnat(panel.date).all()
        assert all(word.startswith("month ") for word in panel.words)
        assert "2025" not in " ".join(panel.words)


def test_other_quantities_have_no_target_line() -> None:
    rows = group(4).rename(columns=lambda name: name.replace("systolic", "heart_rate"))
    (found,) = sheets(rows, needs_in(rows), names_in(rows), "heart_rate", lines())
    assert {(panel.target, panel.floor) for panel in found.panels} == {(None, None)}
    assert found.overview is not None
    assert found.overview.target is None
    assert found.unit != "mmHg"
