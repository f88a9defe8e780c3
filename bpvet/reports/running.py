"""Running a report's notebook: its cells by IPython's own shell, in the process that has fitted.

The records are read and fitted once: what the notebook's first cells would make is handed to the
cells after them. The notebook read again from its file makes it anew, with the same outputs.

What lies in the folders of a report is data: while cells run, no file of them is ever taken for a
module by this thread, no set-up of the user's is read, and what the shell keeps for itself lies in
a private folder that goes with it. No times, chance ids or names of machines are kept.
"""

from __future__ import annotations

import atexit
import gc
import io
import os
import site
import sys
import threading
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from importlib.machinery import ModuleSpec, PathFinder
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from bpvet.errors import BpvetError
from bpvet.places import private_folder

if TYPE_CHECKING:
    from nbformat import NotebookNode

    from bpvet.reports.shell import Kept

#: Streams, the hook for values and finders of modules are those of a whole process: one thread of
#: it at a time makes a report.
_RUNNING = threading.RLock()
#: Warnings that Python does not show by itself.
_UNSHOWN = (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning)
#: What is kept about the kernel, whatever machine ran it.
KERNEL_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"file_extension": ".py", "mimetype": "text/x-python", "name": "python"},
}


def run(
    notebook: NotebookNode, given: Mapping[str, object] | None = None, given_cells: int = 0
) -> NotebookNode:
    """Return the notebook with its outputs, its cells run in order.

    Parameters
    ----------
    notebook : NotebookNode
        Its cells; it is not altered.
    given : mapping of str to object, optional
        What the first `given_cells` code cells would make, by name.
    given_cells : int
        Code cells that are not run, because what they would make is given; they show nothing.

    Raises
    ------
    BpvetError
        Where a cell fails, the message says which; or where no shell can be had.
    """
    from copy import deepcopy

    made = deepcopy(notebook)
    numbered = enumerate(made.cells, start=1)
    code = [(number, cell) for number, cell in numbered if cell.cell_type == "code"]
    try:
        with _RUNNING, quiet(), private_folder() as private, _shell(private) as shell:
            shell.user_ns.update(given or {})
            for count, (number, cell) in enumerate(code, start=1):
                cell.execution_count, cell.outputs = count, []
                if count > given_cells:
                    with _streams(shell.kept):
                        error = shell.error_of(cell.source)
                    cell.outputs = _outputs(shell.kept, count)
                    if error is not None:
                        if isinstance(error, KeyboardInterrupt | MemoryError):
                            raise error
                        what = f"{type(error).__name__}: {error}"
                        raise BpvetError(
                            f"The report's notebook failed in cell {number}: {what}"
                        ) from error
    except OSError as error:  # no cell's: those have become errors of ours
        raise BpvetError(f"The report's notebook could not be run: {error}") from error
    made.metadata.update(KERNEL_METADATA)
    return made


def text_of(notebook: NotebookNode) -> str:
    """Return a notebook as the text of its file; the same notebook gives the same text."""
    import nbformat

    writes: Any = nbformat.writes  # its package bears no types
    return f"{writes(notebook).rstrip()}\n"


# ---------------------------------------------------------------- what a cell puts out


def _outputs(kept: Kept, count: int) -> list[Any]:
    """Return what a cell put out as a notebook holds it, and forget it; a stream in one piece."""
    import nbformat

    outputs: list[dict[str, Any]] = []
    for kind, value in kept:
        if kind == "execute_result":
            data, metadata = value
            shown = {"data": data, "metadata": metadata, "execution_count": count}
            outputs.append({"output_type": kind, **shown})
        elif outputs and outputs[-1].get("name") == kind:
            outputs[-1]["text"] += value
        else:
            outputs.append({"output_type": "stream", "name": kind, "text": value})
    kept.clear()
    # The whole notebook is checked when it is written: not each of its outputs too.
    from_dict: Any = nbformat.from_dict  # its package bears no types
    return [from_dict(output) for output in outputs]


