"""An animal's report as files: data and no code, the same bytes again, and nobody's file lost."""

from __future__ import annotations

import json
import shutil
from html import unescape
from pathlib import Path

import nbformat
import pytest

from bpvet.errors import BpvetError, CallError, RecordsError
from bpvet.records.records import Records
from bpvet.reports import writing
from bpvet.reports.animal import report
from bpvet.reports.naming import digest_of, slug
from bpvet.reports.running import text_of
from tests.reports.conftest import AS_OF, HOSTILE_ID, HOSTILE_NAME, HOSTILE_NOTE, in_kernel
from tests.reports.made import Made, write_animal


def sources(path: Path) -> str:
    cells = nbformat.read(path, as_version=4).cells
    return "\n".join(cell.source for cell in cells)


def test_three_files_and_no_more(hostile: Made, urgent: Made) -> None:
    for written in (hostile, urgent):
        files = {written.notebook, written.page, written.parameters}
        assert set(written.page.parent.iterdir()) == files
    assert urgent.page.name == "B04.html"
    assert hostile.page.name == f"{slug(HOSTILE_ID)}.html"
    assert hostile.page.parent.name == "out"


def test_the_notebook_is_valid_and_was_run(hostile: Made) -> None:
    made = nbformat.read(hostile.notebook, as_version=4)
    nbformat.validate(made)
    code = [cell for cell in made.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))
    assert all(output.output_type == "execute_result" for cell in code for output in cell.outputs)
    assert [cell.id for cell in made.cells] == [
        f"cell-{i:02d}" for i in range(1, len(made.cells) + 1)
    ]


def test_no_value_of_the_records_is_in_a_cell(hostile: Made, urgent: Made) -> None:
    one, other = sources(hostile.notebook), sources(urgent.notebook)
    for value in (HOSTILE_ID, HOSTILE_NAME, HOSTILE_NOTE, "alert", "../records", "onerror"):
        assert value not in one
    for value in ("B04", "Marzipan", "clinic", "Wrackmouth"):
        assert value not in other
    assert one.replace(digest_of(HOSTILE_ID), "") == other.replace(digest_of("B04"), "")


def test_the_parameters_are_data_beside_it(hostile: Made) -> None:
    held = json.loads(hostile.parameters.read_text(encoding="utf-8"))
    assert held["animal"] == HOSTILE_ID
    assert held["records"] == "../records"
    assert held["as_of"] == "2026-06-01"


def test_hostile_texts_are_on_the_page_as_text(hostile: Made) -> None:
    html = hostile.page.read_text(encoding="utf-8")
    for value in (HOSTILE_ID, HOSTILE_NAME, HOSTILE_NOTE, "<b>breed</b>", "<i>half</i> tablet"):
        assert value in unescape(html)
        assert value not in html
    for bad in ("<script", "<svg onload", "<img src=x", "onerror=alert(1)>", 'href="javascript'):
        assert bad not in html


def test_the_page_goes_from_now_to_the_sources(urgent: Made) -> None:
    html = urgent.page.read_text(encoding="utf-8")
    order = (
        *("<h1>", ">Urgent<", ">What to know now<", ">Through time<", "<svg"),
        *(">In three sentences<", ">The answers<", ">The sessions<", ">Kidney values, "),
        *(">What the record check says<",),
        *(">How it was computed", ">Cautions<", ">Sources<", 'class="statement"', "<pre>"),
    )
    places = [html.index(part) for part in order]
    assert places == sorted(places)
    assert len(html) < 600_000


def test_every_sentence_is_on_the_page(urgent: Made) -> None:
    html = unescape(urgent.page.read_text(encoding="utf-8")).replace("\N{NO-BREAK SPACE}", " ")
    for said in urgent.answer.sentences:
        assert said.removeprefix("Urgent: ") in html


def test_the_notebook_runs_again_elsewhere_and_gives_the_same_bytes(
    hostile: Made, tmp_path: Path
) -> None:
    shutil.copytree(hostile.page.parent.parent, tmp_path / "moved")
    folder = tmp_path / "moved" / "out"
    before = hostile.notebook.read_text(encoding="utf-8")
    again = in_kernel(nbformat.reads(before, as_version=4), folder)
    assert text_of(again) == before


