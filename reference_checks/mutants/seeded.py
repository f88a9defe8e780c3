"""Two hundred mutants drawn by a seed: are they killed by the tests of their own layer?

    pip install cosmic-ray==8.7.0
    nice python reference_checks/mutants/seeded.py --keep DIR [--processes 2] [--layers visits]

The operators are Cosmic Ray's, a maintained tool. A seed draws places in answers, models, mixed and
visits, and one mutation of each; of those that could only be an error of types (``+`` for ``&`` of
a number) none is drawn, nor any within an annotation. What is run against a mutant are the tests
of its own layer that execute its statement, the quickest first, until one fails. `DIR` keeps which
tests execute which line (made once a layer) and every mutant that has been tried, so that a run
that was stopped is gone on with; ``seeded.md`` is written from what is there.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.mutants.run import ROOT, tree

HERE = Path(__file__).parent
LAYERS = ("answers", "models", "mixed", "visits")
SEED, MUTANTS = 16, 200
#: Seconds of processor for one mutant; what needs more has been stopped, and so was seen.
MOST_SECONDS = 300
#: Tests are taken, the quickest first, while those before them take no more than this without a
#: fault, in seconds.
MOST_TESTS = 60.0
#: Operators that stand in for one another without an error of types.
_FAMILIES = (
    ("Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow"),
    ("BitAnd", "BitOr", "BitXor"),
    ("Eq", "NotEq", "Lt", "LtE", "Gt", "GtE"),
    ("Is", "IsNot"),
)
_PLAIN = (
    "AddNot",
    "ExceptionReplacer",
    "NumberReplacer",
    "RemoveDecorator",
    "ReplaceAndWithOr",
    "ReplaceBreakWithContinue",
    "ReplaceContinueWithBreak",
    "ReplaceFalseWithTrue",
    "ReplaceOrWithAnd",
    "ReplaceTrueWithFalse",
    "ReplaceUnaryOperator_Delete_Not",
    "ReplaceUnaryOperator_Delete_USub",
    "ReplaceUnaryOperator_Delete_Invert",
    "ZeroIterationForLoop",
)


#: Written after the run; to be read again after another one.
_LOOKED_AT = """\
Of models all that were drawn of the sources at 71bfd80 were tried, by tests of which none failed
without a fault, and those that survived were tried again by the tests then written for them. The
other layers were tried as of ab6d825, of which the same seed draws others, and not again since:
of 21 of answers 18 were killed, of 63 of mixed 61, of 30 of visits 25. So 198 places were tried
by the two draws, and tests kill 185 of them by now: 93 %. That each test that killed passes
without a fault was tried one by one of those written since only; the others passed when the layer
was run.

Equal to what they replace, of models: the one place of a course, first or last
(plan/sample_size.py:85); what is integrated roughly to find out what weighs little, by the whole
integral, which is only slower (trend/bounded.py:74); `strict` of two that are always as long
(trend/step.py:158 and 198); comparing that nobody does (trend/learned.py:19). Killed by now:
agreement/result.py:241, by records that give the means of sessions without their readings.

Of those that survived at ab6d825, tests kill by now answers/fhir/fhir.py:170,
answers/room/expected.py:26, models/agreement/tables.py:94, models/clinic/over_time.py:414,
models/trend/bounded.py:81 and models/trend/learnable.py:202. The others are equal: the last for
the first of values that are all the same (visits/series_columns.py:197) or of the one series of a
batch (models/trend/step.py:163); a stage that is not given, as 0 or below it
(visits/labs/events.py:242); `<=` for `==` of a value that is never negative
(visits/placement.py:256); comparing that nobody does (visits/series_columns.py:72) or that comes
to the same (models/kidney/result.py:182); values that are kept beforehand or worked out when they
are asked for (visits/clinic_sessions.py:96); what stands in for a fact that is there
(answers/due/due.py:469, models/kidney/rate.py:150); the place of a block without columns
(mixed/parametrisation.py:154); where a search begins (mixed/profile_likelihood.py:199).
"""


@dataclass(frozen=True)
class Mutant:
    """One mutation: the tool's operator and which of its occurrences in a module.

    Parameters
    ----------
    file : str
        Under ``bpvet/``.
    operator : str
        Name in the tool.
    occurrence : int
        Of the operator in the module.
    place : ((int, int), (int, int))
        Line and column where it begins and ends.
    """

    file: str
    operator: str
    occurrence: int
    place: tuple[tuple[int, int], tuple[int, int]]

    @property
    def layer(self) -> str:
        """The layer whose tests must kill it."""
        return self.file.split("/")[0]


@dataclass(frozen=True)
class Tried:
    """What became of a mutant: ``killed``, ``survived``, ``unreached`` or ``stopped``."""

    mutant: Mutant
    became: str
    by: str
    tests: int
    was: str
    now: str


def operators() -> dict[str, Any]:
    """Return the tool's operators by name."""
    from cosmic_ray.plugins import get_operator

    names = [f"core/{name}" for name in _PLAIN]
    for family in _FAMILIES:
        kind = "Comparison" if family[0] in ("Eq", "Is") else "Binary"
        names += [f"core/Replace{kind}Operator_{a}_{b}" for a in family for b in family if a != b]
    found = {}
    for name in names:
        try:
            found[name] = get_operator(name)()
        except KeyError:
            # The tool has no such exchange.
            continue
    return found