class _Stream(io.TextIOBase):
    """Keeps what one thread writes; what others write goes where it went before."""

    def __init__(self, name: str, kept: Kept, before: Any) -> None:
        self._name, self._kept, self._before = name, kept, before
        self._thread = threading.get_ident()

    def write(self, text: str) -> int:
        if threading.get_ident() == self._thread:
            if text:
                self._kept.append((self._name, text))
        elif self._before is not None:
            self._before.write(text)
        return len(text)

    def flush(self) -> None:
        if threading.get_ident() != self._thread and self._before is not None:
            self._before.flush()


@contextmanager
def _streams(kept: Kept) -> Iterator[None]:
    """Keep what is printed by this thread."""
    before = sys.stdout, sys.stderr
    sys.stdout = _Stream("stdout", kept, before[0])
    sys.stderr = _Stream("stderr", kept, before[1])
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


@contextmanager
def quiet() -> Iterator[None]:
    """Show the warnings that Python shows by itself, and let garbage wait.

    The collector would walk all that the libraries have loaded again and again, while cells and
    pages make many small objects: a fifth of a report's time.
    """
    collecting = gc.isenabled()
    with warnings.catch_warnings():
        for kind in _UNSHOWN:
            warnings.simplefilter("ignore", kind)
        gc.disable()
        try:
            yield
        finally:
            if collecting:
                gc.enable()


@contextmanager
def _shell(private: Path) -> Iterator[Any]:
    """Make a shell of IPython's that no set-up of the user's reaches, and end it again."""
    from IPython.core.profiledir import ProfileDir
    from traitlets.config import Config

    from bpvet.reports.shell import Shell

    config = Config()
    profiles: Any = ProfileDir
    shells: Any = Shell
    config.HistoryManager.enabled = False
    # Where there is such a folder the library copies no file of its own into it.
    (private / "startup").mkdir()
    shell = shells(
        config=config,
        ipython_dir=str(private),
        profile_dir=profiles.create_profile_dir(str(private)),
        user_module=ModuleType("__main__"),
    )
    shell.kept = []
    try:
        yield shell
    finally:
        atexit.unregister(shell.atexit_operations)
        shell.atexit_operations()


# ---------------------------------------------------------------- where modules are looked for


class _Sealed(PathFinder):
    """Finds modules as ever, but for one thread none in some folders."""

    def __init__(self, never: Iterable[str]) -> None:
        self.never, self._thread = frozenset(never), threading.get_ident()

    def find_spec(  # type: ignore[override]
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return where a module lies; a package's own modules lie where it does."""
        if path is None and threading.get_ident() == self._thread:
            # A blank one is the current folder.
            path = [name for name in sys.path if name and os.path.realpath(name) not in self.never]
        return PathFinder.find_spec(fullname, path, target)


@contextmanager
def sealed(never: Iterable[Path]) -> Iterator[None]:
    """Import nothing from some folders, nor from the current one, for as long as it is entered.

    It holds for this thread alone; another that asks for the same waits. Where Python itself is
    installed stays in use.

    Parameters
    ----------
    never : iterable of Path
        The folders.
    """
    folders = {os.path.realpath(folder) for folder in never}
    with suppress(OSError):  # the current folder may be gone
        folders.add(os.path.realpath(os.curdir))
    import sysconfig

    standard = (sysconfig.get_path(name) for name in ("stdlib", "platstdlib"))
    folders -= {os.path.realpath(path) for path in (*site.getsitepackages(), *standard)}
    with _RUNNING:
        before = list(sys.meta_path)
        sealing = [finder for finder in before if isinstance(finder, _Sealed)]
        new = _Sealed(folders.union(*(finder.never for finder in sealing)))
        replaced = [finder for finder in before if finder is PathFinder or finder in sealing]
        sys.meta_path[:] = [new if finder in replaced else finder for finder in before]
        try:
            yield
        finally:
            # A library may have added a finder of its own meanwhile.
            back = iter(replaced)
            sys.meta_path[:] = [next(back) if finder is new else finder for finder in sys.meta_path]
