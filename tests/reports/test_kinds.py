"""Kinds of report and of page for paper: what is declared once holds for each of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.reports.agreement.report import Parameters as AgreementParameters
from bpvet.reports.kind import Names
from bpvet.reports.letter.page import LETTER
from bpvet.reports.naming import digest_of
from bpvet.reports.owner import OWNER
from bpvet.reports.paper import MARGIN, PAPERS, WIDTH, PaperKind, visible
from bpvet.reports.sheet import SHEET
from bpvet.reports.spec import Options, ReportSpec, choice, filled, finite


@dataclass(frozen=True, kw_only=True)
class Rabbits(ReportSpec):
    """Parameters as a new kind of report would declare them."""

    quantity: str = choice(filled)
    level: float = choice(finite, default=0.95, newer=True)


def test_a_kind_declares_its_choices_and_reads_them_back(tmp_path: Path) -> None:
    path = tmp_path / "p.json"
    asked = Rabbits(records="../r", as_of="2026-11-01", quantity="systolic", level=0.9)
    path.write_text(asked.to_json("rabbits 01"))
    assert Rabbits.from_file(path) == asked
    held = json.loads(path.read_text())
    del held["level"]
    path.write_text(json.dumps(held))
    assert Rabbits.from_file(path).level == 0.95, "a file of before the option"
    del held["quantity"]
    path.write_text(json.dumps(held))
    with pytest.raises(CallError, match="“quantity” is missing"):
        Rabbits.from_file(path)


def test_options_that_are_left_out_are_written_down_all_the_same() -> None:
    records = object.__new__(Records)
    asked = AgreementParameters(options={"level": 0.9}).settled(records)
    assert asked.options["quantity"] == "systolic"
    assert asked.options["level"] == 0.9
    assert Options(options={"level": 0.9}).settled(records).options == {"level": 0.9}


def test_a_report_names_its_files_once() -> None:
    names = Names("A17", "Minka", "A17")
    assert names.files(pdf=False) == {
        "ipynb": "A17.ipynb",
        "html": "A17.html",
        "json": f"parameters-{digest_of('A17')}.json",
    }
    assert names.files(pdf=True)["pdf"] == "A17.pdf"


#: A kind of page for paper, of a name and a text.
NOTE: PaperKind[tuple[str, str]] = PaperKind(
    name="letter",
    animal=lambda note: note[0],
    title=lambda note: note[1],
    sections=(lambda note, _: f"<h1>{note[1]}</h1>", lambda _, paper: f"<p>{paper}</p>"),
    rules=lambda note, _: (f' @bottom-left {{ content: "{note[0]}"; }}', "p { margin: 0; }\n"),
)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_page_for_paper_is_put_together_once_for_every_kind(paper: str) -> None:
    html = NOTE.html(("A17", "Min\u200bka<script>x()</script>"), paper)
    width, height = PAPERS[paper]
    side = f"{MARGIN:g}mm {(width - WIDTH) / 2:g}mm"
    rule = (
        f'@page {{ size: {width:g}mm {height:g}mm; margin: {side}; @bottom-left {{ content: "A17"'
    )
    assert f"<style>\n{rule}" in html
    assert "p { margin: 0; }" in html
    body = html[html.index("<main") :]
    assert body.index("<h1>Minka</h1>") < body.index(f"<p>{paper}</p>")
    assert "script" not in body
    assert NOTE.file(("A17", "Minka"), paper) == NOTE.html(("A17", "Minka"), paper).encode()


def test_every_kind_s_files_are_known_by_their_own_mark() -> None:
    kinds = (LETTER, SHEET, OWNER)
    assert [kind.name for kind in kinds] == ["letter", "sheet", "owner"]
    assert NOTE.mark(("A17", "")) == f"letter {digest_of('A17')}"
    assert visible("a\u200db\u202e") == "a\u200db"
