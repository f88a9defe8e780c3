"""`bpvet report --due`: the list, and a page of each animal on it."""

import json
import re
import shutil
import subprocess
import sys
from types import SimpleNamespace

import pytest

from bpvet.errors import FitError
from bpvet.reports import morning
from bpvet.reports.animal import report
from tests.command.small import AS_OF

#: The command, as a process that was begun for it.
BEGUN = "from bpvet.command.main import main\nif __name__ == '__main__': sys.exit(main())"


@pytest.fixture
def pages(monkeypatch):
    """Pages that are written at once, but for one animal's."""

    def write(kind, source, asked, folder, way):
        if asked.animal == "B2":
            raise FitError("It could not be fitted.")
        page = folder / f"{kind.names(source.records, asked, {}).stem}.html"
        page.write_text(f"{asked.animal} {asked.as_of} {asked.guideline}")
        return SimpleNamespace(page=page)

    monkeypatch.setattr(morning, "write", write)


def test_the_list_leads_to_the_pages_and_says_which_are_missing(run, clinic, tmp_path, pages):
    folder = tmp_path / "out"
    call = ("report", clinic, "--due", "--as-of", "2026-09-01", "-o", folder, "--processes", "1")
    ended = run(*call, "--json")
    told = json.loads(ended.out)
    assert ended.status == 1
    assert {one["animal"]: one["page"] is not None for one in told["reports"]} == {
        "A17": True,
        "B2": False,
    }
    assert "No report of B2: It could not be fitted." in ended.err
    assert (folder / "A17.html").read_text() == "A17 2026-09-01 acvim2018"
    page = (folder / "due.html").read_text(encoding="utf-8")
    assert 'href="A17.html"' in page
    assert 'href="B2.html"' not in page
    assert 'href="sheet-B2.html"' in page


def test_a_fit_that_fails_is_told_with_what_is_urgent(run, clinic, tmp_path, monkeypatch):
    def fails(*_, **__):
        raise FitError("It could not be fitted.")

    rows = "".join(f"C3,2026-08-30T10:0{i},doppler,21{i}\n" for i in range(5))
    records = shutil.copytree(clinic, tmp_path / "records")
    with (records / "readings.csv").open("a") as file:
        file.write(rows)
    monkeypatch.setattr(report, "fit_trend", fails)
    call = ("report", records, "--due", "--as-of", "2026-09-01", "--processes", "1")
    ended = run(*call, "-o", tmp_path / "out")
    assert ended.status == 1
    assert "No report of B2: It could not be fitted." in ended.err
    assert re.search(r"No report of C3: Urgent: .+ It could not be fitted\.", ended.err)
    assert not list((tmp_path / "out").glob("*.ipynb"))


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("--due", "--animal", "A17"),
        ("--due", "--method", "doppler"),
        ("--due", "--quantity", "weight"),
        ("--animal", "A17", "--processes", "2"),
        ("--due", "--processes", "0"),
    ],
)
def test_options_that_do_not_go_together(run, clinic, tmp_path, options):
    ended = run("report", clinic, "--as-of", AS_OF, "-o", tmp_path / "out", *options)
    assert ended.status == 2
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_two_processes_write_what_one_report_writes(run, clinic, tmp_path):
    folder, alone = tmp_path / "out", tmp_path / "alone"
    call = ("--as-of", "2026-09-01", "-o")
    ended = run("report", clinic, "--due", *call, folder, "--processes", "2")
    assert ended.status == 0
    assert 'href="A17.html"' in (folder / "due.html").read_text(encoding="utf-8")
    assert (folder / "B2.html").is_file()
    run("report", clinic, "--animal", "A17", *call, alone)
    assert (folder / "A17.html").read_bytes() == (alone / "A17.html").read_bytes()


@pytest.mark.slow
def test_branches_write_what_processes_begun_anew_write(clinic, tmp_path):
    written = {}
    for anew in (False, True):
        out = tmp_path / f"out{anew}"
        before = "workers.may_branch = lambda: False; workers._WORTH = 1" if anew else ""
        code = f"import sys; from bpvet.reports import workers; {before}\n" + BEGUN
        words = ["report", clinic, "--due", "--as-of", "2026-09-01", "--processes", "2"]
        call = [sys.executable, "-c", code, *map(str, words), "-o", str(out)]
        subprocess.run(call, check=True, capture_output=True)
        written[anew] = {path.name: path.read_bytes() for path in out.iterdir()}
    assert len(written[True]) > 6
    assert written[True] == written[False]


@pytest.mark.slow
def test_one_process_writes_what_each_report_alone_writes(run, clinic, tmp_path):
    folder, alone = tmp_path / "out", tmp_path / "alone"
    call = ("--as-of", "2026-09-01", "-o")
    assert run("report", clinic, "--due", *call, folder, "--processes", "1").status == 0
    for animal in ("A17", "B2"):
        run("report", clinic, "--animal", animal, *call, alone)
        for name in (f"{animal}.html", f"{animal}.ipynb"):
            assert (folder / name).read_bytes() == (alone / name).read_bytes()
