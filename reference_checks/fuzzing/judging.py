"""What must hold of what was printed or written, whatever the input was."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from reference_checks.fuzzing.acting import acting
from reference_checks.fuzzing.watch import Broken, Said

#: First letters that a spreadsheet takes for a formula, and what it may pass over before them.
FORMULA = tuple("=+-@\uff1d\uff0b\uff0d\uff20")
_PASSED_OVER = " \t\r\n\u00a0\u3000"
#: What becomes of a reading.
PARTS = ("used", "left_out", "excluded", "set_aside")


def adds_up(counted: Mapping[str, int] | None) -> None:
    """Raise `Broken` if a reading that went in came out nowhere, or twice."""
    if counted is not None and counted["in"] != sum(counted[part] for part in PARTS):
        raise Broken(f"readings do not add up: {counted}")


def no_formula(table: Path) -> None:
    """Raise `Broken` if a cell of a CSV would be a formula in a spreadsheet."""
    with table.open(newline="", encoding="utf-8") as file:
        for row in csv.reader(file):
            # Where another separator is taken, what stands after it begins a cell too.
            parts = [part.lstrip(_PASSED_OVER) for cell in row for part in cell.split(";")]
            if any(part.startswith(FORMULA) and not _is_number(part) for part in parts):
                raise Broken(f"a formula was written: {row}")


def nothing_acts(page: Path) -> None:
    """Raise `Broken` if anything on a page could act."""
    found = acting(page.read_text(encoding="utf-8"))
    if found:
        raise Broken(f"on the page {page.name}: {found[:5]}")


def plain_json(said: Said) -> Any:
    """Return the JSON that was printed; raise `Broken` if it is none that everybody reads."""

    def refuse(name: str) -> float:
        raise Broken(f"{name} stands in the JSON")

    try:
        held = json.loads(said.out, parse_constant=refuse)
    except json.JSONDecodeError as error:
        raise Broken(f"it printed no JSON: {error}") from error
    _no_infinity(held)
    if isinstance(held, dict) and isinstance(held.get("readings"), dict):
        adds_up(held["readings"])
    return held


def _no_infinity(held: Any) -> None:
    if isinstance(held, dict):
        held = list(held.values())
    if isinstance(held, list):
        for one in held:
            _no_infinity(one)
    elif isinstance(held, float) and not math.isfinite(held):
        raise Broken("a number of the JSON is infinite")


def _is_number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False
