"""Whatever it is fed: no traceback, no hang, nothing lost, nothing run, nothing written astray.

    python reference_checks/fuzzing/check.py                   a small run, from a fixed seed
    python reference_checks/fuzzing/check.py --runs 100000     the full run, led by coverage
    python reference_checks/fuzzing/check.py --runs 100000 --jobs 2    the same in two processes
    python reference_checks/fuzzing/check.py --from 100000     goes on with inputs not yet tried
    python reference_checks/fuzzing/check.py --only arguments  one kind of call alone
    python reference_checks/fuzzing/check.py --again FILE      one kept case again

The full run takes Atheris (a general fuzzer, `pip install atheris`), which keeps the inputs that
reach new code and changes them; without it, and in the small run, inputs come from a seed alone.
A case that breaks something is kept as a file whose name is printed, and the run goes on.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import os
import random
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.fuzzing.counts import Counts, in_processes

#: Inputs from which a led run sets out.
_FIRST = 200
#: Inputs after which a long run tells how it goes.
_TELLING = 1000
#: Inputs of the small run; bytes of an input; the seed.
SMALL, LONGEST, SEED = 400, 4000, 20261125


def main() -> int:
    """Run what was asked for and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--runs", type=int, default=SMALL)
    asked.add_argument("--seed", type=int, default=SEED)
    asked.add_argument("--led", action="store_true", help="led by coverage whatever the runs")
    asked.add_argument("--seeded", action="store_true", help="from the seed alone, and faster")
    asked.add_argument("--jobs", type=int, default=1, help="processes, each from its own seed")
    asked.add_argument(
        "--from", type=int, default=0, dest="first", help="number of the first input"
    )
    asked.add_argument("--only", default="", help="one kind of call, such as arguments")
    asked.add_argument("--again", type=Path)
    asked.add_argument("--corpus", type=Path, help="a folder that keeps the inputs of a led run")
    asked.add_argument("--counts", type=Path, help="a file for what was counted")
    given = asked.parse_args()
    if given.again:
        return _kept_case(given.again, given.only)
    led = not given.seeded and (given.led or given.runs > SMALL)
    if given.jobs > 1:
        return _in_processes(given, led)
    led = led and _instrumented()
    run = Run(given.runs, given.seed, given.first, given.counts, given.only)
    return _led(run, given.corpus) if led else run.seeded()


def _in_processes(given: argparse.Namespace, led: bool) -> int:
    """Share the inputs among processes, each with inputs of its own."""
    started, first, each = time.monotonic(), given.first, []
    for job in range(given.jobs):
        share = given.runs // given.jobs + (job < given.runs % given.jobs)
        corpus = [f"--corpus={given.corpus}-{job}"] if given.corpus else []
        shared = [f"--runs={share}", f"--seed={given.seed}", f"--from={first}", *corpus]
        each.append([*shared, f"--only={given.only}", *(["--led"] if led else [])])
        first += share
    counts = in_processes(__file__, each)
    print(f"All in {time.monotonic() - started:.0f} s: {counts.in_words()}")
    if not counts.ended:
        print("A process did not come to its end: see above.")
    return 1 if counts.broken or not counts.ended else 0


