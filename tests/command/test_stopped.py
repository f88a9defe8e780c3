"""Commands that are killed at any moment, or whose disk is full, leave whole files only.

Each file that a command writes is afterwards not there (if it was not before), the old one to the
last byte, or the new one; what never became whole bears a name that nothing here takes for output.
The next command finishes what belongs together, or takes it back, before it does anything else.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from bpvet.command.main import main
from bpvet.files import unfinished
from bpvet.locks import LOCK
from bpvet.publishing import recovered
from tests.models.small_clinic import AS_OF, write_clinic

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and limits of another kind")

#: Runs the command line and counts what it does in a folder; the process kills itself before the
#: step that was asked for. A folder, a step (0 for none), the limit of a file's size (0 for none),
#: a file for the count, and the command.
_RUN = """\
import atexit, os, resource, signal, sys
from pathlib import Path
folder, step, limit, count, *argv = sys.argv[1:]
done = 0
def watch(event, arguments):
    global done
    if event in ("open", "os.chmod", "os.link", "os.rename", "os.remove"):
        if os.path.dirname(str(arguments[0])) == folder:
            done += 1
            if done == int(step):
                os.kill(os.getpid(), signal.SIGKILL)
if int(limit):
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), int(limit)))
from bpvet.command.main import main
sys.addaudithook(watch)
status = main(argv)
Path(count).write_text(str(done))
sys.exit(status)
"""


def written(command: str, clinic: Path, out: Path, rule: str) -> list[str]:
    """Return the words of a command that writes into a folder; by each rule another content."""
    one = ["--animal", "A17", "--rule", rule, "--force", "--as-of", "2026-06-01"]
    everyone = [
        "--rule",
        rule,
        "--force",
        "--as-of",
        AS_OF if command == "cohort" else "2026-06-01",
    ]
    first = "165" if rule == "all" else "195"
    by_name = {
        "average": [first, "158", "160", "--method", "doppler", "--animal", "A17"],
        "sessions": [str(clinic), "-o", str(out / "sessions.csv"), *everyone],
        "fhir": [str(clinic), "-o", str(out / "bundle.json"), *everyone],
        "figure": [str(clinic), "-o", str(out / "letter.html"), "--letter", *one],
        "report": [str(clinic), "-o", str(out), *one],
        "cohort": [str(clinic), "-o", str(out), *everyone],
    }
    words = [command, *by_name[command]]
    if command == "average":
        words += ["--taken-at", "2026-03-01T10:15", "--save", str(out / "new.csv")]
    return words


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if not unfinished(path.name)}


def fill(folder: Path, files: dict[str, bytes]) -> None:
    """Empty a folder, and put files in it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)


def status_of(process: subprocess.Popen[str]) -> int:
    process.communicate(timeout=300)
    return process.returncode


