"""Running a notebook: in a kernel of this Python, with nothing of the user's own set-up in it.

What lies in the folders of a report is data: no file of them is ever taken for a module, and what
the kernel keeps for itself lies in a private folder that goes when it ends.

The same notebook on the same records gives the same bytes: no times, no chance ids, no names of
machines or versions of kernels are kept.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import site
import sys
from collections.abc import Coroutine, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from importlib.machinery import PathFinder
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpvet
from bpvet.errors import BpvetError
from bpvet.places import font_cache, private_folder

if TYPE_CHECKING:
    from nbformat import NotebookNode

#: Seconds after which a cell is given up.
CELL_SECONDS = 900
#: Seconds in which a kernel forgets one notebook and takes up the next.
_FORGET_SECONDS = 120
#: Bytes of a path that every system allows for a socket, less what the kernel adds.
_LONGEST_SOCKET = 90
#: What the kernel is started by.
_START = Path(__file__).with_name("kernel_start.py")
#: Modules whose places are told to a kernel that would not find them.
_NEEDED = ("ipykernel", "IPython", "numpy", "pandas", "scipy", "pyarrow", "matplotlib")
#: Settings of Python that say where it is itself, and that it leaves nothing behind.
_KEPT = ("PYTHONHOME", "PYTHONDONTWRITEBYTECODE")
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
#: What is kept about the kernel, whatever machine ran it.
KERNEL_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"file_extension": ".py", "mimetype": "text/x-python", "name": "python"},
}


class WarmKernel:
    """A kernel that runs one notebook after another, each as if it were the first.

    Its libraries are loaded once; before each notebook every name is forgotten, and cells are
    counted from 1 again. One that has died, or was given up, is replaced by a new one.

    Parameters
    ----------
    never : iterable of Path
        As `run` takes it.
    """

    def __init__(self, never: Iterable[Path] = ()) -> None:
        self._never = tuple(never)
        self._work = ExitStack()
        self._thread: ThreadPoolExecutor | None = None
        self._runner: asyncio.Runner | None = None
        self._client: Any = None
        self._spare = Path()

    def __enter__(self) -> WarmKernel:
        self._thread = self._work.enter_context(ThreadPoolExecutor(1))
        # A selector loop: the other kind, the default on some systems, cannot watch the sockets.
        self._runner = asyncio.Runner(loop_factory=asyncio.SelectorEventLoop)
        self._spare = self._work.enter_context(private_folder())
        return self

    def __exit__(self, *_: object) -> None:
        try:
            self._stop()
            if self._thread is not None and self._runner is not None:
                self._thread.submit(self._runner.close).result()
        finally:
            self._work.close()

    def run(self, notebook: NotebookNode, folder: Path) -> None:
        """Run a notebook's cells in order; their outputs are put into it.

        Raises whatever the notebook's client raises; only after a cell's own error does the
        kernel go on.
        """
        from nbclient.exceptions import CellExecutionError

        try:
            self._in_loop(self._executed(notebook, folder))
        except CellExecutionError:
            raise
        except BaseException:
            self._stop()
            raise

    def _in_loop(self, work: Coroutine[Any, Any, None]) -> None:
        assert self._thread is not None, "it was not entered"
        assert self._runner is not None
        self._thread.submit(self._runner.run, work).result()

    async def _executed(self, notebook: NotebookNode, folder: Path) -> None:
        from nbclient.exceptions import CellExecutionError

        held = self._client
        client = _client(notebook, folder, self._spare, self._never, held)
        self._client = client
        if held is not None:
            client.kc = held.kc
            await self._silently(f"__import__('os').chdir({str(folder)!r})")
        try:
            await client.async_execute(env=_environment(self._spare), cleanup_kc=False)
        except CellExecutionError:
            await self._forget()
            raise
        # After any other error it may be dead, and would never answer.
        await self._forget()

    async def _forget(self) -> None:
        """Leave the folder, which goes now, and forget every name."""
        left = f"__import__('os').chdir({str(self._spare)!r})"
        await self._silently(f"{left}; get_ipython().reset(new_session=True)")

    async def _silently(self, code: str) -> None:
        """Run what counts as no cell."""
        reply = await self._client.kc.execute_interactive(
            code,
            silent=True,
            allow_stdin=False,
            timeout=_FORGET_SECONDS,
            output_hook=lambda message: None,
        )
        if reply["content"]["status"] != "ok":
            raise RuntimeError(f"its kernel answered {reply['content'].get('evalue', '')}")

    def _stop(self) -> None:
        held, self._client = self._client, None
        if held is not None and held.km is not None and held.km.has_kernel:
            self._in_loop(held._async_cleanup_kernel())


def run(
    notebook: NotebookNode,
    folder: Path,
    never: Iterable[Path] = (),
    kernel: WarmKernel | None = None,
) -> NotebookNode:
    """Return the notebook with its outputs, its cells run in order in `folder`.

    Parameters
    ----------
    notebook : NotebookNode
        Its cells; it is not altered.
    folder : Path
        Where its cells look for files.
    never : iterable of Path
        Further folders from which nothing is imported; `folder` and the current one are such.
    kernel : WarmKernel, optional
        One that has been entered, and runs several notebooks; by default one of its own.

    Raises
    ------
    BpvetError
        Where a cell fails, or the kernel does not start or dies; the message says which.
    """
    from copy import deepcopy

    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    made = deepcopy(notebook)
    try:
        if kernel is not None:
            kernel.run(made, folder)
        else:
            with private_folder() as spare:
                _in_own_loop(_executed(made, folder, spare, (folder, *never)))
    except CellExecutionError as error:
        failed = _failed_cell(made)
        what = _COLOURS.sub("", f"{error.ename}: {error.evalue}")
        raise BpvetError(f"The report's notebook failed in cell {failed}: {what}") from error
    except CellTimeoutError as error:
        raise BpvetError(
            f"The report's notebook was given up: a cell ran longer than {CELL_SECONDS} s."
        ) from error
    except (DeadKernelError, RuntimeError, OSError) as error:
        raise BpvetError(f"The report's notebook could not be run: {error}") from error
    made.metadata.update(KERNEL_METADATA)
    return made


def text_of(notebook: NotebookNode) -> str:
    """Return a notebook as the text of its file; the same notebook gives the same text."""
    import nbformat

    writes: Any = nbformat.writes  # its package bears no types
    return f"{writes(notebook).rstrip()}\n"


async def _executed(
    notebook: NotebookNode, folder: Path, spare: Path, never: Iterable[Path]
) -> None:
    client = _client(notebook, folder, spare, never)
    # Without cleanup_kc the kernel would outlive its notebook, and the sockets stay open.
    await client.async_execute(env=_environment(spare), cleanup_kc=True)


def _client(
    notebook: NotebookNode, folder: Path, spare: Path, never: Iterable[Path], held: Any = None
) -> Any:
    """Return a client for a notebook: with a kernel to be started, or with that of another."""
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    manager = AsyncKernelManager(
        kernel_name="python3",
        kernel_spec_manager=_this_python(never),
        connection_file=str(spare / "kernel.json"),
        **_sockets(spare / "kernel"),
    )
    return NotebookClient(
        notebook,
        km=manager if held is None else held.km,
        timeout=CELL_SECONDS,
        record_timing=False,
        store_widget_state=False,
        resources={"metadata": {"path": str(folder)}},
    )


def _sockets(place: Path) -> dict[str, str]:
    """Return how to speak with the kernel: through files that only this user can open.

    Where there are no such sockets, or the path is too long for one, through this machine's own
    network address.
    """
    if os.name == "posix" and len(os.fsencode(place)) < _LONGEST_SOCKET:
        return {"transport": "ipc", "ip": str(place)}
    return {}


def _this_python(never: Iterable[Path]) -> Any:
    """Return a manager that knows one kernel, this Python's: none needs to be installed."""
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager

    # Neither the current folder (-P) nor the user's start-up modules (-s); the rest is told to
    # the script. The kernel's own options say the same of the notebook's folder.
    argv = [sys.executable, "-P", "-s", str(_START), json.dumps(_modules(never))]
    argv += ["-f", "{connection_file}"]
    argv += ["--InteractiveShellApp.ignore_cwd=True", "--HistoryManager.enabled=False"]
    spec = KernelSpec(argv=argv, display_name="Python 3", language="python")

    class ThisPython(KernelSpecManager):  # type: ignore[misc, unused-ignore]
        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return spec

    return ThisPython()


