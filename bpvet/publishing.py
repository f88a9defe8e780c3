"""Putting a set of files into a folder: all of them or none, at whatever moment the work ends.

All are written beside their places first; a journal then says which go where; each is moved, the
main one last; the journal goes. Whoever comes next finishes a set that has a journal, or takes
it back where it cannot be finished, and clears what has none. Standard library only.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.locks import BEGINS, JOURNAL, PART, locked, unfinished, unwritable
from bpvet.reasons import reason

#: Bytes of a journal, and files in it, beyond which it is none of ours.
_LONGEST, _MOST = 100_000, 20


@dataclass(frozen=True)
class Move:
    """One file of a set, by names within its folder.

    Parameters
    ----------
    name : str
        Where it goes.
    part : str
        Where it waits, whole.
    back : str
        Where the file that it replaces is kept meanwhile; "" where there is none.
    new, old : str
        Digests of its content and of the file that it replaces; "" where there is none.
    """

    name: str
    part: str
    back: str
    new: str
    old: str


def publish(
    folder: Path,
    contents: Mapping[str, bytes],
    replace: bool = False,
    check: Callable[[], None] | None = None,
) -> None:
    """Put files into a folder: all of them, or none.

    Parameters
    ----------
    folder : Path
        It is there.
    contents : mapping of str to bytes
        Content by file name, in the order of being moved: the main one last.
    replace : bool
        Whether files of these names may be replaced.
    check : callable, optional
        Called when no other bpvet can write there any more; what it raises leaves all as it was.

    Raises
    ------
    CallError
        One is there and may not be replaced, or cannot be written, or another bpvet is writing.
    """
    path = folder
    try:
        with locked(folder):
            for sentence in _recovered(folder):
                warnings.warn(sentence, stacklevel=3)
            if check is not None:
                check()
            made = list[str]()
            try:
                moves = []
                for name, content in contents.items():
                    path = folder / name
                    moves.append(_staged(folder, name, content, made))
                path = folder
                _moved(folder, moves, replace, made)
            finally:
                # The journal goes last: what it does not tell of is in nobody's way.
                for leftover in (*made, JOURNAL):
                    (folder / leftover).unlink(missing_ok=True)
    except FileExistsError as error:
        there = error.filename2 or error.filename or path
        raise CallError(f'"{there}" is there already. Name another file.') from None
    except (OSError, ValueError) as error:
        named = getattr(error, "filename2", None)
        raise unwritable(Path(named) if isinstance(named, str) else path, error) from error


def recovered(folder: Path) -> list[str]:
    """Finish, or take back, what an earlier bpvet left unfinished in a folder.

    Returns
    -------
    list of str
        Sentences that say so; none where there was nothing.

    Raises
    ------
    CallError
        Another bpvet is writing there, or the folder cannot be written into.
    """
    try:
        if not any(unfinished(name) for name in os.listdir(folder)):
            return []
    except OSError:
        return []  # whoever writes there will say what is wrong
    try:
        with locked(folder):
            return _recovered(folder)
    except OSError as error:
        raise unwritable(folder, error) from error


def _staged(folder: Path, name: str, content: bytes, made: list[str]) -> Move:
    """Write a file beside its place; `made` gets the name of what is there from then on."""
    path = folder / name
    handle, temporary = tempfile.mkstemp(dir=folder, prefix=BEGINS, suffix=PART)
    made.append(os.path.basename(temporary))
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    # The mask for new files can only be read by setting it.
    mask = os.umask(0)
    os.umask(mask)
    os.chmod(temporary, 0o666 & ~mask)
    # A link is replaced itself, and what it leads to is left alone: there is nothing to keep.
    old = _digest(path)
    back = f"{made[-1].removesuffix(PART)}-old{PART}" if old else ""
    return Move(name, made[-1], back, sha256(content).hexdigest(), old)


def _moved(folder: Path, moves: Sequence[Move], replace: bool, made: list[str]) -> None:
    """Move staged files to their places, with a journal where there are several."""
    if not replace:
        for move in moves:
            if os.path.lexists(folder / move.name):
                raise FileExistsError(17, "File exists", str(folder / move.name))
    if len(moves) == 1:
        _placed(folder, moves[0], replace)
        return
    for move in moves:
        if move.back:
            made.append(move.back)
            _kept(folder / move.name, folder / move.back)
    listed = json.dumps({"moves": [asdict(move) for move in moves]}).encode()
    journal = _staged(folder, JOURNAL, listed, made)
    os.replace(folder / journal.part, folder / JOURNAL)
    _sync(folder)
    try:
        for move in moves:
            _placed(folder, move, replace)
        _sync(folder)
    except BaseException:
        # As long as this process lives it leaves all as it was.
        _taken_back(folder, moves)
        raise


def _placed(folder: Path, move: Move, replace: bool) -> None:
    temporary, path = folder / move.part, folder / move.name
    if replace or not _linked(temporary, path):
        os.replace(temporary, path)


def _taken_back(folder: Path, moves: Iterable[Move]) -> None:
    """Put back what was there, wherever one of these moves has been made."""
    for move in moves:
        path = folder / move.name
        if _digest(path) != move.new or move.new == move.old:
            continue
        if not move.old:
            path.unlink(missing_ok=True)
        elif _digest(folder / move.back) == move.old:
            os.replace(folder / move.back, path)


def _recovered(folder: Path) -> list[str]:
    """Do what `recovered` says; the folder is locked by us."""
    journal, sentences = folder / JOURNAL, list[str]()
    moves = _moves_in(journal)
    if moves:
        sentences += _finished(folder, moves)
    left = [name for name in os.listdir(folder) if name.endswith(PART) and unfinished(name)]
    left += [JOURNAL] if os.path.lexists(journal) else []
    for name in left:
        (folder / name).unlink(missing_ok=True)
    if left and not moves:
        sentences.append(reason("publishing.incomplete", folder=folder))
    return sentences


def _finished(folder: Path, moves: Sequence[Move]) -> list[str]:
    """Finish a set that was stopped, or take it back; return what is to be said."""
    begun = {"name": moves[-1].name, "more": len(moves) - 1, "folder": folder}
    now = {move.name: _digest(folder / move.name) for move in moves}
    waiting = [move for move in moves if now[move.name] != move.new]
    sentences = list[str]()
    try:
        for move in waiting:
            if _digest(folder / move.part) != move.new:
                raise FileNotFoundError(move.part)
        for move in waiting:
            if now[move.name] != move.old or (not move.old and os.path.lexists(folder / move.name)):
                # Somebody has changed it since then, and keeps it.
                kept = _set_aside(folder / move.name)
                sentences.append(reason("publishing.kept", name=move.name, kept=kept))
            os.replace(folder / move.part, folder / move.name)
        _sync(folder)
    except OSError:
        _taken_back(folder, moves)
        return [reason("publishing.taken_back", **begun), *sentences]
    return [reason("publishing.finished", **begun), *sentences]


def _set_aside(path: Path) -> str:
    """Give a file another name, beside it; return that name."""
    for count in range(1, 1000):
        kept = path.with_name(f"{path.stem}.kept-{count}{path.suffix}")
        if not os.path.lexists(kept):
            os.rename(path, kept)
            return kept.name
    raise FileExistsError(17, "File exists", str(path))


def _moves_in(journal: Path) -> tuple[Move, ...]:
    """Return what a journal says; nothing where there is none, or it is none of ours."""
    try:
        if journal.is_symlink() or journal.stat().st_size > _LONGEST:
            return ()
        content = json.loads(journal.read_text(encoding="utf-8"))
        moves = tuple(Move(**move) for move in content["moves"])
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return ()
    return moves if 0 < len(moves) <= _MOST and all(map(_is_ours, moves)) else ()


def _is_ours(move: Move) -> bool:
    texts = (move.name, move.part, move.back, move.new, move.old)
    if not all(isinstance(text, str) and "\0" not in text for text in texts):
        return False
    plain = all(name == os.path.basename(name) and "\\" not in name for name in texts[:3])
    waiting = (move.part, *([move.back] if move.back else []))
    waits = all(unfinished(name) and name.endswith(PART) for name in waiting)
    return plain and waits and bool(move.name and move.new) and not unfinished(move.name)


def _digest(path: Path) -> str:
    """Return the digest of a plain file; "" where there is none."""
    try:
        if path.is_symlink() or not path.is_file():
            return ""
        of = sha256()
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                of.update(block)
        return of.hexdigest()
    except OSError:
        return ""


def _kept(path: Path, back: Path) -> None:
    """Keep a file under a second name; as a copy where the disk knows no links."""
    try:
        os.link(path, back)
    except OSError:
        shutil.copy2(path, back)


def _linked(temporary: Path, path: Path) -> bool:
    """Give a file its name if that is free; False where the disk knows no links."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:
        if os.path.lexists(path):
            raise FileExistsError(17, "File exists", str(path)) from None
        return False
    return True


def _sync(folder: Path) -> None:
    """Have the names in a folder on the disk before anything else is done, where that can be."""
    if os.name == "posix":
        with suppress(OSError):
            handle = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
