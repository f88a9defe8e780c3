"""From frozen answers to plain JSON values: no NaN, ISO dates, tuples as lists."""

from __future__ import annotations

import math
from enum import Enum
from typing import Any

import numpy as np

from bpvet.frozen import field_names, is_dataclass
from bpvet.maths.estimate import Estimate
from bpvet.records.findings import Finding

#: Metadata of a field that is for the program, and is not printed.
NOT_PRINTED = {"printed": False}


def plain(value: Any) -> Any:
    """Return `value` as JSON values.

    Dataclasses become objects, mappings and sequences are followed, NaN, infinity and NaT
    become null, numpy scalars plain numbers, dates ISO text.

    Examples
    --------
    >>> plain((1.5, float("nan"), np.datetime64("2026-03-01")))
    [1.5, None, '2026-03-01']
    """
    if isinstance(value, Estimate | Finding):
        return plain(value.to_dict())
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in field_names(value, "printed")}
    if isinstance(value, dict):
        return {str(key): plain(member) for key, member in value.items()}
    if isinstance(value, list | tuple):
        return [plain(member) for member in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else str(value.astype("datetime64[D]"))
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value
