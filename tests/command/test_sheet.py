"""`bpvet sheet` and `bpvet owner`: text, JSON, pages, the diary, and sheets beside the list."""

from __future__ import annotations

import json
import re

import pytest

from bpvet.facts.cautions import licensed
from tests.command.small import AS_OF

CALL = ("--animal", "Pilchard", "--as-of", AS_OF)


@pytest.mark.parametrize("command", ["sheet", "owner"])
def test_text_json_and_page(run, clinic, tmp_path, command):
    text = run(command, clinic, *CALL)
    assert text.status == 0
    assert licensed() in " ".join(text.out.split())
    told = json.loads(run(command, clinic, *CALL, "--json").out)
    assert told["animal"] == "A17"
    place = tmp_path / "page.html"
    ended = run(command, clinic, *CALL, "-o", place)
    assert ended.status == 0
    assert str(place) in ended.out
    assert "Pilchard" in place.read_text(encoding="utf-8")
    again = run(command, clinic, *CALL, "-o", place)
    assert again.status == 2
    assert "already exists" in again.err
    assert run(command, clinic, *CALL, "-o", place, "--force", "--paper", "letter").status == 0
    assert "size: 215.9mm 279.4mm" in place.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", ["sheet", "owner"])
@pytest.mark.parametrize(
    "options",
    [("--paper", "a4"), ("-o", "x.txt"), ("-o", "nowhere/x.html"), ("--guideline", "no")],
)
def test_wrong_calls(run, clinic, tmp_path, monkeypatch, command, options):
    monkeypatch.chdir(tmp_path)
    assert run(command, clinic, *CALL, *options).status == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["sheet", "owner"])
def test_an_unknown_animal_and_one_that_left(run, clinic, tmp_path, command):
    assert run(command, clinic, "--animal", "Pilchrd").status == 2
    folder = tmp_path / "left"
    folder.mkdir()
    for file in clinic.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "animals.csv").write_text(
        "animal,species,name,left_on,left_reason\nA17,cat,Pilchard,2026-05-01,died\n",
        encoding="utf-8",
    )
    ended = run(command, folder, *CALL, "-o", tmp_path / "x.html")
    assert ended.status == 2
    assert "Pilchard (A17) died on 1 May 2026" in " ".join(ended.err.split())
    assert not (tmp_path / "x.html").exists()


def test_the_sheet_keeps_back_what_was_measured(run, clinic, tmp_path):
    place = tmp_path / "sheet.html"
    run("sheet", clinic, "--animal", "B2", "--as-of", AS_OF, "-o", place)
    body = re.sub(r"<style>.*?</style>", "", place.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert not re.search(r"\b(150|151|152)\b", body)


def test_the_diary_comes_with_the_page(run, clinic, tmp_path):
    page, diary = tmp_path / "owner.html", tmp_path / "diary.csv"
    ended = run("owner", clinic, *CALL, "-o", page, "--diary", diary)
    assert ended.status == 0
    assert diary.read_text(encoding="utf-8").startswith("animal,taken_at,setting,method")
    assert run("owner", clinic, *CALL, "--diary", clinic / "readings-home.csv").status == 2
    assert run("owner", clinic, *CALL, "--diary", tmp_path / "diary.txt").status == 2


def test_each_row_of_the_list_leads_to_its_sheet(run, clinic, tmp_path):
    folder = tmp_path / "morning"
    assert run("due", clinic, "--as-of", AS_OF, "-o", folder).status == 0
    page = (folder / "due.html").read_text(encoding="utf-8")
    links = re.findall(r'href="(sheet-[^"]+)"', page)
    assert sorted(links) == ["sheet-A17.html", "sheet-B2.html"]
    assert all((folder / one).is_file() for one in links)
    assert run("due", clinic, "--as-of", AS_OF, "-o", folder).status == 0
    (folder / "sheet-B2.html").write_text("mine", encoding="utf-8")
    ended = run("due", clinic, "--as-of", AS_OF, "-o", folder)
    assert ended.status == 2
    assert "sheet-B2.html" in ended.err
    assert (folder / "due.html").read_text(encoding="utf-8") == page


def test_with_pseudonyms_no_name_stands_in_any_file(run, clinic, tmp_path):
    folder = tmp_path / "morning"
    assert run("due", clinic, "--as-of", AS_OF, "-o", folder, "--pseudonyms").status == 0
    names = sorted(one.name for one in folder.glob("sheet-*"))
    assert len(names) == 2
    for file in folder.iterdir():
        text = file.read_text(encoding="utf-8")
        for word in ("Pilchard", "Tuppence", "A17", "B2 "):
            assert word not in text
        assert "A17" not in file.name
    page = (folder / "due.html").read_text(encoding="utf-8")
    assert sorted(re.findall(r'href="(sheet-[^"]+)"', page)) == names
