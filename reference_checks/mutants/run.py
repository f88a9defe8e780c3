"""Are the tests awake? Thirty small faults, one at a time: each must be caught in its own layer.

    nice python reference_checks/mutants/run.py [--only WORD] [--baseline]

A fault is one changed expression in a copy of the package: a threshold moved by a tenth, an index
dropped, a tail halved, days in another unit. The tests that are named beside it belong to the
fault's own layer and must fail. `--baseline` runs them without any fault first.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Fault:
    """One changed expression, and the tests of its layer that must see it.

    Parameters
    ----------
    file : str
        Under ``bpvet/``.
    was, becomes : str
        `was` stands once in the file.
    tests : tuple of str
        Under ``tests/``.
    """

    file: str
    was: str
    becomes: str
    tests: tuple[str, ...]


_TREND = (
    "models/trend/test_trend.py",
    "models/trend/test_bridged.py",
    "models/trend/test_trend_reference.py",
)
_STANDING = ("models/safety/test_standing.py",)
_RECHECK = ("models/safety/test_recheck.py",)
_ANSWERS = ("answers/trend/test_twin.py", "answers/test_trend_answer.py")
_URGENCY = ("visits/test_urgency.py",)
_KIDNEY = ("visits/labs/test_kidney_reaction.py", "visits/labs/test_events.py")

FAULTS = (
    # Models: when again.
    Fault("models/safety/recheck.py", "STANDS_FROM = 4", "STANDS_FROM = 5", _RECHECK),
    Fault("models/safety/recheck.py", "NEW_HEIGHT = 0.05", "NEW_HEIGHT = 0.055", _RECHECK),
    Fault(
        "models/safety/recheck.py",
        "0.5, 0.9, 0.75, 0.25, 0.1",
        "0.5, 0.9, 0.75, 0.25, 0.11",
        _RECHECK,
    ),
    Fault(
        "models/safety/recheck.py",
        "0.5, 0.9, 0.75, 0.25, 0.1",
        "0.5, 0.9, 0.825, 0.25, 0.1",
        _RECHECK,
    ),
    Fault("models/safety/recheck.py", "<= 90\n", "<= 99\n", _RECHECK),
    Fault("models/safety/standing.py", "if day > today - 730", "if day > today - 657", _STANDING),
    Fault("models/safety/standing.py", "wait = max(7, ", "wait = max(14, ", _STANDING),
    Fault("models/safety/standing.py", "day - before >= 7:", "day - before >= 6:", _STANDING),
    Fault("models/safety/standing.py", "> 120 * _DAY", "> 132 * _DAY", _STANDING),
    # Models: the trend and what is asked of it.
    Fault(
        "models/trend/outlook.py",
        "tail=min(2 * min(found.tails), 1.0)",
        "tail=min(min(found.tails), 1.0)",
        _TREND,
    ),
    Fault("models/trend/outlook.py", "visit=int(series.visit[-1]))", "visit=-1)", _TREND),
    Fault(
        "models/trend/outlook.py",
        "readings=float(series.k[-1])",
        "readings=float(series.k[0])",
        _TREND,
    ),
    Fault("models/trend/outlook.py", 'last + np.timedelta64(1, "D")', "last", _TREND),
    Fault("models/trend/effects.py", "FINISHED_TAUS = 3.0", "FINISHED_TAUS = 3.3", _TREND),
    Fault("models/trend/columns.py", "SLOPE_DAYS = 30.0", "SLOPE_DAYS = 30.4375", _TREND),
    Fault(
        "models/trend/trend.py",
        "self.series.visit.max(initial=-1)) + 1",
        "self.series.visit.max(initial=-1))",
        _TREND,
    ),
    # Answers.
    Fault(
        "answers/trend/verdicts.py",
        'fact("project.verdict.sure").value or 1):\n        return Settled.YES',
        'fact("project.verdict.sure").value or 1) * 0.95:\n        return Settled.YES',
        _ANSWERS,
    ),
    Fault(
        "answers/trend/control.py",
        "below(chosen.floor.value) >= 0.5",
        "below(chosen.floor.value) >= 0.55",
        _ANSWERS,
    ),
    Fault(
        "answers/trend/control.py",
        "control.value - control.judged_offset",
        "control.value",
        _ANSWERS,
    ),
    Fault("answers/trend/usual.py", "months = span / SLOPE_DAYS", "months = span / 33", _ANSWERS),
    Fault("answers/trend/usual.py", "tail=found.tail", "tail=found.tail / 2", _ANSWERS),
    Fault("answers/trend/usual.py", 'np.timedelta64(28, "D")', 'np.timedelta64(31, "D")', _ANSWERS),
    Fault(
        "answers/trend/drugs.py",
        "with_scaled_tau(trend, 0.5)",
        "with_scaled_tau(trend, 0.55)",
        _ANSWERS,
    ),
    # Visits.
    Fault(
        "visits/urgency.py",
        'high < urgent_number("severe")',
        'high <= urgent_number("severe")',
        _URGENCY,
    ),
    Fault(
        "visits/urgency.py",
        'low < urgent_number("low")',
        'low < 0.9 * urgent_number("low")',
        _URGENCY,
    ),
    Fault(
        "visits/urgency.py",
        'below(floor) >= urgent_number("low_likely")',
        'below(floor) >= 1.1 * urgent_number("low_likely")',
        _URGENCY,
    ),
    Fault(
        "visits/urgency.py",
        'reaction.age_days <= urgent_number("reaction_days")',
        'reaction.age_days <= 1.1 * urgent_number("reaction_days")',
        _URGENCY,
    ),
    Fault(
        "visits/labs/events.py",
        'number_of("kidney.acute.soon") / 24',
        'number_of("kidney.acute.soon") / 12',
        _KIDNEY,
    ),
    Fault(
        "visits/labs/events.py",
        'if age > number_of("project.kidney.missing")',
        'if age > 1.1 * number_of("project.kidney.missing")',
        _KIDNEY,
    ),
    Fault(
        "visits/labs/kidney_reaction.py",
        "if response.low <= gap <= response.high:",
        "if response.low <= gap < response.high:",
        _KIDNEY,
    ),
    Fault(
        "visits/series_columns.py",
        'isin(texts, ("clinic", "calmed"))',
        'isin(texts, ("clinic",))',
        ("visits/test_series.py",),
    ),
)


def tree() -> Path:
    """Return a folder with a copy of the package and the tests beside it."""
    folder = Path(tempfile.mkdtemp(prefix="faults-"))
    shutil.copytree(ROOT / "bpvet", folder / "bpvet", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("tests", "reference_checks", "pyproject.toml"):
        (folder / name).symlink_to(ROOT / name)
    return folder


def failed(folder: Path, tests: tuple[str, ...]) -> bool:
    """Run tests in a process of their own; return whether any fails."""
    child = os.fork()
    if child == 0:
        status = 99
        try:
            status = _tested(folder, tests)
        except BaseException:
            (folder / "error.txt").write_text(traceback.format_exc(), encoding="utf-8")
        finally:
            # Never back into the caller's clearing up.
            os._exit(status)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    if status not in (0, 1):
        error = folder / "error.txt"
        told = error.read_text(encoding="utf-8") if error.exists() else f"status {status}"
        raise RuntimeError(f"the tests {', '.join(tests)} did not run: {told}")
    return status == 1


def _tested(folder: Path, tests: tuple[str, ...]) -> int:
    """Run tests of the copy in this process, silently; return pytest's status."""
    os.chdir(folder)
    sys.path.insert(0, str(folder))
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    # What is heavy was imported before the fork; bpvet comes from the copy.
    import pytest

    import bpvet

    if not Path(str(bpvet.__file__)).is_relative_to(folder):
        return 98
    files = [f"tests/{name}" for name in tests]
    options = ["-x", "-q", "-p", "no:cacheprovider", "--rootdir", str(folder)]
    return min(int(pytest.main([*options, *files])), 90)


