"""What fits say of the animals of an arm, held against the truth about them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.priors.priors import Priors
from reference_checks.coverage.animals import METHOD, SPECIES, Animals, Array
from reference_checks.trials.arms import Arm
from reference_checks.trials.drawing import animals_of
from reference_checks.trials.fitting import fitted

SEED = 20261
#: Animals are drawn in blocks, so that an arm's first animals do not hang on how many follow.
BLOCK = 500
ANSWERS = ("full effect", "usual pressure", "next session")
#: Columns of `coverage.measure.ANSWERS` that these are, and those of the verdicts.
_USUAL, _NEXT, _SLOPE, _EFFECT = range(4)
#: The rules of verdicts, written down once more from the model's definition.
SURE, UNLIKELY, NO_FALL = 0.90, 0.10, 0.05
FALL, TARGET, RISE = -10.0, 160.0, 1.0
#: Each verdict: the answer it is of, the value it is about, the probabilities of lying at or
#: below that value for which it is said, and the side on which it is right.
VERDICTS: Mapping[str, tuple[int, float, tuple[float, float], str]] = {
    "has lowered": (_EFFECT, FALL, (SURE, 1.0), "below"),
    "no fall of 10 shows": (_EFFECT, FALL, (0.0, NO_FALL), "above"),
    "at or below 160": (_USUAL, TARGET, (SURE, 1.0), "below"),
    "above 160": (_USUAL, TARGET, (0.0, UNLIKELY), "above"),
    "rising": (_SLOPE, RISE, (0.0, 1 - SURE), "above"),
    "rise unlikely": (_SLOPE, RISE, (1 - UNLIKELY, 1.0), "below"),
}


@dataclass(frozen=True, eq=False)
class Held:
    """Answers of one block held against the truth; N animals.

    Parameters
    ----------
    below, error : (N, 3)
        Posterior probability below the truth, and posterior mean less truth, of `ANSWERS`; NaN
        where there is no such answer.
    said, right : (N, 6) bool
        Whether each of `VERDICTS` is said, and would be right.
    """

    below: Array
    error: Array
    said: NDArray[np.bool_]
    right: NDArray[np.bool_]


@dataclass(frozen=True)
class Figure:
    """A figure with its Monte-Carlo standard error, and the animals behind it."""

    value: float
    se: float
    n: int

    @classmethod
    def share(cls, held: NDArray[np.bool_]) -> Figure:
        """Return a share of animals; a share of 0 or 1 has an error too."""
        n = int(held.size)
        if n == 0:
            return cls(float("nan"), float("nan"), 0)
        value = float(held.mean())
        at = min(max(value, 1 / n), 1 - 1 / n)
        return cls(value, float(np.sqrt(at * (1 - at) / n)), n)


@dataclass(frozen=True)
class Row:
    """What was measured in one arm.

    Parameters
    ----------
    key : str
        The arm.
    cover, bias, rmse : mapping of str to Figure
        Of each of `ANSWERS` that there is: share of 95 % intervals that hold the truth; error of
        the posterior mean and its root mean square, mmHg.
    said, right : mapping of str to Figure
        Share of animals of which each verdict is said, and share of those of which it is true.
    """

    key: str
    cover: Mapping[str, Figure]
    bias: Mapping[str, Figure]
    rmse: Mapping[str, Figure]
    said: Mapping[str, Figure]
    right: Mapping[str, Figure]

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Row:
        """Return the row that `plain` made plain."""
        parts = {
            name: {key: Figure(**one) for key, one in of.items()}
            for name, of in plain.items()
            if name != "key"
        }
        return cls(key=plain["key"], **parts)

    def plain(self) -> dict[str, Any]:
        """Return it as numbers and words for a file."""
        return asdict(self)

    def false(self, verdict: str) -> Figure:
        """Return the share of all animals of which the verdict is said and wrong."""
        said, right = self.said[verdict], self.right[verdict]
        wrong = 0.0 if right.n == 0 else said.value * (1 - right.value)
        at = max(wrong, 1 / said.n)
        return Figure(wrong, float(np.sqrt(at * (1 - at) / said.n)), said.n)


def default_priors() -> Priors:
    """Return the priors of the fit: a cat's, by Doppler."""
    return Priors.default(SPECIES, METHOD)