def _modules(never: Iterable[Path]) -> dict[str, Any]:
    """Return where the kernel takes modules from, as `kernel_start` is told it."""
    own = {os.path.realpath(place) for place in site.getsitepackages()}
    folders = {os.path.realpath(place) for place in (*never, Path.cwd())} - own
    user = site.getusersitepackages() if site.ENABLE_USER_SITE else ""
    elsewhere = {}
    for name in _NEEDED:
        # As this process finds it: some systems keep what is installed in places of their own.
        found = PathFinder.find_spec(name)
        if found is not None and found.submodule_search_locations:
            elsewhere[name] = os.path.dirname(next(iter(found.submodule_search_locations)))
    return {
        "never": sorted(folders),
        "bpvet": str(Path(bpvet.__file__).resolve().parent.parent),
        "user": user if user and os.path.isdir(user) else "",
        "else": elsewhere,
    }


def _environment(spare: Path) -> dict[str, str]:
    """Return the kernel's environment: ours, without what would bring in a set-up or modules."""
    dropped = ("PYTHON", "IPYTHON", "JUPYTER", "MPL", "MATPLOTLIB")
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.upper().startswith(dropped) or name in _KEPT
    }
    places = {
        "IPYTHONDIR": "ipython",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_CONFIG_DIR": "config",
    }
    kept |= {name: str(spare / folder) for name, folder in places.items()}
    kept["MPLCONFIGDIR"] = str(font_cache(spare / "fonts"))
    return kept | {"PYTHONHASHSEED": "0", "PYDEVD_DISABLE_FILE_VALIDATION": "1"}


def _in_own_loop(work: Coroutine[Any, Any, None]) -> None:
    """Run `work` in an event loop of its own, whether or not the caller is in one already."""
    # A selector loop: the other kind, the default on some systems, cannot watch the sockets.
    loop = asyncio.SelectorEventLoop()

    def ran() -> None:
        with asyncio.Runner(loop_factory=lambda: loop) as runner:
            runner.run(work)

    with ThreadPoolExecutor(1) as thread:
        running = thread.submit(ran)
        try:
            running.result()
        except KeyboardInterrupt:
            # The kernel must not outlive us: once cancelled, its client ends it.
            loop.call_soon_threadsafe(lambda: [one.cancel() for one in asyncio.all_tasks(loop)])
            raise


def _failed_cell(notebook: NotebookNode) -> int:
    """Return the place, from 1, of the first cell with an error among its outputs."""
    for place, cell in enumerate(notebook.cells, start=1):
        if any(output.output_type == "error" for output in cell.get("outputs", ())):
            return place
    return len(notebook.cells)
