"""The whole table of speed: what was measured beside its goal, with machine, date and versions.

    python -m reference_checks.speed.table             # writes results.md; an hour or more
    python -m reference_checks.speed.table --only due  # rows of one name, printed
    python -m reference_checks.speed.table --small     # a quick look at every row, printed

Rows run one after another, each in a process of its own with one BLAS thread, by the benchmarks of
this folder; CPU time. A peer that is not installed is "not run" (`--mixedlm`: a Python that has
the package). Small sizes show that a row works; their figures say nothing of the goals.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import importlib.metadata
import inspect
import io
import json
import os
import platform
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

HERE = Path(__file__).parent
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow", "formulaic", "nbclient", "ipykernel")
#: Digest of the filter pass that is the unit of the first rows, as it stood in November 2026 (one
#: function that it calls has a new name since).
UNIT = "d0d4e803db0036da0566997a5c68e0c37326b53adf80ea619e55ca62dfdd79e0"


@dataclass(frozen=True)
class Row:
    """A line of the table.

    Parameters
    ----------
    work : str
    measured : str
    goal : str
    met : bool or None
        None where it was not run.
    """

    work: str
    measured: str
    goal: str
    met: bool | None

    @classmethod
    def of(cls, work: str, value: float, goal: float, unit: str, *, least: bool = False) -> Row:
        """Return the row of a number that is to be at most (or at least) its goal."""
        sign = "≥" if least else "≤"
        met = value >= goal if least else value <= goal
        return cls(work, f"{value:.3g} {unit}", f"{sign} {goal:g} {unit}", bool(met))

    @classmethod
    def not_run(cls, work: str, why: str) -> Row:
        """Return the row of what was not run."""
        return cls(work, f"not run: {why}", "", None)


@dataclass(frozen=True)
class Options:
    """How rows are run.

    Parameters
    ----------
    small : bool
    mixedlm : str or None
        A Python that has the package mixedlm.
    """

    small: bool
    mixedlm: str | None

    def size(self, whole: int, small: int) -> int:
        """Return how large a row is to be."""
        return small if self.small else whole


def unit_digest() -> str:
    """Return the digest of the code of the plain filter pass."""
    from bpvet.maths import gaussian
    from reference_checks.speed.trend import plain_pass

    parts = (gaussian.whiten, gaussian.coefficients, gaussian.carried, gaussian.session_noise)
    more = (gaussian.cholesky, gaussian.forward_solve, gaussian.backward_solve, plain_pass)
    return hashlib.sha256("".join(map(inspect.getsource, parts + more)).encode()).hexdigest()


def trend(options: Options) -> list[Row]:
    """A clinic's trends, and one animal's, beside the plain pass."""
    import bpvet
    from bpvet.maths.quadrature import integrate
    from bpvet.visits.series import all_series
    from reference_checks.speed.treated import fitted, on_drug, with_drugs
    from reference_checks.speed.trend import agree, batches, clinic, cpu, plain_pass

    frozen = unit_digest() == UNIT
    records = clinic(options.size(5_000, 200))
    series = list(all_series(records).values())
    held = list(batches(series))
    if (worst := max(agree(batch, prior) for batch, prior in held)) > 1e-8:
        raise RuntimeError(f"the two ways to the log density differ by {worst:.1e}")
    plain = cpu(lambda: [plain_pass(*one) for one in held])
    bpvet.fit_trends(clinic(20), progress=False)
    drugs = with_drugs(records, [on_drug(one) for one in series if one.date.size > 1])
    rows = []
    for what, some, passes, most in (
        ("no modelled course", records, 5, 0.35),
        ("one modelled course, three groups", drugs, 11, 0.8),
    ):
        took = min(fitted(some) for _ in range(3))
        work = f"`fit_trends`, {len(series)} animals of 7.6 sessions, {what}"
        whole = f"{work}, against the plain pass"
        rows.append(
            Row.of(whole, took / plain, passes, "passes")
            if frozen
            else Row.not_run(whole, "the pass is not the one that was frozen as the unit")
        )
        rows.append(Row.of(f"{work}, an animal", 1e3 * took / len(series), most, "ms"))
    twelve = next(one for one in all_series(clinic(60, 12, 2)).values() if one.y.size == 12)
    (one,) = batches([twelve])
    ratio = cpu(lambda: integrate(*one)) / cpu(lambda: plain_pass(*one))
    return [*rows, Row.of("the integral of one animal, 12 sessions", ratio, 5, "passes")]


def _against(work: str, command: list[str], frame: Any, goal: int, **how: Any) -> Row:
    """Return how many times the CPU of our fit another program takes, if they agree."""
    from reference_checks.speed.cohort import ours, peer

    limit = how.pop("limit")
    with redirect_stdout(io.StringIO()):
        fit, seconds = ours(frame, **how)
    with TemporaryDirectory() as folder:
        csv = Path(folder) / "data.csv"
        frame.to_csv(csv, index=False)
        criterion, theirs, name = peer(command, csv)
    if abs(criterion - fit.criterion) > limit:
        return Row.not_run(work, f"criteria of {name} and ours differ")
    return Row.of(f"{work} ({name})", theirs / seconds, goal, "times", least=True)


def cohort(options: Options) -> list[Row]:
    """The cohort engine beside nlme, lme4, mixedlm and pandas' reading of a CSV file."""
    from reference_checks.speed.cohort import WHOLE, large, ours
    from reference_checks.speed.cohort_data import readings

    with redirect_stdout(io.StringIO()):
        ours(readings(200), repeats=1)
    few, many = options.size(1_000, 150), options.size(10_000, 300)
    by_method, text_ids = readings(few), readings(many, by_method=False)
    r = shutil.which("Rscript")
    peers: tuple[tuple[str, list[str], Any, int, dict[str, Any]], ...] = (
        ("nlme", [str(r), str(HERE / "peer_nlme.R")], by_method, 500, {"limit": 1e-4} | WHOLE),
        ("lme4", [str(r), str(HERE / "peer_lme4.R")], text_ids, 250, {"limit": 1e-6}),
        ("mixedlm", [str(options.mixedlm), str(HERE / "peer_mixedlm.py")], text_ids, 50,
         {"limit": 1e-6}),
    )  # fmt: skip
    rows = []
    for name, command, frame, goal, how in peers:
        kind = "SDs by method" if name == "nlme" else "text ids"
        work = f"cohort of {frame['animal'].nunique()} animals, {kind}, against {name}"
        there = options.mixedlm if name == "mixedlm" else _has_r_package(r, name)
        rows.append(
            _against(work, command, frame, goal, **how)
            if there
            else Row.not_run(work, f"{name} is not installed")
        )
    animals = options.size(100_000, 2_000)
    ratio = float(_printed(lambda: large(animals), r"ratio ([\d.]+)")[0])
    work = f"cohort of {animals} animals with df, against pandas' CSV read"
    rows.append(Row.of(work, ratio, 0.8, "times"))
    return rows


