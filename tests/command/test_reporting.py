"""The clinic's reports on paper: what is asked for reaches the page, and what cannot be is said."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bpvet.reports import writing
from tests.models.small_clinic import AS_OF, write_clinic


@pytest.fixture
def papers(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The papers that were asked for; neither notebook nor page is really made."""
    asked: list[str] = []

    def pdf_bytes(html: str, mark: str, paper: str) -> bytes:
        asked.append(paper)
        return mark.encode()

    monkeypatch.setattr(writing, "run", lambda notebook, *_: notebook)
    monkeypatch.setattr(writing, "refuse_without_setter", lambda: None)
    monkeypatch.setattr(writing, "pdf_bytes", pdf_bytes)
    return asked


@pytest.mark.parametrize("command", ["cohort", "agreement", "audit"])
def test_a_clinics_report_is_set_on_paper_too(
    run, tmp_path: Path, papers: list[str], command: str
) -> None:
    records, out = write_clinic(tmp_path / "records"), tmp_path / "out"
    asked = (command, records, "-o", out, "--as-of", AS_OF, "--pdf")
    ended = run(*asked)
    assert ended.status == 0
    place = out / f"{command}.pdf"
    assert f'The same to print is in "{place}"' in ended.out
    assert place.read_bytes().startswith(command.encode())
    held = json.loads(run(*asked, "--paper", "letter", "--json", "--force").out)
    assert held["pdf"] == str(place)
    assert papers == ["a4", "letter"]
    place.unlink()
    without = json.loads(run(*asked[:-1], "--json", "--force").out)
    assert without["pdf"] is None
    assert not place.exists()


@pytest.mark.parametrize("command", ["cohort", "agreement", "audit"])
def test_a_paper_without_a_pdf_is_refused(run, tmp_path: Path, command: str) -> None:
    records = write_clinic(tmp_path / "records")
    ended = run(command, records, "-o", tmp_path / "out", "--paper", "a4")
    assert (ended.status, ended.out) == (2, "")
    assert "--paper is for a PDF; add --pdf." in ended.err


@pytest.mark.parametrize("command", ["agreement", "audit"])
def test_a_pdf_of_no_report_is_refused(run, tmp_path: Path, command: str) -> None:
    ended = run(command, write_clinic(tmp_path / "records"), "--pdf")
    assert (ended.status, ended.out) == (2, "")
    assert "--pdf is for a report; add -o DIR." in ended.err
