"""What reading, checking and making sessions costs beside pandas parsing the same file.

Run from the project's root; four million readings make a file of about 250 MB:

    python -m reference_checks.speed.records --rows 4000000
    python -m reference_checks.speed.records --rows 1000000 --bad
    python -m reference_checks.speed.records --rows 1000000 --forms

Each figure is of a process of its own: user and system CPU of all its threads, and the growth of
its peak resident memory over what it held after its imports (as the kernel tells it of this process
alone: what `getrusage` calls the peak of a child is at least that of the process that started it).
The peers are pandas' pyarrow engine and pyarrow's own reader, as they come. The frame's size is
pandas' own deep count of what its pyarrow engine made of the file. A ratio is printed only after
the sessions agree with a plain pandas grouping in number, counts and means.

November 2026, two processors. JSON lines, a million readings (191 MB): read whole 17.0 s of CPU and
2650 MB; in blocks, their values taken one by one, 8.0 s and 200 MB. Parquet, four million readings:
4.8 s and 880 MB; without searching times of whole seconds for zeros, and without numbering what
hardly repeats, 2.4 s and 580 MB. A thread that parses the next block while the present one is taken
over was tried and left out. CSV: pyarrow reads ahead on a thread of its own as it is (0.33 s of
1.8 s), and taking a block over costs 0.04 s, all that could be gained. Parquet: the main thread had
0.17 s of 1.9 s less to do, for 70 to 150 MB more. JSON is parsed under the interpreter's lock.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

#: What is wrong with every row of a bad file.
KINDS = (
    *("letters", "strangers", "high", "method", "blank", "date", "future", "fields", "short"),
    *("doppler", "pressures", "twice"),
)


def write_readings(path: Path, rows: int, wrong: str = "") -> None:
    """Write an invented clinic's readings, five a visit; `wrong` spoils every row."""
    rng = np.random.default_rng(20260301)
    visits = -(-rows // 5)
    visit = np.repeat(np.arange(visits), 5)[:rows]
    place = np.tile(np.arange(1, 6), visits)[:rows]
    animal = rng.integers(0, max(visits // 8, 1), visits)[visit]
    day = np.datetime64("2015-01-01") + rng.integers(0, 4000, visits)[visit]
    minute = rng.integers(9 * 60, 17 * 60, visits)[visit] + place
    at = day.astype("datetime64[m]") + minute
    doppler = (rng.random(visits) < 0.4)[visit]
    if wrong == "doppler":
        doppler[:] = True
    systolic = np.rint(rng.normal(150, 20, visits)[visit] + rng.normal(0, 6, rows)).astype(int)
    systolic = np.clip(systolic, 70, 260)
    diastolic, mean = systolic - 55, systolic - 37
    if wrong == "high":
        systolic += 1000
    if wrong == "pressures":
        diastolic = systolic + 5
    method = np.where(doppler, "doppler", "oscillometric")
    if wrong == "future":
        at = at + np.timedelta64(20 * 365 * 24 * 60, "m")
    blank = doppler & (wrong not in ("doppler", "pressures"))
    columns = {
        "animal": pa.compute.utf8_lpad(pa.array(animal).cast(pa.string()), 6, "A"),
        "taken_at": pa.array(at.astype("datetime64[s]")).cast(pa.string()),
        "method": pa.array(method),
        "systolic": pa.array(systolic).cast(pa.string()),
        "diastolic": pa.array(diastolic, mask=blank).cast(pa.string()).fill_null(""),
        "mean": pa.array(mean, mask=blank).cast(pa.string()).fill_null(""),
        "reading": pa.array(place).cast(pa.string()),
        "setting": pa.array(np.where(animal % 9 == 0, "home", "clinic")),
        "operator": pa.array(np.array(["AB", "CD", "EF", "GH"])[visit % 4]),
        "site": pa.array(np.where(doppler, "left forelimb", "tail base")),
    }
    number = pa.array(np.arange(rows)).cast(pa.string())
    if wrong == "letters":
        columns["systolic"] = pa.compute.replace_substring_regex(columns["systolic"], "[0-9]$", "O")
    elif wrong == "strangers":
        columns["systolic"] = pa.compute.binary_join_element_wise(number, "x", "")
    elif wrong == "method":
        columns["method"] = pa.array(np.where(doppler, "dopler", "by ear"))
    elif wrong == "blank":
        columns["method"] = pa.array([""] * rows)
    elif wrong == "date":
        columns["taken_at"] = pa.compute.replace_substring(columns["taken_at"], "-", "~")
    elif wrong == "fields":
        columns["site"] = pa.array(np.where(doppler, "left,right", "tail,base"))
    table = pa.table(columns)
    if wrong == "twice":
        table = table.take(pa.array(np.repeat(np.arange(rows // 50 + 1), 50)[:rows]))
    quoting = pa.csv.WriteOptions(quoting_style="none", include_header=False)
    with path.open("wb") as out:
        out.write((",".join(columns) + "\n").encode())
        if wrong == "short":
            pa.csv.write_csv(table.select(["animal", "taken_at", "method"]), out, quoting)
        elif wrong == "fields":
            out.write(table.to_pandas().to_csv(index=False, header=False).replace('"', "").encode())
        else:
            pa.csv.write_csv(table, out, quoting)


def _so_far() -> tuple[float, float]:
    """Return the CPU seconds and the peak resident bytes of this process."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    told = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    return used.ru_utime + used.ru_stime, 1024 * float(told["VmHWM"].split()[0])


def _spent(before: tuple[float, float]) -> dict[str, float]:
    cpu, memory = _so_far()
    return {"cpu": cpu - before[0], "memory": memory - before[1]}


def parse_with_arrow(path: Path, answer: Path | None) -> dict[str, float]:
    """Parse with pyarrow as it comes, the fastest way to all of the file's columns."""
    before = _so_far()
    table = pyarrow.csv.read_csv(path)
    return _spent(before) | {"frame": float(table.nbytes)}


def parse_with_pandas(path: Path, answer: Path | None) -> dict[str, float]:
    """Parse with pandas' pyarrow engine; leave a plain twin of the sessions in `answer`."""
    import pyarrow.compute as _  # noqa: F401 (what both sides load is no part of the figure)

    before = _so_far()
    frame = pd.read_csv(path, engine="pyarrow")
    spent = _spent(before) | {"frame": float(frame.memory_usage(deep=True).sum())}
    if answer is not None:
        twin(frame).to_parquet(answer)
    return spent


def twin(frame: pd.DataFrame) -> pd.DataFrame:
    """Return count and mean of each session, grouped by plain pandas; first of four left out."""
    frame["date"] = frame["taken_at"].dt.normalize()
    home = frame["setting"] == "home"
    frame["condition"] = np.where(home, "home", "clinic")
    key = ["animal", "method", "condition", "date"]
    # Two visits of an animal on one day by one method are told apart by two hours between.
    frame = frame.sort_values([*key, "taken_at"], kind="stable")
    gap = frame["taken_at"].diff() >= pd.Timedelta(hours=2)
    other = (frame[key] != frame[key].shift()).any(axis=1)
    frame["visit"] = (gap | other).cumsum()
    frame = frame.sort_values(["visit", "reading", "taken_at"], kind="stable")
    size = frame.groupby("visit")["systolic"].transform("size")
    kept = frame[(frame.groupby("visit").cumcount() > 0) | (size < 4)]
    found = kept.groupby([*key, "visit"], observed=True)["systolic"].agg(["size", "mean"])
    return found.reset_index().drop(columns="visit")


def ours(path: Path, answer: Path | None) -> dict[str, float]:
    """Read, check and make sessions; leave these in `answer`."""
    import bpvet
    import bpvet.records.read
    import bpvet.visits.sessions

    before = _so_far()
    records = bpvet.read(path, as_of="2026-03-01")
    middle = _spent(before)
    found = bpvet.sessions(records)
    first = [str(one) for one in records.findings[:3]]
    spent = _spent(before) | {"read": middle["cpu"], "read_memory": middle["memory"]}
    spent |= {"findings": len(records.findings), "first": first}
    if answer is not None:
        found.to_parquet(answer)
    return spent


def agree(twin: Path, own: Path) -> int:
    """Raise an AssertionError unless both have the same sessions; return how many these are."""
    key = ["animal", "method", "condition", "date", "mean"]
    theirs = pd.read_parquet(twin).sort_values(key).reset_index(drop=True)
    mine = pd.read_parquet(own).drop(columns="mean").rename(columns={"systolic": "mean"})
    mine = mine.sort_values(key).reset_index(drop=True)
    assert len(theirs) == len(mine)
    for name in key[:-1]:
        assert (theirs[name].astype(mine[name].dtype) == mine[name]).all(), name
    assert (theirs["size"] == mine["systolic_n"]).all()
    np.testing.assert_allclose(theirs["mean"], mine["mean"], rtol=1e-12)
    return len(mine)


def measured(who: str, path: Path, answer: Path | None = None) -> dict[str, float]:
    """Return what a process of its own spent."""
    command = [sys.executable, "-m", __spec__.name, "--run", who, str(path)]
    done = subprocess.run(
        [*command, *([str(answer)] if answer else [])], capture_output=True, text=True
    )
    if done.returncode:
        raise RuntimeError(done.stderr[-3000:])
    spent: dict[str, float] = json.loads(done.stdout)
    return spent


def best(who: str, path: Path, repeats: int, answer: Path | None) -> dict[str, float]:
    """Return the run that spent least CPU."""
    return min((measured(who, path, answer) for _ in range(repeats)), key=lambda one: one["cpu"])


def compare(folder: Path, rows: int, repeats: int) -> None:
    """Print the two ratios for a good file."""
    path = folder / "readings.csv"
    write_readings(path, rows)
    theirs = best("pandas", path, repeats, folder / "twin.parquet")
    arrow = best("arrow", path, repeats, None)
    own = best("ours", path, repeats, folder / "own.parquet")
    many = agree(folder / "twin.parquet", folder / "own.parquet")
    print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB, {many} sessions, as pandas has them")
    print(f"  CPU    {own['cpu']:.2f} s (read {own['read']:.2f}) against {theirs['cpu']:.2f} s:"
          f" {own['cpu'] / theirs['cpu']:.2f} times (limit 8);")  # fmt: skip
    print(f"  pyarrow alone {arrow['cpu']:.2f} s: {own['cpu'] / arrow['cpu']:.2f} times")
    print(f"  memory {own['memory'] / 1e6:.0f} MB against a frame of {theirs['frame'] / 1e6:.0f}"
          f" MB: {own['memory'] / theirs['frame']:.2f} times; the peak of pandas"
          f" {theirs['memory'] / 1e6:.0f} MB, of pyarrow {arrow['memory'] / 1e6:.0f}; after"
          f" reading {own['read_memory'] / 1e6:.0f}")  # fmt: skip


def compare_bad(folder: Path, rows: int, repeats: int) -> None:
    """Print the CPU of files in which every row is bad beside that of a good one of as many."""
    good, bad = folder / "good.csv", folder / "bad.csv"
    write_readings(good, rows)
    base = best("ours", good, repeats, None)
    print(f"{rows} good rows: {base['cpu']:.2f} s")
    for wrong in KINDS:
        write_readings(bad, rows, wrong)
        spent = best("ours", bad, repeats, None)
        assert spent["findings"] >= 0.9 * rows, (wrong, spent)
        print(f"{rows} rows, every one bad ({wrong}): {spent['cpu']:.2f} s,"
              f" {spent['cpu'] / base['cpu']:.2f} times the good one's,"
              f" {spent['findings']} findings, {spent['memory'] / 1e6:.0f} MB")  # fmt: skip


def compare_forms(folder: Path, rows: int, repeats: int) -> None:
    """Print what the same readings cost as CSV, as Parquet and as JSON lines."""
    places = [folder / f"readings.{end}" for end in ("csv", "parquet", "jsonl")]
    write_readings(places[0], rows)
    table = pyarrow.csv.read_csv(places[0])
    pa.parquet.write_table(table, places[1])
    with places[2].open("w") as out:
        for batch in table.to_batches():
            for row in batch.to_pylist():
                out.write(json.dumps(row | {"taken_at": str(row["taken_at"])}) + "\n")
    sessions = [folder / f"{place.suffix}.parquet" for place in places]
    for place, found in zip(places, sessions, strict=True):
        spent = best("ours", place, repeats, found)
        assert pd.read_parquet(found).equals(pd.read_parquet(sessions[0])), place.suffix
        print(f"{rows} rows, {place.suffix}, {place.stat().st_size / 1e6:.0f} MB:"
              f" read {spent['read']:.2f} s, {spent['read_memory'] / 1e6:.0f} MB")  # fmt: skip


def main() -> None:
    """Run the comparison, or one side of it in this process."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=4_000_000)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--bad", action="store_true")
    parser.add_argument("--forms", action="store_true")
    parser.add_argument("--run", nargs="+", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.run:
        who, path, *answer = arguments.run
        side = {"ours": ours, "pandas": parse_with_pandas, "arrow": parse_with_arrow}[who]
        print(json.dumps(side(Path(path), Path(answer[0]) if answer else None)))
        return
    with tempfile.TemporaryDirectory() as folder:
        run = compare_bad if arguments.bad else compare_forms if arguments.forms else compare
        run(Path(folder), arguments.rows, arguments.repeats)


if __name__ == "__main__":
    main()
