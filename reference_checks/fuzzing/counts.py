"""What a run counted, and the counts of several processes added up."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path


@dataclass
class Counts:
    """What was tried and what broke; it grows while a run goes on.

    Parameters
    ----------
    tried : Counter
        Inputs by what was done with them.
    broken : int
        Inputs that broke something.
    ended : bool
        Whether the run came to its end.
    """

    tried: Counter[str] = field(default_factory=Counter)
    broken: int = 0
    ended: bool = False

    @property
    def inputs(self) -> int:
        """All inputs that were tried."""
        return self.tried.total()

    def in_words(self) -> str:
        """Return the counts as text, the most frequent first."""
        each = ", ".join(f"{name} {many}" for name, many in self.tried.most_common())
        return f"{self.inputs} inputs, {self.broken} broken ({each})"

    def save(self, place: Path | None) -> None:
        """Write the counts as JSON for the process that adds them up."""
        if place:
            held = {"tried": self.tried, "broken": self.broken, "ended": self.ended}
            place.write_text(json.dumps(held), encoding="utf-8")

    def add(self, place: Path) -> None:
        """Add what another process wrote; one that wrote nothing did not come to its end."""
        held = json.loads(place.read_text(encoding="utf-8")) if place.exists() else {}
        self.tried.update(held.get("tried", {}))
        self.broken += held.get("broken", 0)
        self.ended = self.ended and held.get("ended", False)


def in_processes(script: str, each: Sequence[Sequence[str]]) -> Counts:
    """Run a script once for every list of arguments, side by side, and add up what they counted.

    Parameters
    ----------
    script : str
        A script that takes ``--counts FILE`` and saves its counts there.
    each : sequence of sequences of str
        The arguments of each process.
    """
    total = Counts(ended=True)
    with tempfile.TemporaryDirectory(prefix="counts-") as spare:
        places = [Path(spare) / f"{job}.json" for job in range(len(each))]
        working = [
            subprocess.Popen([sys.executable, script, *given, "--counts", str(place)])
            for given, place in zip(each, places, strict=True)
        ]
        for process, place in zip(working, places, strict=True):
            process.wait()
            total.add(place)
    return total
