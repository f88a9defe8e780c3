"""Print the worst difference to the outside programs beside each tolerance.

Run from the project's root: ``python -m reference_checks.mixed.check``.
"""

from __future__ import annotations

import sys

from bpvet.printing import ShortTable
from reference_checks.mixed import answers
from reference_checks.mixed.compare import TOLERANCE, all_fits, differences, other_answers


def main() -> int:
    """Return 0 where every difference is within its tolerance."""
    found = [d for each in all_fits() for d in differences(*each)]
    found += other_answers() + answers.differences()
    rows = []
    for what, tolerance in TOLERANCE.items():
        mine = [d for d in found if d.what == what]
        worst = max(mine, key=lambda d: d.size)
        rows.append(
            (
                what,
                str(len(mine)),
                f"{worst.size:.1e}",
                f"{tolerance:.0e}",
                "met" if worst.size <= tolerance else "NOT MET",
                f"{worst.case}: {worst.which}",
            )
        )
    head = ("number", "compared", "worst difference", "tolerance", "", "where")
    print(ShortTable("Cohort fits beside R", head, tuple(rows)).text())
    return int(any(d.size > d.tolerance for d in found))


if __name__ == "__main__":
    sys.exit(main())