def _has_r_package(r: str | None, name: str) -> bool:
    if r is None:
        return False
    done = subprocess.run([r, "-e", f"library({name})"], capture_output=True)
    return done.returncode == 0


def _printed(work: Callable[[], object], pattern: str) -> list[str]:
    """Return what a pattern finds in what some work prints."""
    out = io.StringIO()
    with redirect_stdout(out):
        work()
    return re.findall(pattern, out.getvalue())


def records(options: Options) -> list[Row]:
    """Reading, checking and sessions beside pyarrow, and its memory beside the frame."""
    from reference_checks.speed.records import agree, best, write_readings

    count, repeats = options.size(4_000_000, 50_000), options.size(3, 1)
    with TemporaryDirectory() as private:
        folder = Path(private)
        path = folder / "readings.csv"
        write_readings(path, count)
        theirs = best("pandas", path, repeats, folder / "twin.parquet")
        arrow = best("arrow", path, repeats, None)
        own = best("ours", path, repeats, folder / "own.parquet")
        agree(folder / "twin.parquet", folder / "own.parquet")
    work = f"reading, checking, sessions of {count} readings"
    return [
        Row.of(f"{work}, against pyarrow's parse", own["cpu"] / arrow["cpu"], 4, "times"),
        Row.of(f"{work}, memory to the frame", own["memory"] / theirs["frame"], 1.2, "times"),
    ]


def startup(options: Options) -> list[Row]:
    """Commands beside bare Python, and beside importing pandas and NumPy."""
    from reference_checks.speed.startup import ROOT, measured, works

    with TemporaryDirectory() as private:
        folder = Path(private)
        best = measured({"now": ROOT}, folder, options.size(15, 1))
        return [
            Row.of(
                f"`{work.name}` against {work.peer}",
                best["now", work.name] / best["", work.peer],
                work.goal,
                "times",
            )
            for work in works(folder, folder)
        ]