class Trial:
    """One command, the files that it writes over, and those that it writes."""

    def __init__(self, command: str, clinic: Path, home: Path) -> None:
        self.out = home / "out"
        self.count = home / "count"
        self.command = written(command, clinic, self.out, "guideline")
        self.old: dict[str, bytes] = {}
        self.out.mkdir()
        if command != "average":
            # Readings are saved into a new file only.
            assert main(written(command, clinic, self.out, "all")) == 0
            self.old = contents(self.out)
        self.start = time.monotonic()
        assert status_of(self.run()) == 0
        self.seconds = time.monotonic() - self.start
        self.steps = int(self.count.read_text())
        self.new = contents(self.out)
        assert self.new != self.old

    def run(self, step: int = 0, limit: int = 0) -> subprocess.Popen[str]:
        """Start the command, to be killed before a step in its folder or with files limited."""
        words = [sys.executable, "-c", _RUN, str(self.out), str(step), str(limit), str(self.count)]
        return subprocess.Popen(
            [*words, *self.command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def check(self) -> str:
        """Assert that each file is whole; return which of both they are."""
        held = contents(self.out)
        assert set(held) <= set(self.new) | set(self.old)
        assert set(held) >= set(self.old)
        for name, content in held.items():
            assert content in (self.old.get(name), self.new.get(name)), name
        return "new" if held == self.new else "old" if held == self.old else "both"

    def settle(self) -> str:
        """Let the next command begin, as each does, and assert that no set is left in halves."""
        left = any(unfinished(name) and name != LOCK for name in os.listdir(self.out))
        said = recovered(self.out)
        assert bool(said) == left
        assert not any(unfinished(name) for name in os.listdir(self.out))
        met = self.check()
        assert met != "both", said
        return met


def killed(process: subprocess.Popen[str]) -> None:
    """End a process with all that it started."""
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()


QUICK = ["average", "sessions"]
SLOW = [pytest.param(one, marks=pytest.mark.slow) for one in ("fhir", "figure", "report", "cohort")]


@pytest.fixture(scope="module")
def whole_clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return records that are enough for a cohort."""
    return write_clinic(tmp_path_factory.mktemp("records") / "clinic")


@pytest.fixture
def trial(
    request: pytest.FixtureRequest, clinic: Path, whole_clinic: Path, tmp_path: Path
) -> Trial:
    return Trial(request.param, whole_clinic if request.param == "cohort" else clinic, tmp_path)


@pytest.mark.parametrize("trial", [*QUICK, *SLOW], indirect=True)
def test_killed_before_each_step_of_writing(trial: Trial) -> None:
    met = set()
    for step in range(1, trial.steps + 1):
        fill(trial.out, trial.old)
        assert status_of(trial.run(step)) == -signal.SIGKILL
        trial.check()
        met.add(trial.settle())
    assert met == {"old", "new"}
    # What a killed command left behind is in nobody's way.
    assert status_of(trial.run()) in (0, 2)
    trial.check()


@pytest.mark.slow
@pytest.mark.parametrize("trial", [*QUICK, *SLOW], indirect=True)
def test_killed_at_random_moments(trial: Trial) -> None:
    moments = random.Random(7)
    met = []
    for turn in range(12):
        fill(trial.out, trial.old)
        process = trial.run()
        if turn % 2:
            time.sleep(moments.uniform(0, 1.1 * trial.seconds))
        else:
            # The short while in which files are written would hardly ever be met by chance.
            before = set(os.listdir(trial.out))
            while process.poll() is None and set(os.listdir(trial.out)) == before:
                time.sleep(0)
            time.sleep(moments.uniform(0, 0.004))
        killed(process)
        trial.check()
        met.append(trial.settle())
    assert "old" in met


def said_of_full(process: subprocess.Popen[str]) -> str:
    """Return the one sentence in which a command says that it cannot write."""
    _, said = process.communicate(timeout=300)
    assert process.returncode == 2, said
    assert "Traceback" not in said
    (line,) = [one for one in said.splitlines() if not one.startswith("  ")]
    return line


@pytest.mark.parametrize("trial", [*QUICK, *SLOW], indirect=True)
def test_files_that_may_not_grow(trial: Trial) -> None:
    """A limit on the size of files stands for a full disk where none can be made."""
    fill(trial.out, trial.old)
    smallest = min(len(content) for content in trial.new.values())
    line = said_of_full(trial.run(limit=max(smallest // 2, 1)))
    assert "cannot be written: File too large." in line
    assert trial.check() == "old"
    assert not [name for name in os.listdir(trial.out) if unfinished(name)]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Return a disk of a few pages of its own, where one can be had."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = shutil.which("mount") and os.geteuid() == 0
    command = ["mount", "-t", "tmpfs", "-o", "size=16k", "tmpfs", str(place)]
    if not mounted or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("command", [*QUICK, *SLOW])
def test_a_full_disk(command: str, clinic: Path, whole_clinic: Path, small_disk: Path) -> None:
    records = whole_clinic if command == "cohort" else clinic
    filling = b"x" * 4096
    for name in range(100):
        try:
            (small_disk / f"other {name}").write_bytes(filling)
        except OSError:
            break
    before = contents(small_disk)
    process = subprocess.Popen(
        [sys.executable, "-m", "bpvet", *written(command, records, small_disk, "all")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert "cannot be written: No space left on device." in said_of_full(process)
    assert contents(small_disk) == before
    assert not [name for name in os.listdir(small_disk) if unfinished(name)]


def test_what_never_became_whole_is_not_read_as_records(clinic: Path, tmp_path: Path) -> None:
    folder = tmp_path / "records"
    shutil.copytree(clinic, folder)
    (folder / ".bpvet-abc.part").write_text("animal,taken_at,method,systolic\nB2,2026-0")
    done = subprocess.run(
        [sys.executable, "-m", "bpvet", "check", str(folder), "--json", "--as-of", "2026-06-01"],
        capture_output=True,
        text=True,
    )
    told = json.loads(done.stdout)
    assert told["readings"]["in"] == 18
    assert not any(finding["file"].startswith(".") for finding in told["findings"])
