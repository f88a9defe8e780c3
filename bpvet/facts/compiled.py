"""The data files of this folder, compiled when the package is built, so that a start parses none.

What was compiled stands in ``built/``, a file for each data file: the TOML as it was then, byte by
byte, and the table in it. It is used while the TOML is still the same; one that was changed since
is parsed, so that a change is never overlooked, built or not. It is written by the build
(``.ci/compile_facts.py``), for a wheel and for an editable install alike, and by
``python -m bpvet.facts.compiled``. Standard library only, and nothing of bpvet: the build loads
it before there is a package.
"""

from __future__ import annotations

import marshal
import os

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

#: Where compiled tables stand, within the folder of the data files, and how they end.
BUILT, ENDING = "built", ".bin"
#: How ends what was worked out of several files of the package, data and code.
MADE = ".made"
#: What a compiled file begins with; another form needs another number.
_FORM = 1
#: The oldest form of `marshal` that has what is needed, and that every Python can load.
_MARSHAL = 4
_HERE = os.path.dirname(os.path.abspath(__file__))


def load(name: str, folder: str = "") -> dict[str, Any]:
    """Return the table in a data file.

    Parameters
    ----------
    name : str
        Its name without ``.toml``.
    folder : str
        Where it stands; the folder of this package by default.

    Raises
    ------
    OSError
        There is none.
    tomllib.TOMLDecodeError
        It is no TOML, and was not when it was compiled.
    """
    folder = folder or _HERE
    text = _content(os.path.join(folder, f"{name}.toml"))
    table = _compiled(os.path.join(folder, BUILT, f"{name}{ENDING}"), text)
    return parsed(text) if table is None else table


def parsed(text: bytes) -> dict[str, Any]:
    """Return the table in the text of a data file."""
    import tomllib

    return tomllib.loads(text.decode("utf-8"))


def compile_all(folder: str = "") -> list[str]:
    """Compile every data file of a folder, and return the paths of what was written.

    What was compiled of a file that is gone is deleted.

    Parameters
    ----------
    folder : str
        As in `load`.
    """
    folder = folder or _HERE
    built = os.path.join(folder, BUILT)
    os.makedirs(built, exist_ok=True)
    names = sorted(
        entry.removesuffix(".toml") for entry in os.listdir(folder) if entry.endswith(".toml")
    )
    paths = [os.path.join(built, f"{name}{ENDING}") for name in names]
    for name, path in zip(names, paths, strict=True):
        _write(path, compiled(_content(os.path.join(folder, f"{name}.toml"))))
    for entry in os.listdir(built):
        path = os.path.join(built, entry)
        if path not in paths and not path.endswith(MADE):
            os.remove(path)
    return paths


def made_of(name: str, files: Sequence[str], make: Callable[[], Any]) -> Any:
    """Return what is worked out of files of the package: as it was kept, or else made now.

    Parameters
    ----------
    name : str
        What `keep` calls it.
    files : sequence of str
        Every file that it hangs on, data and code, by its path in the folder of this package.
        What was kept is used while all of them are the same, byte by byte.
    make : callable
        Makes it, of what `marshal` can write.
    """
    found = _loaded(os.path.join(_HERE, BUILT, f"{name}{MADE}"))
    if isinstance(found, tuple) and found[:-1] == (_FORM, *_texts(files)):
        return found[-1]
    return make()


def keep(name: str, files: Sequence[str], value: Any) -> str:
    """Keep what was made for `made_of`, and return the path of the file."""
    path = os.path.join(_HERE, BUILT, f"{name}{MADE}")
    os.makedirs(os.path.dirname(path), exist_ok=True)
    _write(path, marshal.dumps((_FORM, *_texts(files), value), _MARSHAL))
    return path


def _texts(files: Sequence[str]) -> list[bytes]:
    return [_content(os.path.join(_HERE, file)) for file in files]


def _write(path: str, content: bytes) -> None:
    """Write a file whole or not at all, for another process may be reading it."""
    with open(f"{path}.part", "wb") as file:
        file.write(content)
    os.replace(f"{path}.part", path)


def compiled(text: bytes) -> bytes:
    """Return what is kept of a data file: its text, its table, and whether that has dates."""
    from datetime import date

    table = parsed(text)
    plain = _changed(table, lambda day: (day.year, day.month, day.day), date)
    return marshal.dumps((_FORM, text, plain, plain != table), _MARSHAL)


def _compiled(path: str, text: bytes) -> dict[str, Any] | None:
    """Return the table that was compiled from a text; None where there is none of this text."""
    found = _loaded(path)
    if not isinstance(found, tuple) or len(found) != 4 or found[:2] != (_FORM, text):
        return None
    _, _, table, dates = found
    if not dates:
        return table
    from datetime import date

    return _changed(table, lambda day: date(*day), tuple)


def _loaded(path: str) -> Any:
    """Return what a file of the build holds; None where there is none, or it is no such file."""
    try:
        return marshal.loads(_content(path))
    except (OSError, EOFError, ValueError, TypeError):
        return None


def _content(path: str) -> bytes:
    """Return a file of the package, wherever its loader has it: in a folder or in an archive."""
    from_loader = getattr(globals().get("__loader__"), "get_data", None)
    if from_loader is not None:
        return bytes(from_loader(path))
    with open(path, "rb") as file:
        return file.read()


def _changed(value: Any, change: Callable[[Any], Any], kind: type) -> Any:
    """Return a table with each date as a tuple of year, month and day, or back: TOML has none."""
    if isinstance(value, dict):
        return {name: _changed(member, change, kind) for name, member in value.items()}
    if isinstance(value, list):
        return [_changed(member, change, kind) for member in value]
    return change(value) if type(value) is kind else value


if __name__ == "__main__":
    from importlib import import_module

    # By its name: what is kept of signs is made with this module, and is not loaded by it.
    for written in (*compile_all(), import_module("bpvet.facts.signs.lexicon").keep_lexicon()):
        print(written)
