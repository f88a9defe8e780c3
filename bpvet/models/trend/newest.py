"""The latest usual pressure of many trends, side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from bpvet.maths.mixture import Mixture
from bpvet.maths.newest import usual_at_newest
from bpvet.models.trend.trend import Trend

#: Animals that are asked together: as few as leave their arrays where they are near.
ASKED = 32
_Item = TypeVar("_Item")


def usual_newest(trends: Sequence[Trend]) -> list[Mixture]:
    """Return the usual pressure of each trend at its latest session: `Trend.latest`."""

    def shape(i: int) -> tuple[int, ...]:
        posterior = trends[i].posterior
        batch = posterior.parts[0].batch
        return batch.sessions, batch.terms, batch.scatter_df.shape[0], posterior.weight.size

    found: dict[int, Mixture] = {}
    for some in side_by_side(range(len(trends)), shape, alike=3, together=ASKED):
        design = [trends[i].columns.newest() for i in some]
        usual = usual_at_newest([trends[i].posterior for i in some], design)
        found |= {i: trends[i].told_of(mixture) for i, mixture in zip(some, usual, strict=True)}
    return [found[i] for i in range(len(trends))]


def side_by_side(
    items: Sequence[_Item], shape: Callable[[_Item], tuple[int, ...]], alike: int, together: int
) -> Iterator[list[_Item]]:
    """Yield items in order of their shapes, those together whose first numbers are equal.

    Parameters
    ----------
    items : sequence
    shape : function
        Of an item, the numbers that it is sorted by.
    alike : int
        How many of these are equal throughout a batch.
    together : int
        Items of a batch at most.
    """
    batch: list[_Item] = []
    before: tuple[int, ...] = ()
    for key, item in sorted(((shape(item_), item_) for item_ in items), key=lambda pair: pair[0]):
        if batch and (len(batch) >= together or key[:alike] != before):
            yield batch
            batch = []
        before = key[:alike]
        batch.append(item)
    if batch:
        yield batch