def single_priors() -> Priors:
    """Return the same with one normal level and effect, also for treated animals."""
    return replace(default_priors(), groups=None)


def held(arm: Arm, block: int, animals: int, priors: Priors) -> Held:
    """Draw a block of an arm, fit every animal, and hold the answers against the truth.

    Parameters
    ----------
    arm : Arm
    block : int
        Number of the block: the same arm and number are the same animals, always.
    animals : int
        Animals in it.
    priors : Priors
        Priors of the fit.
    """
    rng = np.random.default_rng([SEED, *arm.key.encode(), block])
    return answers_of(animals_of(arm, animals, rng), priors)


def answers_of(drawn: Animals, priors: Priors) -> Held:
    """Fit every animal, and hold the answers against the truth."""
    truth = np.column_stack([drawn.usual, drawn.to_come, drawn.slope, drawn.effect])
    below, mean = np.full(truth.shape, np.nan), np.full(truth.shape, np.nan)
    verdict = np.full((len(drawn), len(VERDICTS)), np.nan)
    for rows, found in fitted(drawn, priors):
        for answer, one in enumerate(found):
            below[rows, answer] = one.below(truth[rows, answer])
            mean[rows, answer] = one.mean
        for i, (answer, value, *_) in enumerate(VERDICTS.values()):
            if answer < len(found):
                verdict[rows, i] = found[answer].below(np.full(len(rows), value))
    said, right = (np.zeros(verdict.shape, dtype=bool) for _ in range(2))
    for i, (answer, value, (low, high), side) in enumerate(VERDICTS.values()):
        with np.errstate(invalid="ignore"):
            said[:, i] = (verdict[:, i] >= low) & (verdict[:, i] <= high)
            under = truth[:, answer] <= value
        right[:, i] = under if side == "below" else ~under
    order = [_EFFECT, _USUAL, _NEXT]
    return Held(below[:, order], (mean - truth)[:, order], said, right)


def row(arm: Arm, blocks: Sequence[Held]) -> Row:
    """Return what was measured over all blocks of an arm."""
    below, error, said, right = (
        np.concatenate([getattr(block, name) for block in blocks])
        for name in ("below", "error", "said", "right")
    )
    cover, bias, rmse = {}, {}, {}
    for i, answer in enumerate(ANSWERS):
        known = ~np.isnan(error[:, i])
        if not known.any():
            continue
        off, n = error[known, i], int(known.sum())
        cover[answer] = Figure.share(np.abs(below[known, i] - 0.5) < 0.475)
        bias[answer] = Figure(float(off.mean()), float(off.std() / np.sqrt(n)), n)
        root = float(np.sqrt(np.mean(off**2)))
        rmse[answer] = Figure(root, float((off**2).std() / np.sqrt(n) / (2 * root)), n)
    names = [
        name for name, (answer, *_) in VERDICTS.items() if answer != _EFFECT or bias.get(ANSWERS[0])
    ]
    place = {name: i for i, name in enumerate(VERDICTS)}
    return Row(
        arm.key,
        cover,
        bias,
        rmse,
        {name: Figure.share(said[:, place[name]]) for name in names},
        {name: Figure.share(right[said[:, place[name]], place[name]]) for name in names},
    )


def goals(arm: Arm, found: Row) -> Iterator[tuple[str, float, float, bool]]:
    """Yield the goals of an arm: words, found, bound, and whether it is met."""
    effect = ANSWERS[0]
    if arm.key == "severe_1_2":
        bias, cover = found.bias[effect], found.cover[effect]
        yield (
            "bias of the effect within 6",
            bias.value,
            6.0,
            abs(bias.value) <= 6,
        )
        yield "cover of the effect", cover.value, 0.93, cover.value >= 0.93
    if arm.group == "null":
        bias, wrong = found.bias[effect], found.false("has lowered")
        yield (
            "bias of the effect within 4",
            bias.value,
            4.0,
            abs(bias.value) <= 4,
        )
        yield "false “has lowered”", wrong.value, 0.03, wrong.value <= 0.03
    if arm.group == "own":
        for answer, cover in found.cover.items():
            near = abs(cover.value - 0.95) <= 0.01
            yield f"cover of {answer} 94 to 96", cover.value, 0.95, near
