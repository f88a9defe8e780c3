"""Where bpvet keeps what is nobody's: a private folder while it works, and the user's cache folder.

Standard library only.
"""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager, suppress

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: How private folders are called, and the file in each that its owner keeps locked.
_PREFIX, _HELD = "bpvet-run-", "held"
#: Seconds after which a folder without that file is taken for left behind.
_SETTLED = 600.0


@contextmanager
def private_folder() -> Iterator[Path]:
    """Make a folder that only this user can open, and remove it with all in it at the end.

    Those that killed processes left behind are removed first.
    """
    import shutil
    import tempfile
    from pathlib import Path

    from bpvet.locks import hold, own_words

    _clear()
    folder = Path(tempfile.mkdtemp(prefix=_PREFIX))
    handle = None
    try:
        handle = os.open(folder / _HELD, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        hold(handle, wait=True)
        os.lseek(handle, 0, os.SEEK_SET)
        os.write(handle, own_words())
        yield folder
    finally:
        if handle is not None:
            os.close(handle)
        shutil.rmtree(folder, ignore_errors=True)


def cache_folder() -> Path | None:
    """Return bpvet's part of the user's cache folder, there or not; None without a home."""
    from pathlib import Path

    found = _cache_name()
    return Path(found) if found else None


def _cache_name() -> str:
    """Return its name, blank without a home; told without `pathlib`, for every command asks it."""
    home = os.path.expanduser("~")
    home = "" if home.startswith("~") else home
    inside = ["bpvet"]
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or (home and os.path.join(home, "AppData", "Local"))
        inside = ["bpvet", "Cache"]
    elif sys.platform == "darwin":
        base = home and os.path.join(home, "Library", "Caches")
    else:
        given = os.environ.get("XDG_CACHE_HOME", "")
        # A relative one is invalid, and would lie wherever we are.
        base = given if os.path.isabs(given) else home and os.path.join(home, ".cache")
    return os.path.join(base, *inside) if base else ""


def keep_font_cache() -> None:
    """Let matplotlib keep its list of fonts in our cache folder, and nothing anywhere else.

    It is for the command line alone: a user's own programs keep their own settings. Where a place
    was named, or matplotlib is loaded already, nothing is done.
    """
    cache = _cache_name()
    if cache and "matplotlib" not in sys.modules:
        os.environ.setdefault("MPLCONFIGDIR", os.path.join(cache, "matplotlib"))


def _clear() -> None:
    """Remove private folders of this user's whose owner is gone."""
    import shutil
    import tempfile

    with suppress(OSError):
        for entry in os.scandir(tempfile.gettempdir()):
            if entry.name.startswith(_PREFIX):
                with suppress(OSError):
                    if _is_left_behind(entry):
                        shutil.rmtree(entry.path, ignore_errors=True)


def _is_left_behind(entry: os.DirEntry[str]) -> bool:
    import time
    from pathlib import Path

    from bpvet.locks import hold, is_alive, owner

    status = entry.stat(follow_symlinks=False)
    if not entry.is_dir(follow_symlinks=False):
        return False
    if os.name == "posix" and status.st_uid != os.getuid():
        return False
    try:
        handle = os.open(Path(entry.path) / _HELD, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    except FileNotFoundError:
        return time.time() - status.st_mtime > _SETTLED
    try:
        ours = hold(handle)
        os.lseek(handle, 0, os.SEEK_SET)
        pid, _ = owner(os.read(handle, 1000))
        # Its owner wrote who it is after it had locked it.
        return bool(pid) and (bool(ours) or (ours is None and not is_alive(pid)))
    finally:
        os.close(handle)