def test_written_again_it_gives_the_same_bytes_and_leaves_other_files_alone(
    urgent: Made, clinic: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "out"
    shutil.copytree(urgent.page.parent, folder)
    (folder / "letter.txt").write_text("mine")
    moved = shutil.copytree(clinic, tmp_path / "clinic")
    monkeypatch.chdir(tmp_path)
    again = write_animal("clinic", "B04", "out", as_of=AS_OF)
    for one, other in (
        (urgent.page, again.page),
        (urgent.notebook, again.notebook),
        (urgent.parameters, again.parameters),
    ):
        assert one.read_bytes() == (tmp_path / other).read_bytes()
    assert (folder / "letter.txt").read_text() == "mine"
    assert len(list(folder.iterdir())) == 4
    assert sorted(path.name for path in moved.iterdir()) == sorted(
        path.name for path in clinic.iterdir()
    )


@pytest.fixture
def unrun(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the notebook be as if it had run, where only its files are looked at."""
    monkeypatch.setattr(writing, "run", lambda notebook, *_: notebook)


@pytest.mark.usefixtures("unrun")
@pytest.mark.parametrize("suffix", ["html", "ipynb"])
def test_a_foreign_file_is_replaced_only_by_force(
    clinic: Path, tmp_path: Path, suffix: str
) -> None:
    mine = tmp_path / f"G03.{suffix}"
    mine.write_text("mine")
    with pytest.raises(CallError, match=rf"G03\.{suffix} is there and was not written"):
        write_animal(clinic, "G03", tmp_path, as_of=AS_OF)
    assert [path.name for path in tmp_path.iterdir()] == [mine.name]
    assert mine.read_text() == "mine"
    write_animal(clinic, "G03", tmp_path, as_of=AS_OF, force=True)
    assert mine.read_text() != "mine"


@pytest.mark.usefixtures("unrun")
def test_a_notebook_gone_on_with_is_kept(clinic: Path, tmp_path: Path) -> None:
    written = write_animal(clinic, "G03", tmp_path, as_of=AS_OF)
    write_animal(clinic, "G03", tmp_path, as_of=AS_OF)
    made = nbformat.read(written.notebook, as_version=4)
    made.cells.append(nbformat.v4.new_code_cell("trend.at('2026-12-01')"))
    nbformat.write(made, written.notebook)
    with pytest.raises(CallError, match="changed after it was written"):
        write_animal(clinic, "G03", tmp_path, as_of=AS_OF)
    assert "2026-12-01" in written.notebook.read_text(encoding="utf-8")


@pytest.mark.parametrize("before", [False, True])
def test_if_the_run_fails_all_is_as_before(
    clinic: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: bool
) -> None:
    held: dict[str, bytes] = {}
    if before:
        with monkeypatch.context() as patched:
            patched.setattr(writing, "run", lambda notebook, *_: notebook)
            write_animal(clinic, "G03", tmp_path, as_of=AS_OF)
        held = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def fails(*_: object) -> None:
        raise BpvetError("no run")

    monkeypatch.setattr(writing, "run", fails)
    with pytest.raises(BpvetError, match="no run"):
        write_animal(clinic, "G03", tmp_path, as_of=AS_OF, level=0.8)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == held


def test_a_wrong_call_runs_no_cell_and_writes_nothing(
    clinic: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "run", lambda *given: pytest.fail("a cell was run"))
    for wrong in (
        {"animal": "A18"},
        {"guideline": "acvim1066"},
        {"level": 2.0},
        {"condition": "sedated"},
        {"as_of": "yesterday"},
    ):
        given = {"animal": "A17", "as_of": AS_OF} | wrong
        with pytest.raises(CallError):
            write_animal(clinic, out=tmp_path / "out", **given)  # type: ignore[arg-type]
    assert not (tmp_path / "out").exists()


def test_records_that_stop_the_work_stop_it(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("animal,systolic\nA17,150\n")
    with pytest.raises(RecordsError):
        write_animal(tmp_path, "A17", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_an_ids_slashes_lead_nowhere(hostile: Made) -> None:
    root = hostile.page.parent.parent
    assert {path.name for path in root.iterdir()} == {"records", "out"}


def test_the_cells_use_public_names_only(urgent: Made) -> None:
    code = sources(urgent.notebook)
    called = {part.split("(")[0] for part in code.split("report.")[1:]}
    assert called <= set(report.__all__) | {"parameters"}
    assert "._" not in code
    assert isinstance(Records, type)
