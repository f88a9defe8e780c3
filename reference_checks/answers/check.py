"""Every answer of a trend against a slow twin that shares nothing with bpvet but numpy.

    python reference_checks/answers/check.py

asks bpvet for its answers about drawn records, as ``bpvet trend --json`` gives them, and prints
the worst difference of each kind from the twin's (`dense.py`, `twin.py`, `windows.py`: written
from the definitions alone) beside its tolerance; words and windows must be equal. The twin's
answers are kept in `pinned.json`; a few are made anew. `--make` writes that file (minutes).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

import bpvet
from bpvet.models.safety.recheck import Standing, recheck
from bpvet.visits.urgency import Urgent
from reference_checks.answers.drawn import DAY_0, GUIDELINES, Drawn, draw
from reference_checks.answers.twin import told
from reference_checks.answers.windows import window

HERE = Path(__file__).parent
ANIMALS = 48
#: Those of which the twin is asked anew by the check.
AGAIN = (5, 22)
STANDINGS = 4_000
_DAY = np.timedelta64(1, "D")

# What it is of, the difference (or an unequal word: infinite), and its tolerance.
Difference = tuple[str, float, float]

_NO_FALL = ("so far no fall", "fall unlikely")


def pinned() -> list[dict[str, Any]]:
    """Return the answers of the twin, one animal after another."""
    return json.loads((HERE / "pinned.json").read_text(encoding="utf-8"))


def plain(number: int) -> dict[str, Any]:
    """Return the answers of the twin about one animal as numbers and words for a file."""
    held = told(draw(number))
    found = held.window
    return {
        "animal": draw(number).key,
        "values": {
            name: [one.mean, one.sd, one.quantile(0.025), one.quantile(0.975)]
            for name, one in held.values.items()
        },
        "numbers": held.numbers,
        "words": {
            name: str(said) if isinstance(said, np.datetime64) else said
            for name, said in held.words.items()
        },
        "window": [found.state, _day(found.earliest), _day(found.latest)],
    }


def _day(date: Any) -> str | None:
    return None if date is None else str(date)


def differences(drawn: Drawn, held: dict[str, Any]) -> Iterator[Difference]:
    """Yield every difference between the answers of bpvet and of the twin."""
    trend = bpvet.fit_trend(drawn.records(), "one", bridge=_bridges(drawn))
    answer = trend.answer(guideline=drawn.guideline)
    yield from _estimates(answer, held["values"])
    for name, mine in _numbers(answer):
        theirs = held["numbers"].get(name)
        if theirs is None and mine is None:
            continue
        off = float("inf") if mine is None or theirs is None else mine - theirs
        yield f"probability: {_kind(name)}", off, 0.001
    for name, said in _words(answer, drawn):
        mine = str(said) if isinstance(said, np.datetime64) else said
        yield f"words: {_kind(name)}", _unequal(mine, held["words"].get(name)), 0.0
    again = answer.recheck
    mine = [again.state, _day(again.earliest), _day(again.latest)]
    for what, ours, theirs in zip(
        ("state", "earliest", "latest"), mine, held["window"], strict=True
    ):
        yield f"window: {what}", _unequal(ours, theirs), 0.0


def _kind(name: str) -> str:
    """Return the name of an answer without its number."""
    words = [word for word in name.split() if not word.isdigit()]
    return " ".join(words)


def _bridges(drawn: Drawn) -> tuple[str, ...]:
    return ("methods", "conditions") if drawn.animal.joins else ()


def _unequal(mine: Any, theirs: Any) -> float:
    return 0.0 if mine == theirs else float("inf")


def _estimates(answer: Any, held: dict[str, list[float]]) -> Iterator[Difference]:
    """Yield the differences of means and ends: 0.001 SD, and 0.02 mmHg or 0.002 SD."""
    found = {
        "latest": answer.latest,
        "next session": answer.next_session,
        "slope": answer.slope,
        "expected": answer.surprise,
    }
    for i, one in enumerate(answer.treatments, start=1):
        found |= {
            f"spell {i} full": one.effect,
            f"spell {i} now": one.effect_now,
            f"spell {i} at half tau": one.effect_at_half_tau,
            f"spell {i} at double tau": one.effect_at_double_tau,
        }
    for name, (mean, sd, lower, upper) in held.items():
        mine, kind = found.get(name), _kind(name)
        if mine is None:
            yield f"mean, in SDs: {kind}", float("inf"), 0.001
            continue
        yield f"mean, in SDs: {kind}", (_middle(mine) - mean) / sd, 0.001
        for ours, theirs in ((mine.lower, lower), (mine.upper, upper)):
            off = (ours - theirs) / max(0.02, 0.002 * sd)
            yield f"ends, of max(0.02, 0.002 SD): {kind}", off, 1.0


def _middle(mine: Any) -> float:
    for name in ("estimate", "expected", "per_30_days", "mean"):
        if hasattr(mine, name):
            return float(getattr(mine, name))
    raise AssertionError(f"{type(mine).__name__} has no middle")


def _numbers(answer: Any) -> Iterator[tuple[str, float | None]]:
    yield "p_at_or_below", answer.target.p_at_or_below
    yield "p_below_floor", answer.target.p_below_floor
    yield "p_rising", answer.slope.p_rising
    yield "p_rising_by_1", answer.slope.p_rising_by_1
    yield "tail", answer.surprise.tail
    yield "share expected", answer.share_at_target.expected
    yield "share interpolated", answer.share_at_target.interpolated
    shares = answer.category.probability or {}
    for i in range(4):
        yield f"category {i}", list(shares.values())[i] if shares else None
    for i, one in enumerate(answer.treatments, start=1):
        yield f"spell {i} p_lower_by_10", one.p_lower_by_10


def _words(answer: Any, drawn: Drawn) -> Iterator[tuple[str, Any]]:
    yield "urgent", [one.rule for one in answer.urgent]
    yield "target value", answer.target.value
    yield "target kind", answer.target.kind
    yield "target", answer.target.verdict
    slope = answer.slope.verdict
    plain = {"rise unlikely": "unlikely", "cannot tell yet": "not settled"}
    yield "slope", plain.get(slope, slope)
    if len(drawn.animal.sessions) > 1:
        yield "surprise", answer.surprise.words
    yield "next session on", answer.next_session.date
    for i, one in enumerate(answer.treatments, start=1):
        yield f"spell {i} finished", one.finished
        verdict = one.verdict
        if verdict is not None and verdict.startswith(_NO_FALL):
            verdict = "no fall"
        yield f"spell {i} verdict", {"cannot tell yet": "not settled"}.get(verdict, verdict)


def standing_of(number: int) -> Standing:
    """Return a standing of chance, with values about every bound."""
    rng = np.random.default_rng([20264, number])

    def some(*values: Any) -> Any:
        return values[int(rng.integers(len(values)))]

    latest = DAY_0 + int(rng.integers(0, 300)) * _DAY
    as_of = latest + int(rng.integers(0, 300)) * _DAY
    p = np.sort(
        rng.choice([0.0, 0.05, 0.0999, 0.1, 0.24, 0.25, 0.49, 0.5, 0.74, 0.75, 0.9, 1.0], 4)
    )
    high = float(some(95.0, 99.9, 100.0, 119.9, 120.0, 141.0, 159.9, 160.0, 161.0, 179.9, 180.0))
    names = some(
        (),
        (),
        (),
        ("low_on_treatment",),
        ("severe",),
        ("sign_unread",),
        ("low",),
        ("sign_current",),
        ("acute_kidney", "severe"),
        ("kidney_reaction",),
        ("potassium",),
        ("low_on_treatment", "sign_unread"),
    )
    lines = tuple(
        Urgent(rule, "why", day, int((as_of - day) / _DAY))
        for rule in names
        for day in [as_of - int(rng.integers(0, 120)) * _DAY]
    )
    treated = bool(rng.random() < 0.6)
    known = bool(rng.random() < 0.9)

    def day_or_none() -> np.datetime64 | None:
        return as_of - int(rng.integers(0, 200)) * _DAY if rng.random() < 0.2 else None

    values: dict[str, Any] = {
        "as_of": as_of,
        "latest": latest if known else None,
        "left": bool(rng.random() < 0.03),
        "species": some("cat", "cat", "dog", ""),
        "written": "rabbit" if rng.random() < 0.04 else "",
        "age_years": some(None, 0.5, 2.9, 3.0, 6.9, 7.0, 10.9, 11.0, 15.0),
        "judged": bool(rng.random() < 0.85),
        "treated": treated,
        "on_drug": treated or bool(rng.random() < 0.1),
        "p_target": float(1 - p[2]) if known else None,
        "p_160": float(p[2]) if known else None,
        "p_raised": float(p[3]) if known else None,
        "p_180": float(p[0]) if known else None,
        "p_below_floor": float(some(0.0, 0.49, 0.5, 0.9)) if known else None,
        "upper_tail": some(None, 0.0, 0.049, 0.05, 0.5),
        "lower_tail": some(None, 0.0, 0.049, 0.05, 0.5),
        "highest": high if known else None,
        "lowest": high if known else None,
        "target": some(160.0, 160.0, 145.0),
        "raised": some(140.0, 150.0),
        "floor": some(120.0, 110.0),
        "urgent": lines,
        "sign_open_on": day_or_none(),
        "changed_on": day_or_none(),
        "stopped_on": day_or_none(),
        "above_days": 100,
        "below_floor_before": bool(rng.random() < 0.5),
        "at_risk": some((), (), ("kidney stage 3",)),
        "risks": some((), (), ("kidney disease",)),
        "away": bool(rng.random() < 0.2),
        "kidneys_unknown": bool(rng.random() < 0.5),
    }
    for part in fields(Standing):
        values.setdefault(part.name, int(rng.integers(0, 6)))
    return Standing(**values)


def window_differences(standings: int = STANDINGS) -> Iterator[Difference]:
    """Yield where the two tables of windows part, over standings of chance."""
    for number in range(standings):
        held, guideline = standing_of(number), GUIDELINES[number % len(GUIDELINES)]
        mine, theirs = recheck(held, guideline), window(held, guideline)
        if mine is None or theirs is None:
            yield "table: a window", _unequal(mine, theirs), 0.0
            continue
        yield "table: state", _unequal(mine.row.state, theirs.state), 0.0
        yield "table: latest", _unequal(mine.latest, theirs.latest), 0.0
        earliest = None if np.isnat(mine.earliest) else mine.earliest
        yield "table: earliest", _unequal(earliest, theirs.earliest), 0.0


def again(held: list[dict[str, Any]]) -> Iterator[Difference]:
    """Yield what a twin asked anew says otherwise than the file."""
    for number in AGAIN:
        made, kept = plain(number), held[number]
        for name, values in made["values"].items():
            for mine, theirs in zip(values, kept["values"][name], strict=True):
                yield "the twin anew", mine - theirs, 1e-6
        for part in ("words", "window"):
            yield "the twin anew", _unequal(made[part], kept[part]), 1e-6


def main() -> int:
    """Print the worst difference of each kind; return 1 where one is beyond its tolerance."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--make", action="store_true", help="write the twin's answers anew")
    if parser.parse_args().make:
        made = ",\n".join(json.dumps(plain(number)) for number in range(ANIMALS))
        (HERE / "pinned.json").write_text(f"[\n{made}\n]\n", encoding="utf-8")
    worst: dict[str, tuple[float, float, int]] = {}

    def note(of: str, found: Iterator[Difference]) -> None:
        for what, difference, tolerance in found:
            size = abs(float(difference))
            before, _, seen = worst.get(what, (-1.0, 0.0, 0))
            if size > tolerance:
                print(f"  BEYOND {of}: {what}: {difference:.3g}", flush=True)
            worst[what] = (max(size, before), tolerance, seen + 1)

    held = pinned()
    note("windows", window_differences())
    note("twin", again(held))
    for number, one in enumerate(held):
        drawn = draw(number)
        note(drawn.key, differences(drawn, one))
    failed = False
    for what, (size, tolerance, seen) in sorted(worst.items()):
        failed |= size > tolerance
        verdict = "ok" if size <= tolerance else "BEYOND"
        print(f"{what:50s}{seen:6d}, worst {size:9.2e}, tolerance {tolerance:g}  {verdict}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