def mutants(of: Mapping[str, Any]) -> dict[tuple[str, Any], list[Mutant]]:
    """Return every mutant of the layers, by the place that it changes."""
    from cosmic_ray.ast import ast_nodes, get_ast

    found: dict[tuple[str, Any], list[Mutant]] = {}
    for layer in LAYERS:
        for path in sorted((ROOT / "bpvet" / layer).rglob("*.py")):
            file = str(path.relative_to(ROOT / "bpvet"))
            nodes = list(ast_nodes(get_ast(path.read_text(encoding="utf-8"))))
            for name, operator in of.items():
                places = (place for node in nodes for place in operator.mutation_positions(node))
                for occurrence, place in enumerate(places):
                    one = Mutant(file, name, occurrence, place)
                    found.setdefault((file, place), []).append(one)
    return found


def drawn(count: int) -> list[Mutant]:
    """Draw places by the seed, and one mutation of each that changes what is run."""
    of = operators()
    by_place = mutants(of)
    places = sorted(by_place)
    chance = random.Random(SEED)
    chance.shuffle(places)
    chosen: list[Mutant] = []
    for place in places:
        one = chance.choice(by_place[place])
        if len(chosen) == count:
            break
        text = (ROOT / "bpvet" / one.file).read_text(encoding="utf-8")
        try:
            changed = _running(mutated(text, one, of)) != _running(text)
        except SyntaxError:
            # The tool takes the star of keyword arguments for a product.
            continue
        if changed:
            chosen.append(one)
    return chosen


def kept_or_drawn(keep: Path, count: int) -> list[Mutant]:
    """Return what `drawn` does, from the folder where it was drawn of the same sources."""
    digest = hashlib.sha256()
    for layer in LAYERS:
        for path in sorted((ROOT / "bpvet" / layer).rglob("*.py")):
            digest.update(path.read_bytes())
    place = keep / f"drawn-{count}-{digest.hexdigest()[:12]}.json"
    if place.exists():
        return [_mutant(one) for one in json.loads(place.read_text(encoding="utf-8"))]
    found = drawn(count)
    place.write_text(json.dumps([asdict(one) for one in found]), encoding="utf-8")
    return found


def _mutant(plain: dict[str, Any]) -> Mutant:
    (a, b), (c, d) = plain.pop("place")
    return Mutant(**plain, place=((a, b), (c, d)))


def mutated(text: str, mutant: Mutant, of: Mapping[str, Any]) -> str:
    """Return the source with the mutation in it."""
    from cosmic_ray.mutating import mutate_code

    made = mutate_code(text, of[mutant.operator], mutant.occurrence)
    if made is None:
        raise RuntimeError(f"{mutant.file}: {mutant.operator} has no {mutant.occurrence}")
    return str(made)


class _Bare(ast.NodeTransformer):
    """Takes away what is not run: annotations and docstrings."""

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        node.annotation = ast.Name("_")
        return self.generic_visit(node)

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.annotation = None
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns = None
        return self.generic_visit(node)


def _running(text: str) -> str:
    return ast.dump(_Bare().visit(ast.parse(text)))


