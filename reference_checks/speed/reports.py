"""How long a report takes beside a bare notebook, and fifty in one run beside fifty single ones.

    python -m reference_checks.speed.reports [REPORTS]

A bare notebook is run by the notebook's client: a kernel that reads, fits and shows the trend's
figure as SVG, and for comparison one that does with pandas and a plain figure; the least of three
runs is laid beside the least of three reports. Then copies of one animal of the example records,
all overdue: fifty in one run, by one process and by as many as there are processors, and single
reports before and after. The middle of three such rounds counts. The limits are 1.6 and a quarter,
in CPU time of all processes; what two threads of one core take from each other counts for both.
Modules are compiled as installing does, in a folder of the run: a run of two reports, which goes
first, and facts as the build does it.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import resource
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from bpvet.records.example import write_example
from reference_checks.speed.startup import ROOT, environment

LIMIT, LIMIT_BARE, REPORTS, AS_OF, MODEL = 0.25, 1.6, 50, "2027-09-01", "J40"
#: Cells of bare notebooks: the report's kernel and figure, and the like without bpvet.
_CELLS = {
    "of the same kernel and figure": """\
import bpvet
records = bpvet.read({folder!r}, as_of="2027-09-01")
trend = bpvet.fit_trend(records, "R00")
---
figure = trend.plot()
---
from io import BytesIO
from IPython.display import SVG
file = BytesIO()
figure.savefig(file, format="svg")
SVG(file.getvalue())
""",
    "of pandas and one plain figure": """\
import pandas as pd
readings = pd.read_csv({folder!r} + "/readings.csv", parse_dates=["taken_at"])
sessions = readings.groupby(readings["taken_at"].dt.date)["systolic"].agg(["mean", "std"])
---
from matplotlib.figure import Figure
figure = Figure(figsize=(7, 4))
axes = figure.add_subplot()
axes.errorbar(sessions.index, sessions["mean"], sessions["std"], fmt="o")
axes.scatter(readings["taken_at"], readings["systolic"], s=4)
axes.set(xlabel="date", ylabel="systolic, mmHg")
---
from io import BytesIO
from IPython.display import SVG
file = BytesIO()
figure.savefig(file, format="svg")
SVG(file.getvalue())
""",
}
#: Runs such cells as anybody would, and keeps what they put out.
_BARE = """\
import sys, nbformat
from nbclient import NotebookClient
cells = [nbformat.v4.new_code_cell(one) for one in sys.argv[1].split("---\\n")]
made = nbformat.v4.new_notebook(cells=cells)
NotebookClient(made, kernel_name="python3").execute()
assert "image/svg+xml" in made.cells[-1].outputs[0].data
nbformat.write(made, sys.argv[2])
"""


def clinic(folder: Path, animals: int) -> Path:
    """Write records of so many copies of one animal of the example records."""
    with TemporaryDirectory() as example:
        write_example(example)
        folder.mkdir()
        for file in sorted(Path(example).glob("*.csv")):
            frame = pd.read_csv(file, dtype=str, keep_default_na=False)
            own = frame[frame["animal"] == MODEL]
            copies = [own.assign(animal=f"R{place:02d}") for place in range(animals)]
            pd.concat(copies).to_csv(folder / file.name, index=False)
    return folder


def timed(env: Mapping[str, str], *command: object) -> tuple[float, float]:
    """Return the seconds and the CPU seconds of a command of Python's, its processes counted."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    words = [sys.executable, *map(str, command)]
    nowhere = subprocess.DEVNULL
    subprocess.run(words, check=True, stdout=nowhere, stderr=nowhere, env=env)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - begun, cpu


def report(env: Mapping[str, str], *words: object) -> tuple[float, float]:
    """Return the seconds and the CPU seconds of ``bpvet report``."""
    return timed(env, "-m", "bpvet", "report", *words, "--as-of", AS_OF, "--quiet")


def compiled(home: Path) -> dict[str, str]:
    """Return the environment of processes whose modules are compiled, as are the facts."""
    env = environment(ROOT, home / "cache")
    timed(env, "-m", "bpvet.facts.compiled")
    report(env, clinic(home / "two", 2), "--due", "-o", home / "two-out")
    return env


def beside_bare(
    home: Path, env: Mapping[str, str], folder: Path, singles: list[tuple[float, float]]
) -> float:
    """Print the CPU time of a report beside bare notebooks; return the first ratio."""
    single, ratios = min(cpu for _, cpu in singles), []
    for what, cells in _CELLS.items():
        words = ("-c", _BARE, cells.format(folder=str(folder)), home / "bare.ipynb")
        bare = min(timed(env, *words)[1] for _ in singles)
        ratios.append(single / bare)
        print(f"CPU seconds: one report {single:.2f}, a bare notebook {what} {bare:.2f}")
        print(f"  ratio {ratios[-1]:.2f}" + (f", limit {LIMIT_BARE}" if len(ratios) == 1 else ""))
    return ratios[0]


def beside_single(
    home: Path, env: Mapping[str, str], reports: int, rounds: int
) -> dict[int, float]:
    """Print the CPU time of one run beside that of single reports.

    Returns
    -------
    dict
        The middle ratio by how many processes made the run.
    """
    records, count = clinic(home / f"r{reports}", reports), len(os.sched_getaffinity(0))
    ratios: dict[int, list[float]] = {1: [], count: []}

    def single() -> float:
        words = ("--animal", "R00", "--force", "-o", home / "single")
        return sum(report(env, records, *words)[1] for _ in range(2)) / 2

    before = single()
    for _ in range(rounds):
        for processes, found in ratios.items():
            words = ("--due", "--force", "-o", home / "run", "--processes", processes)
            _, run = report(env, records, *words)
            after = single()
            found.append(run / (reports * (before + after) / 2))
            print(
                f"CPU seconds: single {before:.2f} and {after:.2f}, {reports} in one run {run:.1f}"
            )
            print(f"  by {processes}: ratio {found[-1]:.3f}, limit {LIMIT}")
            before = after
    return {processes: sorted(found)[len(found) // 2] for processes, found in ratios.items()}


def main() -> int:
    """Print the times and their ratios beside the limits."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else REPORTS
    with TemporaryDirectory() as private:
        home = Path(private)
        folder, env = clinic(home / "one", 1), compiled(home)
        singles = [report(env, folder, "--animal", "R00", "-o", home / f"out{i}") for i in range(3)]
        bare = beside_bare(home, env, folder, singles)
        ratios = beside_single(home, env, many, 3)
    return 0 if max(ratios.values()) <= LIMIT and bare <= LIMIT_BARE else 1


if __name__ == "__main__":
    sys.exit(main())
