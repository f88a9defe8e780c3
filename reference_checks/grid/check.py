"""Whatever is measured, seen and given: what is urgent comes first on every output.

    python reference_checks/grid/check.py             a small part of the grid
    python reference_checks/grid/check.py --full      every cell, in this process
    python reference_checks/grid/check.py --reports   forty whole reports, page and PDF

The grid is pressure × sign × age × drug (`cells.py`); each cell goes through answers, statements,
JSON, caption, alternative text, terminal, letter and the sum in the room, and is judged by code
(`judging.py`). Nine pressures and eight signs make 72 pairs by themselves, so forty reports hold
most pairs and not all; `--most 80` holds them all.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.grid.cells import all_cells, pairwise, some_cells
from reference_checks.grid.reports import report_faults
from reference_checks.grid.trying import tried

#: Cells of the small run.
SMALL = 16


def main() -> int:
    """Run what was asked for and return the exit status."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--full", action="store_true", help="every cell")
    asked.add_argument("--reports", action="store_true", help="whole reports, of most pairs")
    asked.add_argument("--most", type=int, default=40, help="reports at most")
    given = asked.parse_args()
    start = time.monotonic()
    if given.reports:
        cells = pairwise(list(all_cells()))[: given.most]
    else:
        cells = list(all_cells()) if given.full else some_cells(SMALL)
    wrong = 0
    for cell in cells:
        if given.reports:
            with tempfile.TemporaryDirectory() as folder:
                found = report_faults(cell, Path(folder))
        else:
            found = tried(cell)
        wrong += bool(found)
        for one in found:
            print(f"{cell}: {one}")
    spent = time.monotonic() - start
    print(f"{len(cells)} cells, {wrong} with a fault; {spent:.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
