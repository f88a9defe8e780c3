"""What a command takes to start, beside bare Python and beside importing pandas and NumPy.

Run from the project's root:

    python -m reference_checks.speed.startup
    python -m reference_checks.speed.startup --before ../older-checkout --repeats 15

Each figure is the user and system CPU of a whole process, the best of so many; the kinds of work
take turns, so that what else a machine does falls on all alike. Modules are compiled beforehand,
as installing does, in a folder of the run; facts are compiled as the build does it; there is one
BLAS thread.
``--before`` measures another checkout in the same run. The records are invented.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
#: What a console script does.
_PROGRAM = "import sys; from bpvet.command.main import main; sys.exit(main())"
_COMPILE = ["-m", "bpvet.facts.compiled"]
BARE, TABLES = "python -c pass", "python -c 'import pandas, numpy'"
PEERS = {
    BARE: ["-c", "pass"],
    "python -I -c pass": ["-I", "-c", "pass"],
    "python -I -S -c pass": ["-I", "-S", "-c", "pass"],
    "python -c 'import argparse, dataclasses'": ["-c", "import argparse, dataclasses"],
    TABLES: ["-c", "import pandas, numpy"],
}


@dataclass(frozen=True)
class Work:
    """A call of the program: its arguments, the peer that it is laid beside, and the goal."""

    name: str
    arguments: tuple[str, ...]
    peer: str
    goal: float


def works(one: Path, clinic: Path) -> tuple[Work, ...]:
    """Return what is measured; `one` and `clinic` are folders of records."""
    average = ("average", "165", "158", "160", "--method", "doppler")
    trend = ("trend", str(one), "--animal", "A", "--quiet")
    return (
        Work("bpvet --help", ("--help",), BARE, 2.5),
        Work("bpvet --version", ("--version",), BARE, 2.5),
        Work("bpvet average", average, BARE, 4.0),
        Work("bpvet trend, 12 sessions, one animal in the folder", trend, TABLES, 1.8),
        Work(
            "bpvet trend, Pilchard of the 19 example animals",
            ("trend", str(clinic), "--animal", "Pilchard", "--as-of", "2026-11-01", "--quiet"),
            TABLES,
            1.8,
        ),
    )


def write_one_animal(folder: Path) -> None:
    """Write the readings of one invented cat: twelve sessions of five, a month apart."""
    folder.mkdir()
    rows = ["animal,taken_at,method,systolic"]
    for month in range(1, 13):
        for minute, step in enumerate((6, 0, -2, 3, 1)):
            value = 150 + (7 * month) % 11 + step
            rows.append(f"A,2025-{month:02}-10T10:0{minute},doppler,{value}")
    (folder / "readings.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")


def environment(root: Path, cache: Path) -> dict[str, str]:
    """Return the environment of a process that finds the package of a checkout."""
    kept = {name: one for name, one in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return kept | threads | {"PYTHONPATH": str(root), "PYTHONPYCACHEPREFIX": str(cache)}


def cpu(arguments: list[str], folder: Path, env: dict[str, str]) -> float:
    """Return the CPU seconds of one process of this Python, run in `folder`."""
    with open(os.devnull, "wb") as sink:
        process = subprocess.Popen(
            [sys.executable, *arguments], cwd=folder, env=env, stdout=sink, stderr=sink
        )
        _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{arguments} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime


def measured(roots: dict[str, Path], folder: Path, repeats: int) -> dict[tuple[str, str], float]:
    """Return the least CPU seconds by checkout (blank for a peer) and kind of work."""
    one, clinic = folder / "one", folder / "clinic"
    envs = {name: environment(root, folder / "cache") for name, root in roots.items()}
    write_one_animal(one)
    cpu(["-c", _PROGRAM, "example", str(clinic)], folder, envs["now"])
    cpu(_COMPILE, folder, envs["now"])
    runs = {("", name): (arguments, envs["now"]) for name, arguments in PEERS.items()}
    for root, env in envs.items():
        for work in works(one, clinic):
            runs[root, work.name] = (["-c", _PROGRAM, *work.arguments], env)
    best = {key: float("inf") for key in runs}
    for turn in range(repeats + 1):
        for key, (arguments, env) in runs.items():
            took = cpu(arguments, folder, env)
            if turn:  # the first compiles the modules
                best[key] = min(best[key], took)
    return best


def main() -> int:
    """Measure, and print the table; the exit status is 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--repeats", type=int, default=15)
    parser.add_argument("--before", type=Path, help="the root of an older checkout")
    given = parser.parse_args()
    roots = {"now": ROOT} | ({"before": given.before.resolve()} if given.before else {})
    with tempfile.TemporaryDirectory() as name:
        best = measured(roots, Path(name), given.repeats)
        kinds = works(Path(name), Path(name))
    print(f"Python {sys.version.split()[0]}, CPU of whole processes, best of {given.repeats}")
    for peer in PEERS:
        print(f"  {peer:<50} {1000 * best['', peer]:7.1f} ms")
    missed = 0
    for work in kinds:
        ratio = {root: best[root, work.name] / best["", work.peer] for root in roots}
        missed += ratio["now"] > work.goal
        before = f"before {ratio['before']:5.2f}, " if "before" in ratio else ""
        verdict = "met" if ratio["now"] <= work.goal else "missed"
        told = f"{before}now {ratio['now']:5.2f}, goal {work.goal}: {verdict}"
        print(f"  {work.name:<50} {1000 * best['now', work.name]:7.1f} ms  {told}, of {work.peer}")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
