"""Groups of treated animals: a mixture prior where one normal distribution cannot serve.

One normal prior cannot both undo regression to the mean at 165 mmHg and leave 202 alone. Usual
animals, high ones whose drug does little, and high ones that end near 150 under the drug are
groups of their own, each with its weight. Weights and SDs are judgements (J), tuned on arms
shaped like the published trials (``reference_checks/trials``); pressures of 152 to 160 under
amlodipine whatever the start, and of 121 to 134 in healthy and old cats, were read (R).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from bpvet.errors import CallError
from bpvet.frozen import dataclass

_Pair = tuple[float, float]


@dataclass(frozen=True)
class PriorGroup:
    """One group of treated animals.

    Parameters
    ----------
    weight : float
        Its share of treated animals, before any reading.
    level : (float, float)
        Centre and SD of the untreated level at the latest session, in the unit.
    effect_sd : float or None
        SD of the full effect of a first spell, centred on zero; None where `under_drug` holds.
    under_drug : (float, float) or None
        Centre and SD of the pressure under a first spell's drug, independent of the level: the
        effect is the difference.

    Raises
    ------
    CallError
        Where a number is not finite, an SD or a weight not positive, or both or neither of
        `effect_sd` and `under_drug` are given.
    """

    weight: float
    level: _Pair
    effect_sd: float | None = None
    under_drug: _Pair | None = None

    def __post_init__(self) -> None:
        if (self.effect_sd is None) == (self.under_drug is None):
            raise CallError("priors: a group has either effect_sd or under_drug.")
        positive = [self.weight, self.level[1]]
        finite = [self.level[0]]
        if self.effect_sd is not None:
            positive.append(self.effect_sd)
        if self.under_drug is not None:
            finite.append(self.under_drug[0])
            positive.append(self.under_drug[1])
        if not all(math.isfinite(value) for value in (*finite, *positive)):
            raise CallError("priors: the numbers of a group are finite.")
        if min(positive) <= 0:
            raise CallError("priors: the weight and the SDs of a group are positive.")


@dataclass(frozen=True)
class PriorGroups:
    """The groups that stand in for one `level` and `effect_sd` where an animal is treated.

    Parameters
    ----------
    parts : tuple of PriorGroup
        Their weights sum to 1.
    beside : ((float, float), float)
        The single `level` and `effect_sd` that they stand in for: priors with others have no
        groups.
    restart_sd : float
        SD of what a later spell of the same drug differs from its first one.
    added_sd : float
        SD of the effect of a spell that begins while another course is on.

    Raises
    ------
    CallError
        Where there is no group, or the weights do not sum to 1.
    """

    parts: tuple[PriorGroup, ...]
    beside: tuple[_Pair, float]
    restart_sd: float = 15.0
    added_sd: float = 25.0

    def __post_init__(self) -> None:
        if not self.parts:
            raise CallError("priors: groups hold at least one group.")
        if abs(sum(group.weight for group in self.parts) - 1) > 1e-9:
            raise CallError("priors: the weights of groups sum to 1.")
        if not (0 < self.restart_sd < math.inf and 0 < self.added_sd < math.inf):
            raise CallError("priors: restart_sd and added_sd are positive.")


def _groups(
    levels: tuple[_Pair, _Pair],
    effects: _Pair,
    under: _Pair,
    beside: tuple[_Pair, float],
    scale: float,
) -> PriorGroups:
    usual, high = levels
    parts = (
        PriorGroup(0.60, usual, effect_sd=effects[0]),
        PriorGroup(0.06, high, effect_sd=effects[1]),
        PriorGroup(0.34, high, under_drug=under),
    )
    return PriorGroups(parts, beside, restart_sd=15.0 * scale, added_sd=25.0 * scale)


#: Groups of each pressure that has them, by quantity; other quantities keep the single normal.
TREATED: Mapping[str, PriorGroups] = MappingProxyType(
    {
        "systolic": _groups(
            ((130.0, 16.0), (195.0, 50.0)), (20.0, 10.0), (150.0, 30.0), ((140.0, 35.0), 40.0), 1.0
        ),
        "diastolic": _groups(
            ((80.0, 12.0), (115.0, 30.0)), (12.0, 6.0), (92.0, 20.0), ((85.0, 25.0), 30.0), 0.6
        ),
        "mean": _groups(
            ((97.0, 14.0), (140.0, 38.0)), (15.0, 7.5), (112.0, 24.0), ((105.0, 27.0), 30.0), 0.75
        ),
    }
)
