"""From answers held against the truth to one line an answer, with Monte-Carlo standard errors."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from reference_checks.coverage.animals import (
    Array,
)
from reference_checks.coverage.measure import ANSWERS, LEVELS, Held

#: Where 95 % intervals must cover in the own world.
LEAST, MOST = 0.94, 0.96


@dataclass(frozen=True)
class Measured:
    """A figure with its Monte-Carlo standard error."""

    value: float
    se: float


@dataclass(frozen=True)
class Line:
    """One answer in one world.

    Parameters
    ----------
    answer : str
        One of `ANSWERS`.
    animals : int
        Animals that have this answer.
    cover : tuple of Measured
        Share of the intervals of each of `LEVELS` that hold the truth.
    bias, rmse : Measured
        Of the posterior mean, mmHg (slope: per 30 days).
    width : Measured
        Mean length of the 95 % interval, in the same unit.
    """

    answer: str
    animals: int
    cover: tuple[Measured, ...]
    bias: Measured
    rmse: Measured
    width: Measured

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> Line:
        """Return the line that `asdict` made plain."""
        cover = tuple(Measured(**one) for one in plain["cover"])
        parts = {name: Measured(**plain[name]) for name in ("bias", "rmse", "width")}
        return cls(answer=plain["answer"], animals=plain["animals"], cover=cover, **parts)

    def plain(self) -> dict[str, Any]:
        """Return it as numbers and words for a file."""
        return asdict(self)


def lines(blocks: Sequence[Held]) -> list[Line]:
    """Return one line an answer over all animals of a world."""
    below, error, width = (
        np.concatenate([getattr(block, name) for block in blocks])
        for name in ("below", "error", "width")
    )
    return [
        _line(answer, *(_known(part[:, i]) for part in (below, error, width)))
        for i, answer in enumerate(ANSWERS)
    ]


def _line(answer: str, below: Array, error: Array, width: Array) -> Line:
    root = np.sqrt(error.size)
    cover = []
    for level in LEVELS:
        share = float(np.mean(np.abs(below - 0.5) < level / 2))
        # At its nominal value the error of a share is known; an observed 0 or 1 has none.
        at = min(max(share, 0.5 / error.size), 1 - 0.5 / error.size)
        cover.append(Measured(share, float(np.sqrt(at * (1 - at)) / root)))
    rmse = float(np.sqrt(np.mean(error**2)))
    return Line(
        answer=answer,
        animals=error.size,
        cover=tuple(cover),
        bias=Measured(float(error.mean()), float(error.std() / root)),
        rmse=Measured(rmse, float((error**2).std() / root / (2 * rmse))),
        width=_mean(width),
    )


def _known(values: Array) -> Array:
    return values[~np.isnan(values)]


def _mean(values: Array) -> Measured:
    if values.size == 0:
        return Measured(float("nan"), float("nan"))
    return Measured(float(values.mean()), float(values.std() / np.sqrt(values.size)))


def shortfalls(world: str, of: Sequence[Line]) -> Iterator[str]:
    """Yield a sentence for each answer whose 95 % intervals cover less than 94 %."""
    for line in of:
        share = line.cover[-1]
        if share.value < LEAST:
            yield (
                f"{world}: {line.answer}, {100 * share.value:.1f} ± {100 * share.se:.1f} %, "
                f"bias {line.bias.value:+.1f}."
            )


def text_table(of: Sequence[Line]) -> str:
    """Return the lines of a world as text, Monte-Carlo errors after ±."""
    head = "".join(f"{f'{100 * level:.0f} % covers':>15}" for level in LEVELS)
    rows = [f"  {'':15}{'animals':>8}{head}{'bias':>14}{'RMSE':>14}{'95 % width':>15}"]
    for line in of:
        cover = "".join(f"{_percent(one):>15}" for one in line.cover)
        parts = f"{_plain(line.bias, '+'):>14}{_plain(line.rmse):>14}{_plain(line.width):>15}"
        rows.append(f"  {line.answer:15}{line.animals:8d}{cover}{parts}")
    return "\n".join(rows)


def markdown_tables(worlds: Sequence[tuple[str, Sequence[Line]]]) -> str:
    """Return one Markdown table an answer, a row a world."""
    parts = []
    for i, answer in enumerate(ANSWERS):
        unit = "mmHg per 30 days" if answer == "slope" else "mmHg"
        head = " | ".join(f"{100 * level:.0f} % covers" for level in LEVELS)
        rows = [f"| world | animals | {head} | bias | RMSE | 95 % width |", "|---" * 8 + "|"]
        for words, of in worlds:
            line = of[i]
            cover = " | ".join(_percent(one) for one in line.cover)
            rest = " | ".join(
                (_plain(line.bias, "+"), _plain(line.rmse), _plain(line.width)),
            )
            rows.append(f"| {words} | {line.animals} | {cover} | {rest} |")
        parts.append(f"## {answer[0].upper()}{answer[1:]} ({unit})\n\n" + "\n".join(rows))
    return "\n\n".join(parts)


def _percent(share: Measured) -> str:
    return f"{100 * share.value:.1f} ± {100 * share.se:.1f}"


def _plain(figure: Measured, sign: str = "") -> str:
    if np.isnan(figure.value):
        return "–"
    digits = 2 if figure.se < 0.1 else 1
    return f"{figure.value:{sign}.{digits}f} ± {figure.se:.{digits}f}"