def reports(options: Options) -> list[Row]:
    """A report beside a bare notebook, and many in one run beside single ones."""
    from reference_checks.speed.reports import beside_bare, beside_single, clinic, compiled, report

    many, rounds = options.size(50, 3), options.size(3, 1)
    with TemporaryDirectory() as private:
        home = Path(private)
        folder, env = clinic(home / "one", 1), compiled(home)
        singles = [
            report(env, folder, "--animal", "R00", "-o", home / f"out{i}") for i in range(rounds)
        ]
        with redirect_stdout(io.StringIO()):
            bare = beside_bare(home, env, folder, singles)
            ratios = beside_single(home, env, many, rounds)
    work = f"{many} reports in one run against single ones, processes in the run:"
    return [
        Row.of("a report against a bare notebook", bare, 1.6, "times"),
        *(
            Row.of(f"{work} {processes}", ratio, 0.25, "times")
            for processes, ratio in ratios.items()
        ),
    ]


def due(options: Options) -> list[Row]:
    """The clinic's list beyond reading, without and with a modelled course."""
    import pandas as pd

    import bpvet
    from reference_checks.speed.due import AS_OF, tables, timed

    animals, rows = options.size(20_000, 200), []
    bpvet.due(bpvet.Records.from_frames(**tables(50), as_of=AS_OF))
    held = tables(animals)
    dosed = {"drug": "amlodipine", "started_on": "2024-09-01", "dose": "1", "dose_unit": "mg"}
    every = held["animals"][["animal"]].assign(**dosed)
    for what, drugs, goal in (
        ("no modelled course", held["treatments"].iloc[:0], 0.6),
        ("one modelled course each", every, 1.5),
    ):
        read = bpvet.Records.from_frames(
            **(held | {"treatments": pd.DataFrame(drugs)}), as_of=AS_OF
        )
        took = min(timed(lambda read=read: bpvet.due(read)) for _ in range(options.size(2, 1)))
        work = f"`due` of {animals} animals beyond reading, {what}, an animal"
        rows.append(Row.of(work, 1e3 * took / animals, goal, "ms"))
    return rows


def pages(options: Options) -> list[Row]:
    """An audit and a cohort's page."""
    from reference_checks.speed.pages import LIMITS, compared

    animals, rows = options.size(5_000, 150), []
    for what, seconds, memory in compared(animals):
        limit, most = LIMITS[what]
        rows.append(Row.of(f"`{what}` of {animals} animals", seconds, limit, "s"))
        if most is not None:
            rows.append(Row.of(f"`{what}` of {animals} animals, memory", memory, most, "GB"))
    return rows


def out_of_core(options: Options) -> list[Row]:
    """A million animals' cohort in parts, on two processes."""
    animals, parts = options.size(1_000_000, 4_000), options.size(50, 2)
    with TemporaryDirectory() as private:
        command = [sys.executable, "-m", "reference_checks.speed.out_of_core", "--folder", private]
        sizes = ["--animals", str(animals), "--parts", str(parts)]
        subprocess.run([*command, *sizes, "--write"], check=True)
        done = subprocess.run([*command, *sizes], capture_output=True, text=True)
    found = re.search(r"at most ([\d.]+) GB together", done.stdout)
    if found is None:
        raise RuntimeError(done.stderr[-500:])
    work = f"cohort of {animals} animals in {parts} parts, two processes, memory of all"
    return [Row.of(work, float(found.group(1)), 4, "GB")]


def exponents(options: Options) -> list[Row]:
    """How CPU and memory grow with the animals, over three decades and in the last of them."""
    from reference_checks.speed.exponents import GOAL, SIZES, growths

    sizes = (100, 300) if options.small else SIZES
    return [
        Row.of(f"exponent of `{growth.work}`, {sizes[0]} to {sizes[-1]} animals: {what}", value,
               GOAL, "")
        for growth in growths(sizes)
        for what, value in growth.exponents()
    ]  # fmt: skip


