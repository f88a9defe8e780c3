"""A run is sealed: it takes no module from the folders around it, and leaves nothing outside."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.reports.naming import digest_of
from tests.command.small import Ended

ONE = ("--animal", "A17", "--as-of", "2026-06-01")
#: Modules that are imported as a report is made, by the command or by its cells.
STARTERS = (
    *("random", "json", "numpy", "pandas", "ipykernel", "IPython", "bpvet", "sitecustomize"),
    *("usercustomize", "matplotlib", "zmq", "debugpy", "nbclient", "nbformat", "nbconvert", "nh3"),
)
posix = pytest.mark.skipif(os.name != "posix", reason="homes and caches of other places")


def digests(out: Path, stem: str = "A17") -> set[str]:
    """Return the digests that page, notebook and parameters name."""
    page = (out / f"{stem}.html").read_text(encoding="utf-8")
    notebook = json.loads((out / f"{stem}.ipynb").read_text(encoding="utf-8"))
    (parameters,) = out.glob("parameters-*.json")
    return {
        *re.findall('<meta name="bpvet-digest" content="([0-9a-f]{64})">', page),
        notebook["metadata"]["bpvet"]["digest"],
        json.loads(parameters.read_text(encoding="utf-8"))["digest"],
    }


def command(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "-P", "-m", "bpvet", *map(str, words)]
    return subprocess.run(argv, capture_output=True, text=True, **options)  # type: ignore[call-overload, no-any-return]


class Sealed:
    """A report, a figure, a letter and a trend, made among traps and with an empty home."""

    def __init__(self, clinic: Path, root: Path) -> None:
        self.root, self.sprung = root, root / "sprung"
        self.records, self.out, self.current = root / "records", root / "out", root / "current"
        self.home, self.temporary = root / "home", root / "t"
        shutil.copytree(clinic, self.records)
        for folder in (self.out, self.current, self.home, self.temporary):
            folder.mkdir()
        for folder in (self.records, self.out, self.current):
            for name in STARTERS:
                trap = f"open({str(self.sprung)!r}, 'a').write({str(folder / name)!r} + '\\n')\n"
                (folder / f"{name}.py").write_text(trap)
        self.before = {path: path.read_bytes() for path in self.records.iterdir()}
        self.traps = {f"{name}.py" for name in STARTERS}
        kept = {k: v for k, v in os.environ.items() if k not in ("MPLCONFIGDIR", "XDG_CACHE_HOME")}
        environment = kept | {"HOME": str(self.home), "TMPDIR": str(self.temporary)}
        calls = (
            ("report", self.records, *ONE, "-o", self.out),
            ("figure", self.records, *ONE, "-o", self.out / "a.svg"),
            ("figure", self.records, *ONE, "--letter", "-o", self.out / "letter.html"),
            ("trend", self.records, *ONE),
        )
        for words in calls:
            done = command(*words, cwd=self.current, env=environment)
            assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def sealed(clinic: Path, tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    return Sealed(clinic, tmp_path_factory.mktemp("sealed"))


@posix
def test_no_file_of_any_folder_is_run(sealed: Sealed) -> None:
    assert not sealed.sprung.exists(), sealed.sprung.read_text()


@posix
def test_nothing_is_left_but_what_was_asked_for_and_the_cache(sealed: Sealed) -> None:
    held = {path.name for path in sealed.out.iterdir()} - sealed.traps
    parameters = f"parameters-{digest_of('A17')}.json"
    assert held == {
        *("A17.html", "A17.ipynb", parameters, "a.svg", "a.txt", "letter.html", "letter.csv"),
    }
    assert {path.name for path in sealed.current.iterdir()} == sealed.traps
    assert {path: path.read_bytes() for path in sealed.records.iterdir()} == sealed.before
    assert list(sealed.temporary.iterdir()) == []
    left = [path for path in sealed.home.rglob("*") if path.is_file()]
    assert [path.parent for path in left] == [sealed.home / ".cache" / "bpvet" / "matplotlib"]
    assert [path.name for path in sealed.home.iterdir()] == [".cache"]


@posix
def test_the_set_names_one_digest_and_no_place_of_the_machine(sealed: Sealed) -> None:
    assert len(digests(sealed.out)) == 1
    for path in sealed.out.iterdir():
        if path.name not in sealed.traps:
            text = path.read_text(encoding="utf-8")
            for place in (sealed.root, sealed.home, sys.prefix, "bpvet-run-"):
                assert str(place) not in text, path


@pytest.mark.slow
@pytest.mark.parametrize(
    "before",
    ["", "from bpvet.reports import workers\nworkers.may_branch, workers._WORTH = bool, 1\n"],
)
def test_processes_of_a_morning_take_no_module_from_the_current_folder(
    clinic: Path, tmp_path: Path, before: str
) -> None:
    """The command as it is installed: a script elsewhere, its own start is safe already."""
    script, current, sprung = tmp_path / "bin" / "run.py", tmp_path / "current", tmp_path / "sprung"
    for folder in (script.parent, current):
        folder.mkdir()
    script.write_text(
        f"import sys\nfrom bpvet.command.main import main\n{before}"
        "if __name__ == '__main__':\n    sys.exit(main())\n"
    )
    for name in (*STARTERS, "pickle", "socket", "signal", "threading", "tempfile"):
        trap = f"open({str(sprung)!r}, 'a').write({name!r} + '\\n')\nraise SystemExit(name)\n"
        (current / f"{name}.py").write_text(trap)
    words = ("report", clinic, "--due", "--processes", "2", "--as-of", "2026-09-01", "-o", "out")
    argv = [sys.executable, str(script), *map(str, words)]
    done = subprocess.run(argv, cwd=current, capture_output=True, text=True)
    assert not sprung.exists(), sprung.read_text()
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (current / "out").glob("*.ipynb")} == {"A17.ipynb", "B2.ipynb"}


@pytest.mark.slow
def test_two_at_once_leave_one_whole_set(clinic: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = [sys.executable, "-m", "bpvet", "report", str(clinic), *ONE, "-o", str(out)]
    levels = ("0.95", "0.8", "0.9")
    running = [
        subprocess.Popen([*words, "--level", level], stdout=-1, stderr=-1, text=True)
        for level in levels
    ]
    for one in running:
        _, said = one.communicate(timeout=600)
        assert one.returncode == 0 or "Another bpvet is writing" in said, said
    assert len(digests(out)) == 1
    (parameters,) = out.glob("parameters-*.json")
    level = json.loads(parameters.read_text())["level"]
    page = (out / "A17.html").read_text(encoding="utf-8")
    found = re.findall(r"with (\d+) % interval", page.replace("\N{NO-BREAK SPACE}", " "))
    assert set(found) == {f"{100 * level:.0f}"}
    assert {path.suffix for path in out.iterdir()} == {".html", ".ipynb", ".json"}


READS = {
    "readings.csv": ("sessions", "-o", "readings.csv"),
    "a table that is not there yet": ("sessions", "-o", "labs.csv"),
    "as a bundle": ("fhir", "-o", "readings.json"),
    "the letter's table": ("figure", *ONE, "--letter", "-o", "readings.html"),
    "the table of animals": ("figure", *ONE, "--letter", "-o", "animals.html"),
    "the columns": ("fhir", "-o", "bpvet-columns.toml"),
    "a workbook": ("sessions", "-o", "sessions.xlsx"),
}


@pytest.mark.parametrize("case", READS)
def test_no_force_writes_over_records_or_adds_to_them(
    case: str, clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    records = shutil.copytree(clinic, tmp_path / "records")
    name, *words = READS[case]
    words[-1] = str(records / words[-1])
    if "--as-of" not in words:
        words += ["--as-of", "2026-06-01"]
    before = {path.name: path.read_bytes() for path in records.iterdir()}
    ended = run(name, records, *words, "--force")
    assert ended.status == 2
    assert re.search("never written over|Name another", ended.err)
    assert {path.name: path.read_bytes() for path in records.iterdir()} == before


def test_a_report_never_replaces_the_one_file_that_it_is_of(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    for name in ("A17.html", "A17.ipynb", f"parameters-{digest_of('A17')}.json"):
        file = shutil.copy(clinic / "readings.csv", tmp_path / name)
        before = Path(file).read_bytes()
        ended = run("report", file, *ONE, "-o", tmp_path, "--force")
        assert (ended.status, "read by this command" in ended.err) == (2, True), name
        assert Path(file).read_bytes() == before
        os.remove(file)
    assert list(tmp_path.iterdir()) == []


def test_priors_that_were_read_are_not_written_over(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    from bpvet.facts.priors.priors import Priors
    from bpvet.facts.priors.table import PriorTable

    own = PriorTable({("cat", "doppler", "systolic"): Priors.default("cat", "doppler")}, "ours")
    own.save(tmp_path / "a.txt")
    before = (tmp_path / "a.txt").read_bytes()
    words = ("--priors", tmp_path / "a.txt", "-o", tmp_path / "a.svg", "--force")
    ended = run("figure", clinic, *ONE, *words)
    assert (ended.status, "read by this command" in ended.err) == (2, True)
    assert (tmp_path / "a.txt").read_bytes() == before


def test_results_of_a_harmless_name_may_lie_beside_the_records(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    records = shutil.copytree(clinic, tmp_path / "records")
    place = records / "sessions of June.csv"
    for force in ((), ("--force",)):
        ended = run("sessions", records, "--as-of", "2026-06-01", "-o", place, *force)
        assert ended.status == 0


def test_readings_are_added_and_never_replaced(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    records = shutil.copytree(clinic, tmp_path / "records")
    words = ("average", 160, 158, 150, "--method", "doppler", "--animal", "A17", "--taken-at")
    assert run(*words, "2026-05-01", "--save", records / "readings-new.csv").status == 0
    before = (records / "readings.csv").read_bytes()
    for name in ("readings.csv", "readings-new.csv"):
        assert run(*words, "2026-05-02", "--save", records / name).status == 2
    assert (records / "readings.csv").read_bytes() == before


def test_a_figure_of_another_kind_keeps_an_equal_text(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended]
) -> None:
    def drawn(kind: str, *more: str) -> Ended:
        return run("figure", clinic, *ONE, "-o", tmp_path / f"a.{kind}", *more)

    assert drawn("svg").status == 0
    words = (tmp_path / "a.txt").read_bytes()
    assert drawn("pdf").status == 0
    assert (tmp_path / "a.txt").read_bytes() == words
    (tmp_path / "a.txt").write_text("mine")
    ended = drawn("png")
    assert (ended.status, "a.txt" in ended.err) == (2, True)
    assert not (tmp_path / "a.png").exists()
    assert drawn("png", "--force").status == 0
    assert (tmp_path / "a.txt").read_bytes() == words


@pytest.mark.parametrize("suffix", ["ipynb", "json"])
def test_brackets_upon_brackets_in_the_way_are_one_sentence(
    clinic: Path, tmp_path: Path, run: Callable[..., Ended], suffix: str
) -> None:
    name = "A17.ipynb" if suffix == "ipynb" else f"parameters-{digest_of('A17')}.json"
    (tmp_path / name).write_text("[" * 200_000)
    ended = run("report", clinic, *ONE, "-o", tmp_path)
    assert ended.status == 2
    assert "was not written by this report" in ended.err
    assert len(ended.err.strip().splitlines()) == 1


def test_what_was_left_unfinished_is_finished_by_the_next_command_and_said(
    tmp_path: Path, run: Callable[..., Ended]
) -> None:
    (tmp_path / ".bpvet-abc.part").write_text("half")
    ended = run(
        *("average", 160, 158, 150, "--method", "doppler", "--animal", "A17", "--quiet"),
        *("--taken-at", "2026-05-01", "--save", tmp_path / "readings.csv"),
    )
    assert ended.status == 0
    assert "An earlier bpvet was stopped" in ended.err
    assert [path.name for path in tmp_path.iterdir()] == ["readings.csv"]
