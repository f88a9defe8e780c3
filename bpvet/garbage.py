"""Letting garbage wait while many small objects are made. Standard library only."""

from __future__ import annotations

import gc
from contextlib import contextmanager

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def garbage_waits() -> Iterator[None]:
    """Look for no garbage within, or within a function that it decorates.

    What a clinic's trends and windows are made of stays until all are done, and holds no circles:
    the collector would walk it again and again, a tenth to a fifth of the time, and free nothing.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
