"""Loading modules at once: what is loaded makes no garbage, so none is looked for meanwhile."""

from __future__ import annotations

import gc
from contextlib import contextmanager

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def loading() -> Iterator[None]:
    """Look for no garbage within, and never among what was loaded: it stays until the end.

    Modules are many small objects, and looking through them takes a tenth of their loading. It is
    for the command line alone, whose process is its own.
    """
    looked = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if looked:
            gc.enable()