def _statement(text: str, line: int) -> range:
    """Return the lines of the innermost statement around a line; of a block, those of its head."""
    best = range(line, line + 1)
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.stmt) or isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            continue
        body = getattr(node, "body", None)
        last = body[0].lineno - 1 if body else (node.end_lineno or node.lineno)
        lines = range(node.lineno, max(last, node.lineno) + 1)
        if line in lines and (len(best) == 1 or len(lines) < len(best)):
            best = lines
    return best


def cover(folder: Path, layer: str, processes: int, also: Sequence[str] = ()) -> None:
    """Run a layer's tests, noting for every line of the layer the tests that execute it.

    Parameters
    ----------
    folder : Path
        Keeps it: ``coverage.LAYER``, and how long each test took in ``LAYER.xml``.
    layer : str
        One of `LAYERS`.
    processes : int
        Tests at a time.
    also : sequence of str
        Files of tests that were written since; what is known is added to. Without, all are run.
    """
    environment = os.environ | {"COVERAGE_FILE": str(folder / f"coverage.{layer}")}
    command = [sys.executable, "-m", "pytest", "-q", "-n", str(processes), f"--cov=bpvet/{layer}"]
    command += ["--cov-context=test", "--cov-report=", "-p", "no:cacheprovider"]
    times = folder / f"{layer}.xml"
    if also:
        command.append("--cov-append")
        times = folder / f"{layer}.{len(list(folder.glob(f'{layer}.*xml')))}.xml"
    command += ["-m", "not slow and not browser", f"--junitxml={times}"]
    ran = subprocess.run([*command, *(also or (f"tests/{layer}",))], cwd=ROOT, env=environment)
    if ran.returncode not in (0, 1):
        raise RuntimeError(f"the tests of {layer} did not run: status {ran.returncode}")


class Covered:
    """Which tests of a layer execute a line, and how long each takes."""

    def __init__(self, folder: Path, layer: str) -> None:
        import coverage

        self._data = coverage.CoverageData(str(folder / f"coverage.{layer}"))
        self._data.read()
        self._seconds = {}
        #: Tests that fail without any fault would kill every mutant.
        self._failed = set()
        #: Those written since are tried first: among many quick ones they would not be reached.
        self._since = set()
        for file in sorted(folder.glob(f"{layer}.*xml")):
            for case in ElementTree.parse(file).iter("testcase"):
                name = f"{case.get('classname', '').replace('.', '/')}.py::{case.get('name')}"
                self._seconds[name] = float(case.get("time") or 0.0)
                if file.stem.removeprefix(f"{layer}.").isdigit():
                    self._since.add(name)
                if case.find("failure") is not None or case.find("error") is not None:
                    self._failed.add(name)
                else:
                    self._failed.discard(name)

    def tests(self, mutant: Mutant) -> list[str]:
        """Return the tests of the mutant's layer that execute its statement, quickest first.

        Where no test does, since it runs when the module is loaded, all that run any line of it.
        """
        path = ROOT / "bpvet" / mutant.file
        lines = self._data.contexts_by_lineno(str(path))
        own = _statement(path.read_text(encoding="utf-8"), mutant.place[0][0])
        loaded = any("" in lines.get(line, ()) for line in own) or not any(
            lines.get(line) for line in own
        )
        names = self._of(mutant.layer, lines, own)
        if not names and loaded:
            names = self._of(mutant.layer, lines, lines)
        ordered = sorted(
            names - self._failed,
            key=lambda one: (one not in self._since, self._seconds.get(one, 1.0), one),
        )
        kept, spent = [], 0.0
        for one in ordered:
            spent += self._seconds.get(one, 1.0)
            if kept and spent > MOST_TESTS:
                break
            kept.append(one)
        return kept

    def _of(
        self, layer: str, lines: Mapping[int, Sequence[str]], of: Sequence[int] | Any
    ) -> set[str]:
        contexts = {context for line in of for context in lines.get(line, ())}
        names = {context.rsplit("|", 1)[0] for context in contexts}
        # A fixture of a module is made in the setup of the first test that wants it, for all.
        shared = {one.split("::")[0] for one in contexts if one.endswith("|setup")}
        every = {context.rsplit("|", 1)[0] for context in self._data.measured_contexts()}
        names |= {one for one in every | set(self._seconds) if one.split("::")[0] in shared}
        return {one for one in names if one.startswith(f"tests/{layer}/")}


