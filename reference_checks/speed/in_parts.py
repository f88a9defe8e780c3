"""Time and memory of trends and list over records in parts: one part measured, the rest arithmetic.

    python -m reference_checks.speed.in_parts [ANIMALS]

One part of an invented clinic (cats measured by Doppler, 7.6 sessions of five readings, Parquet) is
worked on as a worker does it, each kind of work in a process of its own: CPU seconds, and the
growth of its peak memory over what it holds after its imports. What a million and a hundred
million animals take follows by multiplication, and is not measured. One BLAS thread.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import json
import pickle
import subprocess
import sys
import tracemalloc
from pathlib import Path
from tempfile import TemporaryDirectory

from reference_checks.speed.records import _so_far, _spent
from reference_checks.speed.trend import clinic

AS_OF, ANIMALS = "2026-11-01", 2_000
TARGETS = {"a million": 1_000_000, "a hundred million": 100_000_000}


def write_part(folder: Path, animals: int) -> Path:
    """Write the records of a part."""
    records = clinic(animals)
    folder.mkdir()
    heads = ["animal", "taken_at", "method", "systolic"]
    frame = records.readings[heads].astype({"taken_at": str, "systolic": float})
    frame.to_parquet(folder / "readings.parquet", index=False)
    records.animals[["animal", "species"]].to_parquet(folder / "animals.parquet", index=False)
    return folder


def trends(part: Path, small: Path) -> dict[str, float]:
    """Return what the trends of a part take, written to a file."""
    import bpvet
    from bpvet.models.records_in_parts import Reading
    from bpvet.models.trend.in_parts import _fit, _Job

    how = Reading.by(AS_OF, None)
    bpvet.fit_trends_in_parts([small], as_of=AS_OF)  # libraries are loaded, facts are read
    before, file = _so_far(), part / "out"
    _, codes = _fit(_Job(str(part), how, {}, 0.95, file))
    return _spent(before) | {"sent": codes.nbytes, "file": file.stat().st_size}


def due(part: Path, small: Path) -> dict[str, float]:
    """Return what the list of a part takes."""
    import bpvet
    from bpvet.answers.due.in_parts import Listing, _rows
    from bpvet.models.records_in_parts import Reading

    how = Reading.by(AS_OF, None)
    bpvet.due_in_parts([small], as_of=AS_OF)
    before = _so_far()
    rows = _rows((str(part), how, Listing("acvim2018", 14)))
    spent = _spent(before)
    content = pickle.dumps(rows)
    # What the process that gathers holds of it: the rows made anew.
    tracemalloc.start()
    rows = pickle.loads(content)
    held = tracemalloc.get_traced_memory()[0]
    return spent | {"sent": len(content), "held": held}


def measured(what: str, part: Path, small: Path) -> dict[str, float]:
    """Return what a process of its own spent."""
    command = [sys.executable, "-m", __spec__.name, "--run", what, str(part), str(small)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(done.stderr[-3000:])
    spent: dict[str, float] = json.loads(done.stdout)
    return spent


def told(animals: int, repeats: int = 3) -> list[str]:
    """Return lines of what was measured, and of what follows from it."""
    with TemporaryDirectory() as private:
        home = Path(private)
        part, small = write_part(home / "part", animals), write_part(home / "small", 5)
        best = {
            what: min(
                (measured(what, part, small) for _ in range(repeats)), key=lambda one: one["cpu"]
            )
            for what in ("trends", "due")
        }
        size = sum(file.stat().st_size for file in part.glob("*.parquet"))
    lines = [f"one part of {animals} animals, {size / 1e6:.1f} MB of Parquet"]
    for what, one in best.items():
        lines.append(
            f"{what}: {one['cpu']:.2f} s of CPU, {1e3 * one['cpu'] / animals:.2f} ms an animal; "
            f"peak {one['memory'] / 1e6:.0f} MB over the imports; {one['sent'] / 1e6:.3f} MB sent "
            "home"
        )
    lines[1] += f", {best['trends']['file'] / 1e6:.2f} MB written"
    lines[2] += f", {best['due']['held'] / 1e6:.1f} MB held there"
    for name, count in TARGETS.items():
        parts = -(-count // animals)
        fitting, listing = (best[what]["cpu"] * parts / 3600 for what in ("trends", "due"))
        sent = [best[what]["sent"] * parts / 1e6 for what in ("trends", "due")]
        lines.append(
            f"{name}, {parts} parts, by arithmetic: trends {fitting:.1f} h of CPU, "
            f"{best['trends']['file'] * parts / 1e9:.1f} GB written, {sent[0]:.0f} MB at the one "
            f"that gathers; list {listing:.1f} h, {sent[1]:.0f} MB sent, "
            f"{best['due']['held'] * parts / 1e9:.1f} GB there"
        )
    return lines


def main() -> None:
    """Print them, or do one kind of work in this process."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("animals", nargs="?", type=int, default=ANIMALS)
    parser.add_argument("--run", nargs=3, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.run:
        what, part, small = chosen.run
        print(json.dumps({"trends": trends, "due": due}[what](Path(part), Path(small))))
        return
    print("\n".join(told(chosen.animals)))


if __name__ == "__main__":
    main()
