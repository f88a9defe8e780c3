"""Parameters: plain JSON beside the notebook, there and back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.records.read_options import ReadOptions
from bpvet.reports.animal.parameters import Parameters, parameters, path_from, reading_from

PLAIN = Parameters(
    records="../clinic",
    animal="A17",
    method=None,
    quantity="systolic",
    condition="home",
    bridge=("methods",),
    rule="guideline",
    guideline="acvim2018",
    level=0.9,
    as_of="2026-11-01",
    reading=ReadOptions({"Pet ID": "animal"}, "dmy", "kPa", "cp1252", "select 1"),
    priors=None,
)


def back(asked: Parameters, path: Path) -> Parameters:
    path.write_text(asked.to_json("animal 01"), encoding="utf-8")
    return parameters(path)


def test_parameters_come_back(tmp_path: Path) -> None:
    assert back(PLAIN, tmp_path / "p.json") == PLAIN
    written = ReadOptions("a=animal")
    assert back(replace(PLAIN, reading=written), tmp_path / "p.json").reading == written


def test_the_edition_comes_back_and_older_reports_have_the_default(tmp_path: Path) -> None:
    older = replace(PLAIN, edition="iris2017")
    assert back(older, tmp_path / "p.json") == older
    assert older.answer["edition"] == "iris2017"
    held = json.loads(PLAIN.to_json("animal 01"))
    del held["edition"]
    (tmp_path / "p.json").write_text(json.dumps(held), encoding="utf-8")
    assert parameters(tmp_path / "p.json") == PLAIN


def test_the_notebook_reads_the_records_as_they_were_read() -> None:
    assert PLAIN.read == {
        "as_of": "2026-11-01",
        "columns": {"Pet ID": "animal"},
        "dates": "dmy",
        "unit": "kPa",
        "encoding": "cp1252",
        "query": "select 1",
    }
    assert replace(PLAIN, reading=ReadOptions()).read == {"as_of": "2026-11-01"}


@pytest.mark.parametrize(
    "priors",
    [
        Priors.default("cat", "doppler"),
        replace(Priors.default("dog", "oscillometric"), first_visit=None, tau_days={"x": 2.0}),
        PriorTable({("cat", "doppler", "systolic"): Priors.default("cat", "doppler")}, "ours"),
    ],
)
def test_priors_come_back(tmp_path: Path, priors: Priors | PriorTable) -> None:
    found = back(replace(PLAIN, priors=priors), tmp_path / "p.json").priors
    again = back(replace(PLAIN, priors=found), tmp_path / "p.json").priors
    assert found == again
    assert type(found) is type(priors)
    one, other = (
        held.cells["cat", "doppler", "systolic"] if isinstance(held, PriorTable) else held
        for held in (priors, found)
    )
    assert isinstance(one, Priors)
    assert isinstance(other, Priors)
    for name in ("level", "sv", "effect_sd", "first_visit", "source"):
        assert getattr(one, name) == getattr(other, name)
    assert dict(one.tau_days) == dict(other.tau_days)


@given(st.text())
def test_any_id_comes_back(tmp_path_factory: pytest.TempPathFactory, animal: str) -> None:
    # Ids come from decoded files, so that a lone surrogate cannot be in one.
    if animal.isprintable() or animal.encode("utf-8", "replace").decode() == animal:
        path = tmp_path_factory.getbasetemp() / "p.json"
        assert back(replace(PLAIN, animal=animal), path).animal == animal


def test_they_bear_the_mark_of_their_report() -> None:
    assert json.loads(PLAIN.to_json("animal 01"))["bpvet_report"] == "animal 01"


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"records": 1}'])
def test_another_file_is_refused_by_name(tmp_path: Path, content: str) -> None:
    (tmp_path / "p.json").write_text(content)
    with pytest.raises(CallError, match=r"p\.json does not hold the parameters"):
        parameters(tmp_path / "p.json")
    with pytest.raises(CallError, match=r"q\.json cannot be read"):
        parameters(tmp_path / "q.json")


WRONG = {
    "records": [1, None, "", ["a"]],
    "as_of": [20260101, None],
    "reading": [[], 3, {"dates": "dym"}, {"none": "x"}, {"columns": {"a": 1}}, {"unit": 5}],
    "animal": [17, None, ["A17"]],
    "method": [True, {}],
    "bridge": ["methods", [1], None],
    "level": ["0.95", True, None, [0.9]],
    "priors": [3, [], {}, {"all": 1}, {"all": {"level": "x"}}, {"cells": [{"of": []}], "name": ""}],
}


@pytest.mark.parametrize("name", WRONG)
def test_edited_by_hand_each_value_is_looked_at(tmp_path: Path, name: str) -> None:
    path = tmp_path / "p.json"
    held = json.loads(PLAIN.to_json("animal 01"))
    for value in WRONG[name]:
        path.write_text(json.dumps(held | {name: value}))
        with pytest.raises(CallError, match=f"p.json does not hold .*“{name}”") as caught:
            parameters(path)
        assert str(caught.value).count("\n") == 0
        assert len(str(caught.value)) < len(str(path)) + 300


@pytest.mark.parametrize(
    ("content", "why"),
    [
        ("[" * 200_000, "nested too deep"),
        ('{"a":' * 100_000, "nested too deep"),
        ("1" * 3_000_000, "too long"),
        ("[1]", "no JSON object"),
        ('{"level": NaN}', "NaN is no number"),
    ],
    ids=range(5),
)
def test_what_is_no_file_of_parameters_is_said_in_a_sentence(
    tmp_path: Path, content: str, why: str
) -> None:
    (tmp_path / "p.json").write_text(content)
    with pytest.raises(CallError, match=rf"p\.json does not hold .*{why}"):
        parameters(tmp_path / "p.json")


def test_a_way_across_the_machine_is_never_written_down(tmp_path: Path) -> None:
    far = Path(tmp_path.anchor) / "srv" / "reports" / "out"
    reading = ReadOptions(str(tmp_path / "ours.toml"))
    here = replace(PLAIN, records=str(tmp_path / "clinic"), reading=reading).seen_from(far)
    assert (here.records, here.reading.columns) == ("", "ours.toml")
    text = here.to_json("animal 01", "0123")
    assert tmp_path.name not in text
    assert "records" not in json.loads(text)
    (tmp_path / "p.json").write_text(text)
    with pytest.raises(CallError, match=r"does not say where the records are.*as \"records\""):
        parameters(tmp_path / "p.json")


def test_the_digest_is_of_all_that_was_asked_and_of_the_records() -> None:
    others = (replace(PLAIN, level=0.8), replace(PLAIN, records="../other"))
    digests = {PLAIN.digest("animal 01", "a"), PLAIN.digest("animal 01", "b")}
    digests |= {one.digest("animal 01", "a") for one in others} | {PLAIN.digest("animal 02", "a")}
    assert len(digests) == 5
    assert PLAIN.digest("animal 01", "a") in digests


def test_the_path_to_the_records_is_from_the_notebook(tmp_path: Path) -> None:
    assert path_from(tmp_path / "out", tmp_path / "clinic") == "../clinic"
    assert path_from(tmp_path, tmp_path / "a" / "readings.csv") == "a/readings.csv"
    assert path_from(tmp_path, tmp_path) == "."


def test_a_mapping_file_is_named_from_the_notebook(tmp_path: Path) -> None:
    reading = ReadOptions(str(tmp_path / "clinic" / "ours.toml"), "dmy")
    seen = reading_from(tmp_path / "out", reading)
    assert seen == ReadOptions("../clinic/ours.toml", "dmy")
    assert reading_from(tmp_path, ReadOptions("a=animal")) == ReadOptions("a=animal")
