"""Arrays of a frozen picture: read-only copies of what was given, of a stated kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np


def freeze(picture: object, kinds: Mapping[str, Any]) -> set[tuple[int, ...]]:
    """Put read-only copies of the named arrays in their place, and return their shapes.

    Parameters
    ----------
    picture : object
        A frozen dataclass, on its way to be made.
    kinds : mapping of str to dtype
    """
    for name, kind in kinds.items():
        array = np.array(getattr(picture, name), dtype=kind)
        array.setflags(write=False)
        object.__setattr__(picture, name, array)
    return {getattr(picture, name).shape for name in kinds}
