"""The reports on agreement and on measuring: their numbers, their files, and hostile words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bpvet.command.main import main
from bpvet.errors import CallError, RecordsError
from bpvet.printing import number
from bpvet.reports.agreement import report as agreement
from bpvet.reports.audit import report as audit

from .conftest import AS_OF
from .made import Made, write_agreement, write_audit
from .measuring_records import write_hostile


@pytest.fixture(scope="module")
def agreed(clinic: Path) -> Made:
    """The example clinic's two methods."""
    return write_agreement(clinic, clinic.parent / "measuring", as_of=AS_OF)


@pytest.fixture(scope="module")
def audited(clinic: Path) -> Made:
    """The example clinic's measuring."""
    return write_audit(clinic, clinic.parent / "measuring", as_of=AS_OF)


def test_the_agreement_s_page_says_what_the_library_says(agreed: Made) -> None:
    text, found = agreed.page.read_text(), agreed.answer.agreement
    for held in (found.bias, found.lower, found.upper, found.sd, found.offset.s_d):
        assert f">{number(held.estimate)}</td>" in text
    for title in ("The animals", "The guideline&#39;s criteria", "For a trend that joins both"):
        assert title in text.replace("'", "&#39;")
    assert "not used by a trend" in text
    assert "bpvet audit" in text, "a reader is told where the situational effect stands"


def test_the_audit_s_page_has_every_section(audited: Made) -> None:
    text = audited.page.read_text()
    for title in audit.OUTLINE.sections:
        assert f">{title}</h2>" in text
    for title in audit.TOPICS:
        assert f"<summary>{title}</summary>" in text
    assert text.count("<figure>") == 5
    assert text.count('<details class="fold">') == len(audit.TOPICS) + 2
    assert text.index("not for judging people") < text.index("Operators</summary>")
    assert "Home against clinic</h3>" in text


def test_what_a_notebook_holds_is_no_record(agreed: Made) -> None:
    cells = json.loads(agreed.notebook.read_text())["cells"]
    sources = "".join("".join(cell["source"]) for cell in cells)
    assert "E02" not in sources
    asked = agreement.parameters(agreed.parameters)
    assert asked.as_of == AS_OF
    assert asked.options["quantity"] == "systolic"
    with pytest.raises(CallError, match="does not hold the parameters"):
        agreement.parameters(agreed.notebook)


def test_the_same_records_give_the_same_bytes(clinic: Path, audited: Made) -> None:
    before = {path: path.read_bytes() for path in (audited.page, audited.notebook)}
    write_audit(clinic, audited.page.parent, as_of=AS_OF)
    assert {path: path.read_bytes() for path in before} == before


def test_another_s_file_is_left_alone(clinic: Path, tmp_path: Path) -> None:
    (tmp_path / "audit.html").write_text("mine")
    with pytest.raises(CallError, match="was not written by this report"):
        write_audit(clinic, tmp_path, as_of=AS_OF)
    assert [path.name for path in tmp_path.iterdir()] == ["audit.html"]


def test_one_method_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    records = write_hostile(tmp_path / "one", animals=2, methods=1, people=0)
    with pytest.raises(RecordsError, match="measured by both methods"):
        write_agreement(records, tmp_path / "out", as_of="2026-06-01")
    assert not (tmp_path / "out").exists()
    assert main(["audit", str(records), "--as-of", "2026-06-01", "--json", "--quiet"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["operators"] == []
    assert [one["overall"] for one in shown["situations"]] == [None, None]


def test_the_commands_print_every_number(
    clinic: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    shown: dict[str, Any] = {}
    for command in ("agreement", "audit"):
        call = [command, str(clinic), "--as-of", AS_OF, "--level", "0.9", "--rule", "all"]
        assert main([*call, "--json", "--quiet"]) == 0
        said = capsys.readouterr()
        assert said.err == ""
        shown[command] = json.loads(said.out)
        assert main(call) == 0
        assert "90 % interval" in capsys.readouterr().out
    assert shown["agreement"]["level"] == shown["audit"]["level"] == 0.9
    assert {"bias", "lower", "upper", "repeatability", "offset"} <= set(shown["agreement"])
    assert {"protocol", "order", "digits", "operators", "precision"} <= set(shown["audit"])
    wrong = ["agreement", str(clinic), "--as-of", AS_OF, "--quantity", "blood"]
    assert main(wrong) == 2
