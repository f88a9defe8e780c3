"""One writer at a time in a folder, whoever else is at work; and names of what is not whole yet.

The lock is a file with the writer's process and machine. While it is held it is locked by the
system too, so that a writer that was killed is told from one that lives. Standard library only.
"""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bpvet.errors import CallError

#: What is being written bears a name with these until it is whole; a process that was killed may
#: leave one behind, and nobody takes it for a file of the user's.
BEGINS, PART = ".bpvet-", ".part"
LOCK = f"{BEGINS}lock"
JOURNAL = f"{BEGINS}journal"
#: Seconds that a writer waits for another, who needs a moment only.
WAIT_SECONDS = 30.0
#: Seconds in which a lock's owner has surely come to lock it, and those after which the lock of
#: another machine is taken for left behind.
_SETTLED, _ELSEWHERE = 5.0, 600.0
#: Bytes of a lock's file that are looked at.
_MOST = 1000
#: On some systems a locked byte cannot be read by others; this one nobody reads.
_FAR = 1 << 30


def unfinished(name: str) -> bool:
    """Return whether a file of this name is one of ours that never became whole."""
    return name in (LOCK, JOURNAL) or (name.startswith(BEGINS) and name.endswith(PART))


def unwritable(path: Path, error: Exception) -> CallError:
    """Return the error that says what cannot be written, and why."""
    why = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return CallError(f'"{path}" cannot be written: {why}.')


@contextmanager
def locked(folder: Path, seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Be the only bpvet that puts files into a folder.

    Parameters
    ----------
    folder : Path
        It is there.
    seconds : float
        How long to wait for another.

    Raises
    ------
    CallError
        Another is still writing after that time.
    OSError
        The folder cannot be written into.
    """
    path, end = folder / LOCK, time.monotonic() + seconds
    while (handle := _taken(path)) is None:
        if not _broken(path):
            if time.monotonic() >= end:
                raise CallError(_held_words(path))
            # Locks are held for a moment; no system tells when one is free again.
            time.sleep(0.02)
    try:
        yield
    finally:
        _released(path, handle)


def hold(handle: int, wait: bool = False) -> bool | None:
    """Lock an open file for this process; it ends with the process, however that ends.

    Returns
    -------
    bool or None
        Whether it is ours now; None where the disk knows no such locks.
    """
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def own_words() -> bytes:
    """Return what a lock's file says of its owner: the process and the machine."""
    return json.dumps({"pid": os.getpid(), "host": socket.gethostname()[:60]}).encode()


def is_alive(pid: int) -> bool:
    """Return whether a process of this machine may still be there."""
    if os.name != "posix":
        return True  # asking would end it
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def owner(data: bytes) -> tuple[int, str]:
    """Return process and machine from a lock's file; 0 and "" where it does not say."""
    try:
        content = json.loads(data.decode())
        pid, host = int(content["pid"]), str(content["host"])
        return (pid, host) if pid > 0 else (0, "")
    except (ValueError, TypeError, KeyError, RecursionError):
        return 0, ""


def _taken(path: Path) -> int | None:
    """Return the open file of a lock that is now ours; None where it is another's."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
    except FileExistsError:
        return None
    except PermissionError:
        if path.exists():  # so some systems say that it is just being removed
            return None
        raise
    try:
        hold(handle, wait=True)
        os.lseek(handle, 0, os.SEEK_SET)
        os.write(handle, own_words())
    except BaseException:
        _released(path, handle)
        raise
    return handle


def _released(path: Path, handle: int) -> None:
    if os.name == "posix":
        # Removed while it is still locked, so that nobody takes it for left behind.
        path.unlink(missing_ok=True)
        os.close(handle)
        return
    os.close(handle)
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _broken(path: Path) -> bool:
    """Remove a lock whose owner is gone; return whether to try again at once."""
    try:
        handle = os.open(path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    except FileNotFoundError:
        return True
    except OSError:
        return False
    try:
        ours = hold(handle)
        if ours is False:
            return False
        os.lseek(handle, 0, os.SEEK_SET)
        if not _left_behind(os.read(handle, _MOST), os.fstat(handle), bool(ours)):
            return False
        # Only who holds the file's own lock removes it, and only where it is still that file.
        with suppress(FileNotFoundError):
            if os.path.samestat(os.stat(path), os.fstat(handle)):
                if os.name != "posix":
                    os.close(handle)
                    handle = -1
                path.unlink(missing_ok=True)
        return True
    except OSError:
        return False
    finally:
        if handle >= 0:
            os.close(handle)


def _left_behind(data: bytes, status: os.stat_result, free: bool) -> bool:
    """Return whether a lock's owner is gone, by what its file says; `free`: nobody locks it."""
    age = time.time() - status.st_mtime
    pid, host = owner(data)
    if not pid:
        return free and age > _SETTLED
    if host != socket.gethostname()[:60]:
        return free and age > _ELSEWHERE
    # The owner wrote this after it had locked the file.
    return free or not is_alive(pid)


def _held_words(path: Path) -> str:
    try:
        with path.open("rb") as file:
            pid, host = owner(file.read(_MOST))
    except OSError:
        pid, host = 0, ""
    who = f' (process {pid} on "{host}")' if pid else ""
    return (
        f'Another bpvet is writing into "{path.parent}"{who}. Try again when it is done; if none '
        f'is running, delete "{path}".'
    )
