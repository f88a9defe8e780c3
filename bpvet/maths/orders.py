"""The exact law of Kendall's S: how many orders of the values give each S, ties included."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bpvet.maths.estimates import Array, pair

#: The exact distribution of S is counted up to this many sessions …
EXACT_SESSIONS = 50
#: … while the count handles at most this many bits, which only many ties on both sides exceed
#: (never with up to 14 sessions).
EXACT_BITS = 120_000_000


def orders_by_s(x: ArrayLike, y: ArrayLike) -> dict[int, int] | None:
    """Return how many of the n! orders of y give each value of S, by increasing S.

    Parameters
    ----------
    x, y : (n,) float
        Days and session means, in any order.

    Returns
    -------
    dict of int to int, or None
        None where the count would be too long (`EXACT_SESSIONS`, `EXACT_BITS`). It is made
        from whichever side takes fewer steps.

    Examples
    --------
    >>> orders_by_s([1, 2, 3], [5, 6, 7])
    {-3: 1, -1: 2, 1: 2, 3: 1}
    """
    t, v = pair(x, y)
    if t.size > EXACT_SESSIONS:
        return None
    sides = [(_blocks(a), group_sizes(b).tolist()) for a, b in ((t, v), (v, t))]
    steps, k = min((_steps(*side), k) for k, side in enumerate(sides))
    blocks, groups = sides[k]
    count = _Count(blocks, t.size)
    if steps * count.pairs * count.width > EXACT_BITS:
        return None
    return count.law(groups)


def group_sizes(v: Array) -> NDArray[np.int64]:
    """Return how often each value of `v` (n,) occurs, from the smallest value."""
    return np.asarray(np.unique(v, return_counts=True)[1], dtype=np.int64)


def _blocks(v: Array) -> list[tuple[int, bool]]:
    """Sizes along the sorted `v`: tie groups (True), and runs of single values (False)."""
    blocks: list[tuple[int, bool]] = []
    for size in group_sizes(v).tolist():
        if size == 1 and blocks and not blocks[-1][1]:
            blocks[-1] = (blocks[-1][0] + 1, False)
        else:
            blocks.append((size, size > 1))
    return blocks


def _steps(blocks: list[tuple[int, bool]], groups: list[int]) -> int:
    """Steps that `_Count.law` takes: ways to add a group to a state, over all its states."""
    n = sum(groups)
    # ways[F, R]: states with F places filled and additions of R values that fit into them.
    ways = np.zeros((n + 1, n + 1))
    ways[0, 0] = 1
    for size, _ in blocks:
        longer = np.zeros_like(ways)
        for f in range(size + 1):
            for r in range(size + 1 - f):
                longer[f:, r:] += ways[: n + 1 - f, : n + 1 - r]
        ways = longer
    filled = np.cumsum([0, *groups])[:-1]
    return int(ways[filled, groups].sum()) if groups else 0


class _Count:
    """Counts orders by S, laying down the values of y from the smallest, one tie group a step.

    A state is how many places of each block of x are filled. A polynomial in q carries the
    counts, and each pair adds to its exponent 0 (falling), 1 (tied) or 2 (rising). Putting r
    equal values into a run that has f filled places contributes the Gaussian binomial
    coefficient of f + r over r in q²; into a tie group of x, an ordinary one.

    Polynomials are packed into one integer each, `width` bits a coefficient, so that the
    integer product is the polynomial product.
    """

    def __init__(self, blocks: list[tuple[int, bool]], n: int) -> None:
        self.blocks = blocks
        self.n = n
        self.pairs = n * (n - 1) // 2
        self.width = 8 * (math.factorial(n).bit_length() // 8 + 1)
        self._gauss: dict[tuple[int, int], int] = {}

    def law(self, groups: list[int]) -> dict[int, int]:
        """Orders by S, for the sizes of the tie groups of y from the smallest value."""
        states = {(0,) * len(self.blocks): 1}
        for size in groups:
            new: dict[tuple[int, ...], int] = {}
            for filled, counts in states.items():
                room = [block[0] - f for block, f in zip(self.blocks, filled, strict=True)]
                for put in _shares(size, room):
                    after = tuple(f + r for f, r in zip(filled, put, strict=True))
                    new[after] = new.get(after, 0) + self._placed(counts, filled, put, size)
            states = new
        (packed,) = states.values()
        return self._unpacked(packed, groups)

    def _placed(self, counts: int, filled: tuple[int, ...], put: tuple[int, ...], size: int) -> int:
        """`counts` after `put` equal values went into blocks `filled` with smaller ones."""
        exponent = size * (size - 1) // 2
        below = 0
        for (_, tied), f, r in zip(self.blocks, filled, put, strict=True):
            exponent += r * (2 * below + (f if tied else 0))
            below += f
            counts *= math.comb(f + r, r) if tied else self._gaussian(f + r, r)
        return counts << (exponent * self.width)

    def _gaussian(self, m: int, r: int) -> int:
        """Gaussian binomial coefficient in q², by its Pascal rule."""
        if r in (0, m):
            return 1
        if (m, r) not in self._gauss:
            shifted = self._gaussian(m - 1, r) << (2 * r * self.width)
            self._gauss[m, r] = self._gaussian(m - 1, r - 1) + shifted
        return self._gauss[m, r]

    def _unpacked(self, packed: int, groups: list[int]) -> dict[int, int]:
        # Equal values were laid down as one: each pattern stands for so many orders of y.
        orders = math.prod(math.factorial(g) for g in groups)
        size = self.width // 8
        data = packed.to_bytes((2 * self.pairs + 1) * size, "little")
        law: dict[int, int] = {}
        for exponent in range(2 * self.pairs + 1):
            count = int.from_bytes(data[exponent * size : (exponent + 1) * size], "little")
            if count:
                law[exponent - self.pairs] = count * orders
        return law


def _shares(total: int, room: list[int]) -> Iterator[tuple[int, ...]]:
    """Every way of sharing `total` among places with at most `room` each."""
    if len(room) == 1:
        if total <= room[0]:
            yield (total,)
        return
    least = max(0, total - sum(room[1:]))
    for first in range(least, min(total, room[0]) + 1):
        for rest in _shares(total - first, room[1:]):
            yield (first, *rest)