class _First:
    """Notes the first test that fails."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def _note(self, report: Any) -> None:
        if report.failed and not self._file.exists():
            self._file.write_text(report.nodeid, encoding="utf-8")

    pytest_runtest_logreport = _note
    pytest_collectreport = _note


def outcome(folder: Path, tests: Sequence[str]) -> tuple[str, str]:
    """Run tests on the copy in a process of their own; return what became of it, and by which."""
    noted, error = folder / "first.txt", folder / "error.txt"
    for file in (noted, error):
        file.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        status = 99
        try:
            status = _run(folder, tests, noted)
        except BaseException:
            error.write_text(traceback.format_exc(), encoding="utf-8")
        finally:
            # Never back into the caller's clearing up.
            os._exit(status)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    by = noted.read_text(encoding="utf-8") if noted.exists() else ""
    if status in (-signal.SIGXCPU, -signal.SIGALRM, -signal.SIGKILL):
        return "stopped", by
    if status in (98, 99):
        told = error.read_text(encoding="utf-8") if error.exists() else f"status {status}"
        raise RuntimeError(told)
    return ("survived" if status == 0 else "killed"), by or ("loading" if status else "")


def _run(folder: Path, tests: Sequence[str], noted: Path) -> int:
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS + 5))
    signal.alarm(10 * MOST_SECONDS)
    os.chdir(folder)
    sys.path[:] = [str(folder), *(one for one in sys.path if Path(one).resolve() != ROOT)]
    for name in [one for one in sys.modules if one.split(".")[0] in ("bpvet", "tests")]:
        del sys.modules[name]
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    import pytest

    import bpvet

    if not Path(str(bpvet.__file__)).is_relative_to(folder):
        return 98
    options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", str(folder), "-m", ""]
    return min(int(pytest.main([*options, *tests], plugins=[_First(noted)])), 90)


_FOLDER: list[Path] = []


def _begin(folder: str) -> None:
    # The copy, and what tests leave, go with the caller's folder.
    tempfile.tempdir = folder
    # What is heavy is loaded once; bpvet comes from the copy.
    sys.dont_write_bytecode = True
    import matplotlib  # noqa: F401
    import pandas  # noqa: F401
    import pytest  # noqa: F401
    import scipy.optimize
    import scipy.stats  # noqa: F401

    _FOLDER.append(tree())


Job = tuple[Mutant, str, str, tuple[str, ...]]


def _try(job: Job) -> Tried:
    mutant, was, text, tests = job
    now = text.splitlines()[mutant.place[0][0] - 1].strip()
    if not tests:
        return Tried(mutant, "unreached", "", 0, was, now)
    path = _FOLDER[0] / "bpvet" / mutant.file
    whole = path.read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    try:
        became, by = outcome(_FOLDER[0], tests)
    finally:
        path.write_text(whole, encoding="utf-8")
    return Tried(mutant, became, by, len(tests), was, now)


def _sound(names: Sequence[str]) -> list[str]:
    """Return those of the tests that fail without any fault, tried one after another."""
    wrong = []
    for name in names:
        if outcome(_FOLDER[0], [name])[0] != "survived":
            wrong.append(name)
    return wrong


def jobs(chosen: Sequence[Mutant], covered: Mapping[str, Covered]) -> Iterator[Job]:
    """Yield what is to be tried: the mutant, its line, the source with it, the tests."""
    of = operators()
    for mutant in chosen:
        text = (ROOT / "bpvet" / mutant.file).read_text(encoding="utf-8")
        was = text.splitlines()[mutant.place[0][0] - 1].strip()
        tests = covered[mutant.layer].tests(mutant)
        yield mutant, was, mutated(text, mutant, of), tuple(tests)


def run(
    keep: Path,
    count: int,
    processes: int,
    layers: Sequence[str],
    again: str,
    also: Sequence[str] = (),
) -> int:
    """Try the mutants that have not been tried, and write the page."""
    for layer in layers:
        if not (keep / f"{layer}.xml").exists():
            cover(keep, layer, processes)
        elif since := [one for one in also if one.startswith(f"tests/{layer}/")]:
            cover(keep, layer, processes, since)
    kept, whole = keep / "tried.jsonl", kept_or_drawn(keep, count)
    every = list(read(kept))
    done = {one.mutant: one for one in every}
    chosen = [
        one
        for one in whole
        if one.layer in layers and (one not in done or done[one].became in again.split(","))
    ]
    todo = list(jobs(chosen, {layer: Covered(keep, layer) for layer in layers}))
    print(f"{len(done)} tried before, {len(todo)} to try", flush=True)
    with (
        tempfile.TemporaryDirectory() as folder,
        get_context("spawn").Pool(processes, _begin, (folder,)) as pool,
    ):
        for one in pool.imap_unordered(_try, todo):
            done[one.mutant] = one
            every.append(one)
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(one)) + "\n")
            print(
                f"{one.became:10}{one.mutant.file}:{one.mutant.place[0][0]}  {one.now}", flush=True
            )
        killers = sorted({one.by for one in done.values() if "::" in one.by})
        parts = [killers[i::processes] for i in range(processes)]
        wrong = [name for part in pool.map(_sound, parts, chunksize=1) for name in part]
    for name in wrong:
        print(f"fails without any fault: {name}")
    of_these = set(whole)
    text = page([one for one in every if one.mutant in of_these], count)
    (HERE / "seeded.md").write_text(text, encoding="utf-8")
    print(text.split("\n\n")[2])
    return int(bool(wrong))


def read(kept: Path) -> Iterator[Tried]:
    """Yield what has been tried, the last word on each mutant last."""
    for line in kept.read_text(encoding="utf-8").splitlines() if kept.exists() else ():
        one = json.loads(line)
        yield Tried(_mutant(one.pop("mutant")), **one)


def page(every: Sequence[Tried], count: int) -> str:
    """Return the page as Markdown: of a mutant tried again, what became of it last."""
    tried = list({one.mutant: one for one in every}.values())
    first = list({one.mutant: one for one in reversed(every)}.values())
    lines = ["| layer | mutants | killed | stopped by the time limit | survived | no test |"]
    lines.append("|---" * 6 + "|")
    kinds = ("killed", "stopped", "survived", "unreached")
    for layer in (*LAYERS, ""):
        own = [one for one in tried if not layer or one.mutant.layer == layer]
        counts = [str(sum(one.became == kind for one in own)) for kind in kinds]
        lines.append(f"| {layer or 'all'} | {len(own)} | {' | '.join(counts)} |")
    seen, at_first = (
        sum(one.became in ("killed", "stopped") for one in some) for some in (tried, first)
    )
    left = [one for one in tried if one.became in ("survived", "unreached")]
    share = 100 * seen / max(len(tried), 1)
    head = (
        "# Mutants drawn by a seed, and the tests of their own layer\n\n"
        f"Written by `python reference_checks/mutants/seeded.py` (seed {SEED}, Cosmic Ray's "
        "operators; how it draws is told there).\n\n"
        f"{len(tried)} of the {count} mutants drawn have been tried; {seen} of them were seen by "
        f"the tests of their own layer: {share:.0f} % (goal: 85 % of 200). At first {at_first} "
        "were seen; the others were tried again after tests had been written for them.\n\n"
    )
    survivors = ["| place | was | became |", "|---|---|---|"]
    for one in sorted(left, key=lambda one: (one.mutant.file, one.mutant.place)):
        was, now = (text.replace("|", "\\|") for text in (one.was, one.now))
        mark = " (no test runs it)" if one.became == "unreached" else ""
        place = f"{one.mutant.file}:{one.mutant.place[0][0]}{mark}"
        survivors.append(f"| {place} | `{was}` | `{now}` |")
    table = "\n".join(lines) + "\n\n## Survivors\n\n"
    return head + table + _LOOKED_AT + "\n" + "\n".join(survivors) + "\n"


def main() -> int:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--keep", type=Path, required=True, metavar="DIR")
    parser.add_argument("--mutants", type=int, default=MUTANTS, metavar="N")
    parser.add_argument("--processes", type=int, default=1, metavar="N")
    parser.add_argument("--layers", default=",".join(LAYERS), metavar="LAYERS")
    parser.add_argument(
        "--again", default="", metavar="WHAT", help="try these once more: survived,unreached"
    )
    parser.add_argument(
        "--also", default="", metavar="TESTS", help="files of tests written since: tests/visits/…"
    )
    asked = parser.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    layers = asked.layers.split(",")
    also = [one for one in asked.also.split(",") if one]
    return run(asked.keep, asked.mutants, asked.processes, layers, asked.again, also)


if __name__ == "__main__":
    sys.exit(main())
