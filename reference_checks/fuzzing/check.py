"""Whatever it is fed: no traceback, no hang, nothing lost, nothing run, nothing written astray.

    python reference_checks/fuzzing/check.py                   a small run, from a fixed seed
    python reference_checks/fuzzing/check.py --runs 100000     the full run, led by coverage
    python reference_checks/fuzzing/check.py --runs 100000 --jobs 2    the same in two processes
    python reference_checks/fuzzing/check.py --again FILE      one kept case again

The full run takes Atheris (a general fuzzer, `pip install atheris`), which keeps the inputs that
reach new code and changes them; without it, and in the small run, inputs come from a seed alone.
A case that breaks something is kept as a file whose name is printed.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import random
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

sys.path.insert(0, str(Path(__file__).parents[2]))

#: Inputs from which a led run sets out.
_FIRST = 200
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
    asked.add_argument("--again", type=Path)
    asked.add_argument("--corpus", type=Path, help="a folder that keeps the inputs of a led run")
    given = asked.parse_args()
    if given.again:
        return _kept_case(given.again)
    if given.jobs > 1:
        return _in_processes(given.runs, given.seed, given.jobs, given.seeded)
    if not given.seeded and (given.led or given.runs > SMALL):
        return _led(given.runs, given.seed, given.corpus)
    return _seeded(given.runs, given.seed)


def _in_processes(runs: int, seed: int, jobs: int, seeded: bool) -> int:
    """Share the inputs among processes, each from a seed of its own."""
    shares = [runs // jobs + (job < runs % jobs) for job in range(jobs)]
    way = "--seeded" if seeded else "--led"
    calls = [
        [sys.executable, __file__, way, f"--runs={share}", f"--seed={seed + job}"]
        for job, share in enumerate(shares)
    ]
    working = [subprocess.Popen(call) for call in calls]
    failures = sum(process.wait() != 0 for process in working)
    print(f"{runs} inputs in {jobs} processes, of which {failures} met what broke")
    return 1 if failures else 0


def _kept_case(case: Path) -> int:
    from reference_checks.fuzzing.trial import Trials
    from reference_checks.fuzzing.watch import Watch

    warm_up()
    Trials(Watch()).try_bytes(case.read_bytes())
    print("Nothing broke.")
    return 0


def _seeded(runs: int, seed: int) -> int:
    from reference_checks.fuzzing.trial import Trials
    from reference_checks.fuzzing.watch import Broken, Watch

    trials, chance, failures = Trials(Watch()), random.Random(seed), 0
    warm_up()
    started = time.monotonic()
    for done in range(runs):
        if done % 1000 == 0 and done:
            print(f"{done} inputs in {time.monotonic() - started:.0f} s", flush=True)
        data = chance.randbytes(chance.randrange(40, LONGEST))
        try:
            trials.try_bytes(data)
        except Broken as broken:
            failures += 1
            print(f"BROKEN: {broken}\n  kept as {_keep(data)}")
    print(f"{runs} inputs in {time.monotonic() - started:.0f} s, {failures} broken")
    return 1 if failures else 0


def _led(runs: int, seed: int, corpus: Path | None) -> int:
    """Let the fuzzer lead; it ends the process itself, and keeps what broke in its folder."""
    try:
        import atheris
    except ImportError:
        print("Atheris is not installed: inputs come from the seed alone.")
        return _seeded(runs, seed)
    with atheris.instrument_imports(include=["bpvet"]):
        # Commands load what they need when they run: only what is loaded here is seen.
        import bpvet

        for module in walk_packages(bpvet.__path__, "bpvet."):
            if not module.name.endswith("__main__"):
                import_module(module.name)
        from reference_checks.fuzzing.trial import Trials
        from reference_checks.fuzzing.watch import Watch
    trials = Trials(Watch())
    warm_up()
    folder = corpus or Path(tempfile.mkdtemp(prefix="corpus-"))
    folder.mkdir(parents=True, exist_ok=True)
    chance = random.Random(seed)
    for place in range(_FIRST):
        (folder / f"first-{place:03d}").write_bytes(chance.randbytes(chance.randrange(40, LONGEST)))
    call = [sys.argv[0], str(folder), f"-runs={runs}", f"-seed={seed}", f"-max_len={LONGEST}"]
    atheris.Setup([*call, "-len_control=0", "-timeout=60", "-rss_limit_mb=4096"], trials.try_bytes)
    atheris.Fuzz()
    return 0


def warm_up() -> None:
    """Let libraries write their caches before anything is watched."""
    import matplotlib.font_manager

    from bpvet.command.main import main as call

    matplotlib.font_manager.findfont("DejaVu Sans")
    with contextlib.redirect_stdout(io.StringIO()):
        call(["average", "150", "148", "152", "--method", "doppler", "--json", "--quiet"])


def _keep(data: bytes) -> Path:
    name = f"broken-{hashlib.sha256(data).hexdigest()[:12]}"
    place = Path(tempfile.gettempdir()) / name
    place.write_bytes(data)
    return place


if __name__ == "__main__":
    sys.exit(main())
