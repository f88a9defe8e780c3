"""What is kept of an error that nobody foresaw: where in the code it arose, and nothing else.

The file may be sent on by somebody who does not read code, so it holds no value at all: no message
of an exception, no local variable, no argument, no path of this machine. Standard library only.
"""

from __future__ import annotations

import os
import platform
import sys
import sysconfig
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from types import TracebackType

from bpvet import __version__
from bpvet.errors import CallError
from bpvet.files import write_whole
from bpvet.wording.en.command.failures import CAUSE, ESCAPED, NO_DATA_HERE

#: Files that are kept, frames and causes that are told.
KEPT, _FRAMES, _CAUSES = 10, 60, 6
_BEGINS, _ENDS = "error-", ".txt"
_LIBRARIES = ("numpy", "pandas", "pyarrow", "scipy", "matplotlib", "nbclient", "nbconvert")


def keep_diagnostic(error: BaseException, command: str) -> Path | None:
    """Write what may be told of an error into the user's cache folder.

    Parameters
    ----------
    error : BaseException
        What escaped.
    command : str
        Name of a command of ours; blank where it is not known.

    Returns
    -------
    Path or None
        The file; None where none can be written.
    """
    try:
        folder = cache_folder()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
        path = folder / f"{_BEGINS}{moment}{_ENDS}"
        write_whole(path, diagnostic(error, command).encode("utf-8", "replace"))
        # The oldest of our files go, so that no more than `KEPT` stay.
        mine = sorted(file for file in folder.glob(f"{_BEGINS}*{_ENDS}") if file.is_file())
        for old in mine[:-KEPT]:
            old.unlink(missing_ok=True)
    except (OSError, ValueError, RuntimeError, CallError):
        return None
    return path


def diagnostic(error: BaseException, command: str) -> str:
    """Return what may be told of an error: kinds of exceptions, and places in code.

    Parameters
    ----------
    error, command
        As in `keep_diagnostic`.
    """
    lines = [
        NO_DATA_HERE,
        "",
        f"bpvet {__version__}, command {command or 'not known'}",
        f"Python {platform.python_version()} on {sys.platform}",
        ", ".join(f"{name} {_version(name)}" for name in _LIBRARIES),
    ]
    for number, cause in enumerate(_causes(error)):
        title = ESCAPED if number == 0 else CAUSE
        lines += ["", f"{title}: {_kind(cause)}", *_places(cause.__traceback__)]
    return "\n".join(lines) + "\n"


def cache_folder() -> Path:
    """Return the folder for such files, as the platform has it; it need not be there."""
    configured = os.environ.get("XDG_CACHE_HOME", "")
    if os.path.isabs(configured):
        return Path(configured) / "bpvet"
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA", "")
        base = Path(local) if os.path.isabs(local) else Path.home() / "AppData" / "Local"
        return base / "bpvet" / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "bpvet"
    return Path.home() / ".cache" / "bpvet"


def _version(library: str) -> str:
    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return "not installed"


def _causes(error: BaseException) -> Iterator[BaseException]:
    cause: BaseException | None = error
    for _ in range(_CAUSES):
        if cause is None:
            return
        yield cause
        cause = cause.__cause__ or (None if cause.__suppress_context__ else cause.__context__)


def _kind(error: BaseException) -> str:
    """Return the name of an exception's class: code, not data."""
    kind = type(error)
    within = "" if kind.__module__ == "builtins" else f"{kind.__module__}."
    return f"{within}{kind.__qualname__}"


def _places(trace: TracebackType | None) -> list[str]:
    frames = [
        f"  {_file(frame.f_code.co_filename)}, line {line}, {frame.f_code.co_name}"
        for frame, line in traceback.walk_tb(trace)
    ]
    if len(frames) <= _FRAMES:
        return frames
    return [*frames[: _FRAMES // 2], "  …", *frames[-_FRAMES // 2 :]]


def _file(name: str) -> str:
    """Return a file of code as seen from the folder of its package; others are not named."""
    if name.startswith("<frozen ") and name.endswith(">"):
        return name
    path = Path(name)
    package = Path(__file__).parents[2]
    if path.is_relative_to(package):
        return path.relative_to(package.parent).as_posix()
    roots = [sysconfig.get_path(kind) for kind in ("purelib", "platlib", "stdlib", "platstdlib")]
    for root in sorted({Path(root).as_posix() for root in roots if root}, key=len, reverse=True):
        if path.is_relative_to(root):
            return path.relative_to(root).as_posix()
    # An environment may find its packages in another one's folder.
    parts = path.parts
    for folder in ("site-packages", "dist-packages"):
        if folder in parts:
            return "/".join(parts[len(parts) - parts[::-1].index(folder) :])
    return "other code"
