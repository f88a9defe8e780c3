"""Where bpvet keeps what is nobody's: a private folder while it works, and the user's cache folder.

Standard library only.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bpvet.locks import hold, is_alive, own_words, owner

#: How private folders are called, and the file in each that its owner keeps locked.
_PREFIX, _HELD = "bpvet-run-", "held"
#: Seconds after which a folder without that file is taken for left behind.
_SETTLED = 600.0


@contextmanager
def private_folder() -> Iterator[Path]:
    """Make a folder that only this user can open, and remove it with all in it at the end.

    Those that killed processes left behind are removed first.
    """
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
    try:
        if sys.platform == "win32":
            local = os.environ.get("LOCALAPPDATA")
            return (Path(local) if local else Path.home() / "AppData/Local") / "bpvet" / "Cache"
        if sys.platform == "darwin":
            return Path.home() / "Library" / "Caches" / "bpvet"
        given = os.environ.get("XDG_CACHE_HOME", "")
        # A relative one is invalid, and would lie wherever we are.
        return (Path(given) if os.path.isabs(given) else Path.home() / ".cache") / "bpvet"
    except RuntimeError:
        return None


def font_cache(otherwise: Path) -> Path:
    """Return the folder for matplotlib's list of fonts, made: of the cache folder, or else."""
    cache = cache_folder()
    with suppress(OSError):
        if cache is not None:
            fonts = cache / "matplotlib"
            fonts.mkdir(parents=True, exist_ok=True)
            if os.access(fonts, os.W_OK | os.X_OK):
                return fonts
    return otherwise


def keep_font_cache() -> None:
    """Let matplotlib keep its list of fonts in our cache folder, and nothing anywhere else.

    It is for the command line alone: a user's own programs keep their own settings. Where a place
    was named, or matplotlib is loaded already, nothing is done.
    """
    cache = cache_folder()
    if cache is not None and "matplotlib" not in sys.modules:
        os.environ.setdefault("MPLCONFIGDIR", str(cache / "matplotlib"))


def _clear() -> None:
    """Remove private folders of this user's whose owner is gone."""
    with suppress(OSError):
        for entry in os.scandir(tempfile.gettempdir()):
            if entry.name.startswith(_PREFIX):
                with suppress(OSError):
                    if _is_left_behind(entry):
                        shutil.rmtree(entry.path, ignore_errors=True)


def _is_left_behind(entry: os.DirEntry[str]) -> bool:
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
