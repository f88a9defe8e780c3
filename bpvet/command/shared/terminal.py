"""How wide the terminal is. It loads nothing, for every help asks it."""

from __future__ import annotations

import os
import sys

_NONE = 80


def columns() -> int:
    """Return the columns of the terminal, as `shutil.get_terminal_size` tells them.

    The variable ``COLUMNS`` comes first, then the terminal of the process's output; 80 where
    neither tells.
    """
    try:
        count = int(os.environ["COLUMNS"])
    except (KeyError, ValueError):
        count = 0
    if count > 0:
        return count
    try:
        # Without a terminal there may be no such stream: that is what is caught below.
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or _NONE  # type: ignore[union-attr]
    except (AttributeError, ValueError, OSError):
        return _NONE
