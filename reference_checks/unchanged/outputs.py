"""Every output of two trees, side by side: a change of names and places changes no word of them.

    .venv/bin/python reference_checks/unchanged/outputs.py --keep DIR      # before the change
    .venv/bin/python reference_checks/unchanged/outputs.py --beside DIR    # after it

The example clinic and every scenario folder go through each command: as text and as JSON, as
figure, letter, list, page and table. What is printed and what is written is kept, a file each;
``--beside`` runs them again, prints the outputs that differ with their first differing line and
ends with 1 where there are any. Nothing is judged here: only kept and laid side by side.
``--fast`` leaves the reports out, which run a notebook each; ``--only TEXT`` takes the commands
whose line holds TEXT.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import re
import shutil
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

SCENARIOS = Path(__file__).resolve().parents[2] / "tests" / "scenarios"
#: The day on which the example clinic is looked at.
AS_OF = "2026-11-01"
#: Each animal of the example clinic goes through these.
OF_ANIMAL = (
    "trend records --animal {animal} --as-of {day} --json",
    "trend records --animal {animal} --as-of {day}",
    "trend records --animal {animal} --as-of {day} --short",
    "figure records --animal {animal} --as-of {day} -o {out}.svg --labs",
    "figure records --animal {animal} --as-of {day} --letter -o {out}.html",
)
OF_CLINIC = (
    "check records --as-of {day} --json",
    "check records --as-of {day}",
    "sessions records --as-of {day} --json",
    "due records --as-of {day} --json",
    "due records --as-of {day}",
)
#: The example clinic alone: these need more animals than a scenario has.
OF_MANY = (
    "due records --as-of {day} --pseudonyms -o {out}.html",
    "cohort records --as-of {day} -o {out} --json",
    "agreement records --as-of {day} --json",
    "audit records --as-of {day} --json",
    "plan --json",
    "plan",
    "average 165 158 160 --method doppler",
    "average 165 158 160 --method doppler --json",
    "fhir records --as-of {day} -o {out}.json",
    "priors records --as-of {day} -o {out}.json",
)
REPORTS = (
    "report records --animal {animal} --as-of {day} -o {out}",
    "cohort records --as-of {day} -o {out}",
    "agreement records --as-of {day} -o {out}",
    "audit records --as-of {day} -o {out}",
)
#: What a run may not be told apart by: versions of libraries stay, times of day and digests go.
PASSING = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[0-9.+:Z]*|\b[0-9a-f]{32,64}\b")


def main(argv: list[str] | None = None) -> int:
    """Keep the outputs, or lay them beside those kept before."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--keep", type=Path, metavar="DIR", help="a new folder for the outputs")
    which.add_argument("--beside", type=Path, metavar="DIR", help="outputs kept before")
    parser.add_argument("--fast", action="store_true", help="leave the reports out")
    parser.add_argument("--only", default="", metavar="TEXT")
    asked = parser.parse_args(argv)
    seen = 0
    differ: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        for name, text in _outputs(Path(folder), asked.only, not asked.fast):
            seen += 1
            if asked.keep is not None:
                asked.keep.mkdir(parents=True, exist_ok=True)
                (asked.keep / name).write_text(text, encoding="utf-8")
                continue
            kept = asked.beside / name
            before = kept.read_text(encoding="utf-8") if kept.exists() else None
            if before != text:
                differ.append(name)
                print(f"{name}: {_first_difference(before, text)}", flush=True)
    print(f"{seen} outputs, {len(differ)} differ")
    return 1 if differ or not seen else 0


def _outputs(folder: Path, only: str, reports: bool) -> Iterator[tuple[str, str]]:
    """Yield the name and the text of every output, in one order."""
    from bpvet.command.main import main as command_line
    from bpvet.records.example import write_example

    clinic = folder / "example"
    clinic.mkdir()
    write_example(clinic / "records")
    animals = [
        line.split(",")[0]
        for line in (clinic / "records" / "animals.csv").read_text("utf-8-sig").splitlines()[1:]
    ]
    lines = [(clinic, one, AS_OF, "") for one in (*OF_CLINIC, *OF_MANY)]
    lines += [(clinic, one, AS_OF, animal) for animal in animals for one in OF_ANIMAL]
    for place in sorted(SCENARIOS.glob("*/expected.toml")):
        expected = tomllib.loads(place.read_text("utf-8"))
        here = folder / place.parent.name
        here.mkdir()
        shutil.copytree(place.parent, here / "records")
        (here / "records" / "expected.toml").unlink()
        day = str(expected["at"][-1]["as_of"])
        lines += [(here, one, day, expected["animal"]) for one in (*OF_CLINIC, *OF_ANIMAL)]
    if reports:
        lines += [(clinic, one, AS_OF, animals[0]) for one in REPORTS]
    for number, (place, line, day, animal) in enumerate(lines):
        if only in line:
            asked = [
                word.format(animal=animal, day=day, out=f"made-{number}") for word in line.split()
            ]
            name = f"{place.name}--{animal}--{re.sub(r'[^a-z]+', '-', line)}.txt"
            yield name, _run(command_line, place, asked, f"made-{number}")


def _run(command_line: object, place: Path, asked: list[str], out: str) -> str:
    """Return all that a command printed and wrote, as text."""
    assert callable(command_line)
    printed, complained = io.StringIO(), io.StringIO()
    before = Path.cwd()
    os.chdir(place)
    try:
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(complained):
            try:
                status = command_line(asked)
            except SystemExit as ended:
                status = ended.code
        parts = [f"status {status}", printed.getvalue(), complained.getvalue()]
        for made in sorted(place.glob(f"{out}*")):
            inside = sorted(made.rglob("*")) if made.is_dir() else [made]
            for one in inside:
                if one.suffix in {".svg", ".html", ".csv", ".txt", ".json", ".ics"}:
                    parts.append(f"== {one.relative_to(place)}\n{one.read_text('utf-8')}")
    finally:
        os.chdir(before)
    return PASSING.sub("…", "\n".join(parts)).replace(str(place), "PLACE")


def _first_difference(before: str | None, after: str) -> str:
    """Return the first line that is not the same, as it was and as it is."""
    if before is None:
        return "was not there"
    old, new = before.splitlines(), after.splitlines()
    for number, (one, other) in enumerate(zip(old, new, strict=False), start=1):
        if one != other:
            start = next(
                (i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b),
                min(len(one), len(other)),
            )
            around = slice(max(0, start - 30), start + 60)
            return f"line {number}: {one[around]!r} is now {other[around]!r}"
    return f"{len(old)} lines are now {len(new)}"


if __name__ == "__main__":
    sys.exit(main())
