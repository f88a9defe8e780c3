"""Silence is measured: every row of observations, labs and treatments is told, or named unused."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import as_file, files

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.facts.drugs import drug_name
from bpvet.facts.signs.signs import read_sign
from bpvet.wording.en.phrases import day
from tests.scenarios.told import FOLDERS, HERE, answered, expected

CASES = [
    pytest.param(
        HERE / folder, one["as_of"], expected(folder)["animal"], id=f"{folder}-{one['as_of']}"
    )
    for folder in FOLDERS
    for one in expected(folder)["at"]
]


def _plain(text):
    return re.sub(r"\W+", " ", str(text).casefold()).strip()


def _silent(records, animal):
    """Yield the rows that are neither in a statement nor among those that were not used."""
    answer, _ = answered(records, animal)
    said = " ".join(one.text for one in answer.statements)
    unused = {}
    for one in answer.not_used:
        unused.setdefault((one.table, str(one.date)), []).append(_plain(one.text))
    for table, date in (
        ("observations", "seen_on"),
        ("labs", "sampled_on"),
        ("treatments", "started_on"),
    ):
        rows = getattr(records, table)
        for _, row in rows[rows["animal"] == animal].iterrows():
            missing = pd.isna(row[date])
            on = "NaT" if missing else str(np.datetime64(row[date], "D"))
            named = unused.get((table, on), [])
            aside = row["set_aside"] or row["future"]
            if not _TOLD[table](row, on, "" if aside else said, named):
                yield f"{table} {on} {row.to_dict()}"


def _sign_told(row, on, said, named):
    cell, status = str(row["sign"]), str(row["status"])
    items = [
        one.text
        for one in read_sign(cell, status, None if on == "NaT" else np.datetime64(on).item())
    ]
    when = "" if on == "NaT" else day(np.datetime64(on))
    if not said or not items:
        return any(_plain(cell) in one or one in _plain(cell) for one in named)
    # A status that is no word of ours is told with its sign.
    told = (rf"“{re.escape(text)}(?:: [^”]+)?” \({when}\)" for text in items)
    return all(
        re.search(pattern, said) or _plain(text) in named
        for pattern, text in zip(told, items, strict=True)
    )


def _lab_told(row, on, said, named):
    value = f"{float(row['value']):g}"
    analyte = _plain(row["analyte"])
    if any(one == analyte or (one.startswith(analyte) and _plain(value) in one) for one in named):
        return True
    return bool(re.search(rf"(?<![\d.]){re.escape(value)}(?![\d])", said))


def _drug_told(row, on, said, named):
    name = _plain(drug_name(str(row["drug"])))
    return name in _plain(said) or any(name in one for one in named)


_TOLD = {"observations": _sign_told, "labs": _lab_told, "treatments": _drug_told}


@pytest.mark.parametrize(("path", "as_of", "animal"), CASES)
def test_no_row_of_a_scenario_is_silent(path, as_of, animal):
    assert list(_silent(bpvet.read(path, as_of=as_of), animal)) == []


@cache
def _example():
    """The invented records that ship with the package."""
    with as_file(files("bpvet.records") / "example_records") as folder:
        return bpvet.read(folder)


@pytest.mark.parametrize("animal", sorted(set(_example().animals["animal"])))
def test_no_row_of_the_example_records_is_silent(animal):
    assert list(_silent(_example(), animal)) == []


def test_the_measure_sees_a_silent_row(monkeypatch):
    """What holds the tests above up: with nothing named as unused there are silent rows."""
    monkeypatch.setattr("bpvet.wording.en.trend.statements.not_used", lambda *given: ())
    records = bpvet.read(HERE / "kidney_rising_on_a_drug", as_of="2026-05-06")
    assert len(list(_silent(records, "K1"))) == 2
