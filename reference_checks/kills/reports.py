"""Reports that are killed at chance moments: after the next command their files belong together.

    .venv/bin/python reference_checks/kills/reports.py --kills 200

A folder holds a report; another is written over it and killed, at any moment of
its run or in the short while in which files are put in place. Then a small command writes into the
same folder. After that every file has to be the old or the new one to the last byte, page,
notebook and parameters have to name one digest, and nothing unfinished may lie there. Most runs
take the notebook's outputs from a run made before, which is nearer to the moments that matter;
``--whole`` of them run their cells.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from copy import deepcopy
from pathlib import Path

import nbconvert  # noqa: F401
import nbformat
import nh3  # noqa: F401
from nbformat import NotebookNode

# All that a report needs is loaded before this process is copied.
import bpvet.reports.animal.report  # noqa: F401
from bpvet.command.main import main as command_line
from bpvet.locks import BEGINS, JOURNAL, LOCK
from bpvet.places import private_folder
from bpvet.records.example import write_example
from bpvet.reports import writing
from bpvet.reports.running import KERNEL_METADATA

AS_OF = "2026-11-01"


class Forked:
    """A command in a copy of this process, in which everything is imported already."""

    def __init__(self, argv: list[str], made: Path) -> None:
        self.status: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            try:
                os.setsid()
                os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
                writing.run = lambda notebook, *_: with_outputs(notebook, made)
                self.status = command_line(argv)
            finally:
                os._exit(1 if self.status is None else self.status)

    def poll(self) -> int | None:
        """Return the status of a command that has ended; None while it runs."""
        if self.status is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self.status = os.waitstatus_to_exitcode(status) if pid else None
        return self.status

    def wait(self) -> int:
        """Wait for its end; return the status."""
        if self.status is None:
            self.status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self.status


def with_outputs(notebook: NotebookNode, made: Path) -> NotebookNode:
    """Return a notebook with the outputs of one that was run before."""
    new, done = deepcopy(notebook), nbformat.read(made, as_version=4)
    for one, other in zip(new.cells, done.cells, strict=True):
        if one.cell_type == "code":
            one.outputs, one.execution_count = other.outputs, other.execution_count
    new.metadata.update(KERNEL_METADATA)
    return new


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def digests(held: dict[str, bytes]) -> set[str]:
    """Return the digests that a report's files name."""
    found = set[str]()
    for name, content in held.items():
        if name.endswith(".html"):
            found |= set(re.findall('"bpvet-digest" content="([0-9a-f]+)"', content.decode()))
        elif name.endswith(".ipynb"):
            found.add(json.loads(content)["metadata"]["bpvet"]["digest"])
        elif name.endswith(".json"):
            found.add(json.loads(content)["digest"])
    return found


class Kills:
    """One report over another, killed again and again."""

    def __init__(self, home: Path, seed: int) -> None:
        self.records, self.out, self.made = home / "records", home / "out", home / "made.ipynb"
        self.moments, self.counts = random.Random(seed), Counter[str]()
        write_example(self.records)
        self.new = self._written(home / "new", "guideline")
        self.old = self._written(home / "old", "all")
        shutil.copy(home / "new" / "A17.ipynb", self.made)
        self.seconds = {whole: self._timed(whole) for whole in (False, True)}

    def _written(self, folder: Path, rule: str) -> dict[str, bytes]:
        words = ["report", str(self.records), "--animal", "A17", "--as-of", AS_OF, "--rule", rule]
        words = [sys.executable, "-m", "bpvet", *words, "-o", str(folder)]
        subprocess.run(words, check=True, capture_output=True)
        return contents(folder)

    def _fill(self) -> None:
        shutil.rmtree(self.out, ignore_errors=True)
        self.out.mkdir()
        for name, content in self.old.items():
            (self.out / name).write_bytes(content)

    def _started(self, whole: bool) -> subprocess.Popen[bytes] | Forked:
        words = ["report", str(self.records), "--animal", "A17", "--as-of", AS_OF]
        words += ["-o", str(self.out), "--quiet"]
        if not whole:
            return Forked(words, self.made)
        return subprocess.Popen(
            [sys.executable, "-m", "bpvet", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def _timed(self, whole: bool) -> tuple[float, float]:
        """Return how long a run takes, and the part of it in which files are put in place."""
        self._fill()
        start, begun = time.monotonic(), 0.0
        process = self._started(whole)
        while process.poll() is None:
            time.sleep(0.001)
            begun = begun or (time.monotonic() if self._left() else 0.0)
        assert process.poll() == 0
        assert contents(self.out) == self.new, "the outputs made before are not those of a run"
        end = time.monotonic()
        return end - start, end - begun

    def kill(self, whole: bool, late: bool) -> bool:
        """Kill one report, let the next command come, and look at what is there.

        Returns whether it was killed, and had not ended before.
        """
        self._fill()
        process = self._started(whole)
        if late:
            # As soon as anything is there, or the journal, or a while after that.
            sign = self.moments.choice((LOCK, JOURNAL, JOURNAL))
            while process.poll() is None and sign not in self._left():
                pass  # a moment's sleep would be longer than what is waited for
            time.sleep(
                self.moments.choice((0, 0, self.moments.uniform(0, self.seconds[whole][1] / 2)))
            )
        else:
            time.sleep(self.moments.uniform(0, 1.05 * self.seconds[whole][0]))
        ended = process.poll() is not None
        if not ended:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        torn = [k for k, v in contents(self.out).items() if not k.startswith(BEGINS)]
        for name in torn:
            assert (self.out / name).read_bytes() in (self.old[name], self.new[name]), name
        assert set(torn) == set(self.old), "a file was lost"
        before = {name: (self.out / name).read_bytes() for name in torn}
        mixed = before not in (self.old, self.new)
        said = self._next()
        held = contents(self.out)
        assert held in (self.old, self.new), sorted(held)
        assert len(digests(held)) == 1
        assert not mixed or said, "a set was finished without a word"
        state = "new" if held == self.new else "old"
        if not ended:
            self.counts[
                f"{state}{', mixed before' if mixed else ''}{', told' if said else ''}"
            ] += 1
        return not ended

    def _left(self) -> list[str]:
        return [name for name in os.listdir(self.out) if name.startswith(BEGINS)]

    def _next(self) -> str:
        """Run a small command that writes into the folder; return what it says of the other."""
        place = self.out / "readings-next.csv"
        words = ["average", "160", "158", "--method", "doppler", "--animal", "A17", "--quiet"]
        done = subprocess.run(
            [sys.executable, "-m", "bpvet", *words, "--save", str(place)],
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
        place.unlink()
        return done.stderr


def main() -> int:
    """Kill as many as was asked for; print what was met."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--whole", type=int, default=20, help="so many of them run their cells")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        temporary = Path(home) / "t"
        temporary.mkdir()
        os.environ["TMPDIR"] = tempfile.tempdir = str(temporary)
        kills = Kills(Path(home), arguments.seed)
        done = turn = 0
        while done < arguments.kills:
            done += kills.kill(whole=done < arguments.whole, late=turn % 4 != 0)
            turn += 1
        left = len(list(temporary.iterdir()))
        with private_folder() as own:
            still = [path for path in temporary.iterdir() if path != own]
        assert not still, still
        for name, count in sorted(kills.counts.items()):
            print(f"{count:4d}  {name}")
        print(f"{arguments.kills:4d}  kills; no file torn or lost, every set of one digest")
        print(f"{left:4d}  private folders left by them, all cleared by the next run")
    return 0


if __name__ == "__main__":
    sys.exit(main())
