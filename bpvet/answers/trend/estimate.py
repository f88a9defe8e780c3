"""An estimate with its interval, from a distribution."""

from __future__ import annotations

from dataclasses import dataclass

from bpvet.equality import Content
from bpvet.maths.mixture import Mixture

Number = float | None


@dataclass(frozen=True, eq=False)
class Estimate(Content):
    """An estimate with its interval at the answer's level, and its SD (None on a log scale)."""

    estimate: float
    lower: float
    upper: float
    sd: Number

    @classmethod
    def of(cls, mixture: Mixture, level: float) -> Estimate:
        """Return the mean, central interval and SD of one distribution."""
        lower, upper = mixture.interval(level)
        sd = float(mixture.sd) if mixture.scale == "plain" else None
        return cls(float(mixture.mean), float(lower), float(upper), sd)
