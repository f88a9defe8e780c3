"""What the caller settles: the order of dates, the unit, and that it is said."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions

HEADER = "animal,taken_at,method,systolic,diastolic\n"


def test_options_are_the_keywords_of_read() -> None:
    assert ReadOptions().to_plain() == {}
    given = {"columns": {"Pet": "animal"}, "dates": "dmy", "unit": "kPa", "encoding": "cp1252"}
    assert ReadOptions(**given).to_plain() == given  # type: ignore[arg-type]


@pytest.mark.parametrize("wrong", [{"dates": "ydm"}, {"unit": "cmH2O"}])
def test_an_order_or_a_unit_that_is_none(wrong: dict[str, str]) -> None:
    with pytest.raises(CallError, match=r"dmy or mdy, not|mmHg or kPa, not"):
        ReadOptions(**wrong)  # type: ignore[arg-type]


def test_day_first_dates_are_refused_until_the_order_is_stated(
    folder: Callable[..., Path],
) -> None:
    place = folder(readings=HEADER + "A,03/04/2025,doppler,150,\nA,13/04/2025,doppler,150,\n")
    refused = read(place, as_of="2026-01-01")
    (stop,) = refused.stopping
    assert "--dates dmy" in stop.mend
    stated = read(place, as_of="2026-01-01", dates="dmy")
    assert stated.readings["date"].dt.strftime("%Y-%m-%d").tolist() == ["2025-04-03", "2025-04-13"]
    assert stated.understood["dates"].startswith("day first, as stated in 2 rows")
    wrong = read(place, as_of="2026-01-01", dates="mdy")
    (bad,) = [one for one in wrong.findings if one.kind == "not a date"]
    assert bad.reason.startswith('"13/04/2025" is not a date written month first, as was stated.')


def test_kilopascal_are_refused_until_stated_and_then_multiplied(
    folder: Callable[..., Path],
) -> None:
    rows = "".join(f"A,2025-04-0{i},oscillometric,{i + 20}.5,12\n" for i in range(1, 4))
    place = folder(readings=HEADER + rows)
    (stop,) = read(place, as_of="2026-01-01").stopping
    assert "--unit kPa" in stop.mend
    records = read(place, as_of="2026-01-01", unit="kPa")
    # 21.5 kPa × 7.50062 mmHg/kPa = 161.26 mmHg; 12 kPa = 90.01 mmHg
    assert records.readings["systolic"].iloc[0] == pytest.approx(161.26, abs=0.005)
    assert records.readings["diastolic"].iloc[0] == pytest.approx(90.01, abs=0.005)
    assert records.understood["unit"] == "kPa, as stated: multiplied by 7.50062 to mmHg"
    assert not records.stopping
    # 101325 Pa are 760 mmHg by definition.
    assert pytest.approx(760 / 101.325) == MMHG_PER_KPA


def test_bounds_and_spreads_in_kilopascal(folder: Callable[..., Path]) -> None:
    header = "animal,taken_at,method,systolic_mean,systolic_n,systolic_sd\n"
    readings = read(
        folder(readings=header + "A,2025-04-03,doppler,20,5,1\n"), as_of="2026-01-01", unit="kPa"
    ).readings
    assert readings["systolic"].iloc[0] == pytest.approx(150.01, abs=0.005)
    assert readings["summary_sd"].iloc[0] == pytest.approx(7.50, abs=0.005)
    bound = read(
        folder(readings=HEADER + "A,2025-04-03,doppler,> 40,\n"), as_of="2026-01-01", unit="kPa"
    ).readings
    assert bound["systolic_bound"].iloc[0] == "at least"
    assert bound["systolic"].iloc[0] == pytest.approx(300.02, abs=0.005)


def test_mmhg_that_are_stated_to_be_kilopascal(folder: Callable[..., Path]) -> None:
    rows = "".join(f"A,2025-04-0{i},doppler,15{i},\n" for i in range(1, 4))
    (stop,) = read(folder(readings=HEADER + rows), as_of="2026-01-01", unit="kPa").stopping
    assert stop.mend.startswith("They are in mmHg, it seems: leave --unit kPa out.")


def test_an_odd_value_in_kilopascal_is_shown_in_both_units(folder: Callable[..., Path]) -> None:
    rows = "A,2025-04-01,doppler,33,\nA,2025-04-02,doppler,70,\n"
    records = read(folder(readings=HEADER + rows), as_of="2026-01-01", unit="kPa")
    reasons = [one.reason for one in records.findings if one.column == "systolic"]
    # 33 kPa × 7.50062 = 247.5 mmHg, 70 kPa × 7.50062 = 525.0 mmHg
    assert any(reason.startswith('"70" kPa (525 mmHg) cannot be') for reason in reasons)