class Run:
    """A run of so many inputs that counts what it meets.

    Parameters
    ----------
    runs, seed, first : int
        How many inputs; the seed; the number of the first. Input 17 of a seed is the same in
        every run from the seed alone.
    place : Path, optional
        Where the counts are saved.
    only : str
        As in `Trials`.
    """

    def __init__(
        self, runs: int, seed: int, first: int, place: Path | None, only: str = ""
    ) -> None:
        from reference_checks.fuzzing.trial import Trials
        from reference_checks.fuzzing.watch import Watch

        self.runs, self.seed, self.first, self._place = runs, seed, first, place
        self.counts = Counts()
        self._trials = Trials(Watch(), only)
        # One counter for both: a trial counts itself before it may break.
        self._trials.tried = self.counts.tried
        self._started = time.monotonic()

    def seeded(self) -> int:
        """Try inputs from the seed alone and return the exit status."""
        warm_up()
        for number in range(self.first, self.first + self.runs):
            self.one(self.data(number))
        return self.end()

    def data(self, number: int) -> bytes:
        """Return the input of a number."""
        chance = random.Random(f"{self.seed} {number}")
        return chance.randbytes(chance.randrange(40, LONGEST))

    def one(self, data: bytes) -> None:
        """Try one input; what breaks is told and kept, and the run goes on."""
        try:
            self._trials.try_bytes(data)
        except Exception as broken:
            # Also what the trial itself did not foresee: it must not end a long run.
            self.counts.broken += 1
            print(f"BROKEN: {broken!r}\n  kept as {_keep(data)}", flush=True)
        if self.counts.inputs % _TELLING == 0 and self.counts.inputs < self.runs:
            print(self._in_words(), flush=True)

    def end(self) -> int:
        """Save and print the counts and return the exit status."""
        self.counts.ended = True
        self.counts.save(self._place)
        print(self._in_words(), flush=True)
        return 1 if self.counts.broken else 0

    def _in_words(self) -> str:
        return f"{time.monotonic() - self._started:.0f} s: {self.counts.in_words()}"


def _kept_case(case: Path, only: str) -> int:
    from reference_checks.fuzzing.trial import Trials
    from reference_checks.fuzzing.watch import Watch

    warm_up()
    Trials(Watch(), only).try_bytes(case.read_bytes())
    print("Nothing broke.")
    return 0


def _instrumented() -> bool:
    """Load every module so that its code leads the fuzzer; False where there is no fuzzer."""
    try:
        import atheris
    except ImportError:
        print("Atheris is not installed: inputs come from the seed alone.")
        return False
    with atheris.instrument_imports(include=["bpvet"]):
        # Commands load what they need when they run: only what is loaded here is seen.
        import bpvet

        for module in walk_packages(bpvet.__path__, "bpvet."):
            if not module.name.endswith("__main__"):
                import_module(module.name)
    return True


def _led(run: Run, corpus: Path | None) -> int:
    """Let the fuzzer lead; it would end the process itself, so that the last input does."""
    import atheris

    warm_up()
    folder = corpus or Path(tempfile.mkdtemp(prefix="corpus-"))
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(run.first, run.first + _FIRST):
        (folder / f"first-{number:06d}").write_bytes(run.data(number))

    def one(data: bytes) -> None:
        run.one(data)
        if run.counts.inputs >= run.runs:
            status = run.end()
            sys.stdout.flush()
            os._exit(status)

    atheris.Setup(
        [
            *(sys.argv[0], str(folder), f"-seed={run.seed + run.first + 1}"),
            *(f"-max_len={LONGEST}", "-len_control=0", "-verbosity=0"),
            *("-timeout=120", "-report_slow_units=120", "-rss_limit_mb=4096"),
            f"-artifact_prefix={tempfile.gettempdir()}/broken-",
        ],
        one,
    )
    atheris.Fuzz()
    return 1


def warm_up() -> None:
    """Let libraries write their caches, and find what they load, before anything is watched."""
    import matplotlib.font_manager

    from bpvet.command.main import main as call

    matplotlib.font_manager.findfont("DejaVu Sans")
    # Its libraries are looked for by asking the system's own programs where they are.
    with contextlib.suppress(ImportError, OSError):
        import_module("weasyprint")
    with contextlib.redirect_stdout(io.StringIO()):
        call(["average", "150", "148", "152", "--method", "doppler", "--json", "--quiet"])


def _keep(data: bytes) -> Path:
    name = f"broken-{hashlib.sha256(data).hexdigest()[:12]}"
    place = Path(tempfile.gettempdir()) / name
    place.write_bytes(data)
    return place


if __name__ == "__main__":
    sys.exit(main())
