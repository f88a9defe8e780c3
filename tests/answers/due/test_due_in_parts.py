"""The clinic's list over parts: the rows of the whole, and the command that makes it."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import bpvet
from bpvet.command.main import main
from bpvet.errors import CallError
from reference_checks.speed.due import AS_OF, tables


def write(folder, held, animals):
    """Write the tables of some animals as Parquet."""
    folder.mkdir(parents=True)
    for name, table in held.items():
        table[table["animal"].isin(animals)].to_parquet(folder / f"{name}.parquet", index=False)
    return folder


@pytest.fixture(scope="module")
def held():
    found = tables(40, 4)
    found["animals"]["left_on"] = [AS_OF, *[""] * 39]
    return found


@pytest.fixture(scope="module")
def clinics(held, tmp_path_factory):
    """A folder of one, two and seven parts each: animals dealt in turn, as they come."""
    home, names = tmp_path_factory.mktemp("clinics"), list(held["animals"]["animal"])
    for count in (1, 2, 7):
        for i in range(count):
            write(home / str(count) / f"part-{i}", held, names[i::count])
    return home


@pytest.fixture(scope="module")
def whole(clinics):
    return bpvet.due(bpvet.read(clinics / "1" / "part-0", as_of=AS_OF))


@pytest.mark.parametrize(("count", "executor"), [("2", None), ("7", None), ("2", 2)])
def test_parts_have_the_rows_of_the_whole(clinics, whole, count, executor):
    found = bpvet.due_in_parts(clinics / count, executor=executor, as_of=AS_OF)
    assert found.rows == whole.rows
    assert found.left == whole.left == 1
    assert found.to_list() == whole.to_list()
    assert found.cautions == whole.cautions
    assert found.data_digest not in ("", whole.data_digest)


def test_pseudonyms_and_an_empty_part(held, clinics, whole, tmp_path):
    empty = write(tmp_path / "empty", held, [])
    parts = [empty, *sorted((clinics / "2").iterdir())]
    found = bpvet.due_in_parts(parts, pseudonyms=True, as_of=AS_OF)
    assert sorted(one.animal for one in found.rows) == [f"animal {i:02d}" for i in range(1, 40)]
    assert {one.name for one in found.rows} == {""}
    assert [one.why for one in found.rows] == [one.why for one in whole.rows]
    assert found.data_digest == ""


def test_an_animal_in_two_parts_is_refused_by_name(held, tmp_path):
    names = list(held["animals"]["animal"])[1:6]
    write(tmp_path / "east", held, names[:3])
    # One that only the table of animals names is on the list, and so is found too.
    write(tmp_path / "west", {"readings": held["readings"]}, names[3:])
    animals = held["animals"]
    animals[animals["animal"].isin(names[2:])].to_parquet(tmp_path / "west" / "animals.parquet")
    with pytest.raises(CallError, match=rf'"{names[2]}" is in two parts, ".*east" and ".*west"'):
        bpvet.due_in_parts(tmp_path, as_of=AS_OF)


def test_calls_that_are_wrong(clinics):
    with pytest.raises(CallError, match="processes is none of"):
        bpvet.due_in_parts(clinics / "2", processes=2)
    with pytest.raises(CallError, match="0 or more"):
        bpvet.due_in_parts(clinics / "2", days=-1)
    with pytest.raises(CallError, match="guideline"):
        bpvet.due_in_parts(clinics / "2", "nobody's")


def test_the_command_prints_the_list_of_the_whole(clinics, whole, capsys, tmp_path):
    path = str(clinics / "2")
    words = ["due", path, "--parts", "--as-of", AS_OF]
    assert main([*words, "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out) == whole.to_list()
    place = tmp_path / "list.csv"
    assert main([*words, "--processes", "2", "-o", str(place)]) == 0
    assert place.read_text(encoding="utf-8").count("\n") == 1 + len(whole.rows)
    assert main([*words, "-o", str(tmp_path / "morning")]) == 2
    assert main(["due", path, "--processes", "2"]) == 2
    assert not (tmp_path / "morning").exists()


def test_the_command_says_what_was_found_in_each_part(clinics, held, tmp_path, capsys):
    write(tmp_path / "all" / "bad", held, ["a000001"])
    path = tmp_path / "all" / "bad" / "readings.parquet"
    rows = held["readings"][held["readings"]["animal"] == "a000001"].astype({"systolic": object})
    rows.iloc[0, rows.columns.get_loc("systolic")] = "15O"
    rows.astype({"systolic": str}).to_parquet(path, index=False)
    assert main(["due", str(tmp_path / "all"), "--parts", "--as-of", AS_OF]) == 0
    told = capsys.readouterr().err
    assert "2 findings about the records" in told
    assert "bad" in told


def test_the_two_commands_of_the_readme(clinics, tmp_path):
    shutil.copytree(clinics / "2", tmp_path / "clinics")
    text = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    # The line before them makes a part; here there are some.
    block = r"^```sh\n\.venv/bin/bpvet example clinics[^\n]*\n(.*?)^```"
    (two,) = re.findall(block, text, flags=re.DOTALL | re.MULTILINE)
    for line in two.splitlines():
        program, *words = shlex.split(line)
        ahead = ["-m", "bpvet"] if program == ".venv/bin/bpvet" else []
        subprocess.run([sys.executable, *ahead, *words], cwd=tmp_path, check=True)
    assert len(pd.read_parquet(tmp_path / "due.parquet")) == 39
    files = sorted((tmp_path / "trends").iterdir())
    assert [len(pd.read_parquet(file)) for file in files] == [20, 20]