def in_parts(options: Options) -> list[Row]:
    """One part of trends and list, with no goal but bounded memory."""
    from reference_checks.speed.in_parts import told

    _, *lines = told(options.size(2_000, 100), options.size(3, 1))
    rows = (line.partition(": ") for line in lines)
    return [Row(f"in parts: {what}", rest, "to be stated", True) for what, _, rest in rows]


ROWS: dict[str, Callable[[Options], list[Row]]] = {
    one.__name__: one
    for one in (
        trend, cohort, records, startup, reports, due, pages, exponents, out_of_core, in_parts,
    )
}  # fmt: skip


def run_apart(name: str, options: Options) -> list[Row]:
    """Return rows measured in a process of their own; one that fails is told and stops no other."""
    command = [sys.executable, "-m", __spec__.name, "--run", name]
    command += ["--small"] * options.small
    command += ["--mixedlm", options.mixedlm] if options.mixedlm else []
    with TemporaryDirectory() as private:
        answer = Path(private) / "rows.json"
        env = os.environ | ONE_THREAD
        done = subprocess.run(
            [*command, "--answer", str(answer)], capture_output=True, text=True, env=env
        )
        if done.returncode:
            why = (done.stderr.strip() or "no reason").splitlines()[-1]
            return [Row(name, f"failed: {why}", "", False)]
        return [Row(**one) for one in json.loads(answer.read_text(encoding="utf-8"))]


def machine() -> list[str]:
    """Return what is told of the machine, the date and the versions."""
    model = "not told"
    if shutil.which("lscpu"):
        found = subprocess.run(["lscpu"], capture_output=True, text=True, check=False).stdout
        lines = [line for line in found.splitlines() if line.startswith("Model name")]
        model = lines[0].partition(":")[2].strip() if lines else model
    versions = [f"Python {platform.python_version()}"]
    for name in ("bpvet", *LIBRARIES):
        try:
            versions.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            versions.append(f"{name} not installed")
    return [
        f"{datetime.date.today()}, {os.cpu_count()} cores, {model}, {platform.system()}.",
        f"{', '.join(versions)}; of R's packages what their rows name.",
    ]


def page(rows: Sequence[Row], command: str, small: bool = False) -> str:
    """Return the table as Markdown, with the goals missed after it.

    Parameters
    ----------
    rows : sequence of Row
    command : str
        What made it.
    small : bool
        Whether sizes were small: nothing is said of goals then.
    """
    verdicts = {True: "met", False: "**missed**", None: "not run"}
    if small:
        verdicts |= {True: "too small to tell", False: "too small to tell"}
    lines = ["# Speed, the whole table as measured", "", *machine(), f"Made by `{command}`.", ""]
    lines += ["| work | measured | goal | |", "|---|---|---|---|"]
    for row in rows:
        cells = (row.work, row.measured, row.goal, verdicts[row.met])
        lines.append(f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |")
    if small:
        return "\n".join([*lines, ""])
    missed = [row for row in rows if row.met is False]
    lines += ["", f"Goals missed: {len(missed)}."]
    lines += [f"- {row.work}: {row.measured}, goal {row.goal}" for row in missed]
    return "\n".join([*lines, ""])


def main() -> int:
    """Print the table, written where all of it was measured; 1 where a row failed or missed."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--only", choices=ROWS, action="append", help="rows of this name alone")
    parser.add_argument("--small", action="store_true", help="a quick look, by small sizes")
    parser.add_argument("--mixedlm", help="a Python that has the package mixedlm")
    parser.add_argument("--run", choices=ROWS, help=argparse.SUPPRESS)
    parser.add_argument("--answer", type=Path, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    options = Options(chosen.small, chosen.mixedlm)
    if chosen.run:
        found = [asdict(row) for row in ROWS[chosen.run](options)]
        chosen.answer.write_text(json.dumps(found), encoding="utf-8")
        return 0
    rows: list[Row] = []
    for name in chosen.only or ROWS:
        print(f"measuring {name} …", file=sys.stderr)
        rows += run_apart(name, options)
    words = ["python -m reference_checks.speed.table", *(["--small"] * options.small)]
    command = " ".join(words + [f"--only {name}" for name in chosen.only or []])
    text = page(rows, command, chosen.small)
    print(text)
    if not (chosen.small or chosen.only):
        (HERE / "results.md").write_text(text, encoding="utf-8")
    failed = (not row.goal if chosen.small else True for row in rows if row.met is False)
    return int(any(failed))


if __name__ == "__main__":
    sys.exit(main())
