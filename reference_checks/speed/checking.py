"""What `bpvet check` costs on a million rows when every one is bad, beside a good file and pandas.

Run from the project's root:

    python -m reference_checks.speed.checking --rows 1000000
    python -m reference_checks.speed.checking --kinds method fields

Each figure is of a whole process, its start and its imports included: user and system CPU of all
its threads, and its peak resident memory. The text goes to a file that is looked at for the
summary; the JSON is read again and must hold a finding for every row. Pandas reads the good file
with its fastest engine.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from reference_checks.speed.records import KINDS, write_readings

#: Limits of CPU beside pandas parsing the good file, and of memory in MB. A bad file may take what
#: a good one may; the JSON holds a finding for every row, hundreds of megabytes of them.
TEXT, JSON, MEMORY = 8.0, 16.0, 1500
_PANDAS = "import sys, pandas; pandas.read_csv(sys.argv[1], engine='pyarrow')"
_COUNT = 'import json, sys; print(len(json.load(open(sys.argv[1]))["findings"]))'


@dataclass(frozen=True)
class Spent:
    """What a process took: CPU in seconds, peak memory in MB, the size of what it said in MB."""

    cpu: float
    memory: float
    said: float


def spent(command: list[str], out: Path) -> Spent:
    """Return what a command took; its output is in `out`."""
    with out.open("wb") as sink:
        pid = os.posix_spawnp(
            command[0], command, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, sink.fileno(), 1)]
        )
        _, status, used = os.wait4(pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise RuntimeError(f"{command} ended with {status}")
    cpu = used.ru_utime + used.ru_stime
    return Spent(cpu, used.ru_maxrss / 1024, out.stat().st_size / 1e6)


def best(command: list[str], out: Path, repeats: int) -> Spent:
    """Return the run that took least CPU."""
    return min((spent(command, out) for _ in range(repeats)), key=lambda one: one.cpu)


def compare(folder: Path, rows: int, repeats: int, kinds: list[str]) -> int:
    """Print what each kind of bad file takes; return how many are over a limit."""
    path, out = folder / "readings.csv", folder / "out"
    check = [sys.executable, "-m", "bpvet", "check", str(path), "--as-of", "2026-03-01"]
    _write(path, rows, "")
    pandas = best([sys.executable, "-c", _PANDAS, str(path)], out, repeats)
    text = best(check, out, repeats)
    whole = best([*check, "--json"], out, repeats)
    print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB; pandas {pandas.cpu:.2f} s")
    print(f"{'file':14} {'text':>8} {'beside':>7} {'MB':>6}  {'JSON':>8} {'beside':>7} {'MB':>6}"
          f" {'findings':>9} {'written':>8}")  # fmt: skip
    over = 0
    for kind in ["", *kinds]:
        if kind:
            _write(path, rows, kind)
            own = best(check, out, repeats)
            assert _has_a_summary(out), kind
            all_of_them = best([*check, "--json"], out, repeats)
        else:
            own, all_of_them = text, whole
        many = int(_said([sys.executable, "-c", _COUNT, str(out)]))
        assert not kind or many >= 0.9 * rows, (kind, many)
        ratios = own.cpu / pandas.cpu, all_of_them.cpu / pandas.cpu
        slow = ratios[0] > TEXT or ratios[1] > JSON
        wide = max(own.memory, all_of_them.memory) > MEMORY
        over += slow or wide
        mark = "  OVER" if slow or wide else ""
        print(f"{kind or 'good':14} {own.cpu:6.2f} s {ratios[0]:6.2f}× {own.memory:6.0f}"
              f"  {all_of_them.cpu:6.2f} s {ratios[1]:6.2f}× {all_of_them.memory:6.0f} {many:9}"
              f" {all_of_them.said:5.0f} MB{mark}", flush=True)  # fmt: skip
    return over


def _has_a_summary(out: Path) -> bool:
    """Return whether a text shows first cases and counts the rest, on a few pages."""
    said = out.read_text()
    return "more like this" in said or (" to " in said and len(said) < 20_000)


def _write(path: Path, rows: int, wrong: str) -> None:
    """Write a file in a process of its own: a peak of memory is handed on to later ones."""
    _said([sys.executable, "-m", __spec__.name, "--write", str(path), str(rows), wrong])


def _said(command: list[str]) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def main() -> int:
    """Run the comparison; exit status 1 if anything is over a limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=1)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    parser.add_argument("--write", nargs=3, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.write:
        path, rows, wrong = arguments.write
        write_readings(Path(path), int(rows), wrong)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        over = compare(Path(folder), arguments.rows, arguments.repeats, arguments.kinds)
    print(f"{over} over a limit" if over else "All within the limits")
    return 1 if over else 0


if __name__ == "__main__":
    sys.exit(main())