def check(only: str, *, baseline: bool) -> int:
    """Try every fault; print and count those that no test saw."""
    sys.dont_write_bytecode = True
    import matplotlib  # noqa: F401
    import pandas  # noqa: F401
    import pytest  # noqa: F401
    import scipy.optimize
    import scipy.stats  # noqa: F401

    folder, missed = tree(), 0
    try:
        chosen = [one for one in FAULTS if only in f"{one.file} {one.becomes}"]
        for tests in dict.fromkeys(one.tests for one in chosen) if baseline else ():
            if failed(folder, tests):
                print(f"without any fault: {', '.join(tests)} fail")
                return 1
        for fault in chosen:
            began, path = time.monotonic(), folder / "bpvet" / fault.file
            text = path.read_text(encoding="utf-8")
            if text.count(fault.was) != 1:
                raise RuntimeError(
                    f"{fault.file}: “{fault.was}” stands {text.count(fault.was)} times"
                )
            path.write_text(text.replace(fault.was, fault.becomes), encoding="utf-8")
            seen = failed(folder, fault.tests)
            path.write_text(text, encoding="utf-8")
            missed += not seen
            took = time.monotonic() - began
            becomes = fault.becomes.replace("\n", " ")
            print(
                f"{'caught' if seen else 'MISSED':8}{fault.file:28}{becomes}  ({took:.0f} s)",
                flush=True,
            )
    finally:
        shutil.rmtree(folder)
    print(f"{missed} of {len(chosen)} not caught")
    return int(missed > 0)


def main() -> int:
    """Try the faults, or those whose file or new expression holds a word."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", help="a word of the file or the new expression")
    parser.add_argument("--baseline", action="store_true", help="the tests without a fault first")
    options = parser.parse_args()
    return check(options.only, baseline=options.baseline)


if __name__ == "__main__":
    sys.exit(main())
