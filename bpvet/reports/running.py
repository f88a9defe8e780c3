"""Running a notebook: in a kernel of this Python, with nothing of the user's own set-up in it.

The same notebook on the same records gives the same bytes: no times, no chance ids, no names of
machines or versions of kernels are kept.
"""

from __future__ import annotations

import asyncio
import os
import re
import site
import sys
import tempfile
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpvet
from bpvet.errors import BpvetError

if TYPE_CHECKING:
    from nbformat import NotebookNode

#: Seconds after which a cell is given up.
CELL_SECONDS = 900
#: Bytes of a path that every system allows for a socket, less what the kernel adds.
_LONGEST_SOCKET = 90
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
#: What is kept about the kernel, whatever machine ran it.
KERNEL_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"file_extension": ".py", "mimetype": "text/x-python", "name": "python"},
}


def run(notebook: NotebookNode, folder: Path) -> NotebookNode:
    """Return the notebook with its outputs, its cells run in order in `folder`.

    Parameters
    ----------
    notebook : NotebookNode
        Its cells; it is not altered.
    folder : Path
        Where its cells look for files.

    Raises
    ------
    BpvetError
        Where a cell fails, or the kernel does not start or dies; the message says which.
    """
    from copy import deepcopy

    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    made = deepcopy(notebook)
    with tempfile.TemporaryDirectory(prefix="bpvet-") as spare:
        try:
            _in_own_loop(_executed(made, folder, Path(spare)))
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


async def _executed(notebook: NotebookNode, folder: Path, spare: Path) -> None:
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    manager = AsyncKernelManager(
        kernel_name="python3",
        kernel_spec_manager=_this_python(),
        connection_file=str(spare / "kernel.json"),
        **_sockets(spare / "kernel"),
    )
    client = NotebookClient(
        notebook,
        km=manager,
        timeout=CELL_SECONDS,
        record_timing=False,
        store_widget_state=False,
        resources={"metadata": {"path": str(folder)}},
    )
    # Without cleanup_kc the kernel would outlive its notebook, and the sockets stay open.
    await client.async_execute(env=_environment(spare), cleanup_kc=True)


def _sockets(place: Path) -> dict[str, str]:
    """Return how to speak with the kernel: through files that only this user can open.

    Where there are no such sockets, or the path is too long for one, through this machine's own
    network address.
    """
    if os.name == "posix" and len(os.fsencode(place)) < _LONGEST_SOCKET:
        return {"transport": "ipc", "ip": str(place)}
    return {}


def _this_python() -> Any:
    """Return a manager that knows one kernel, this Python's: none needs to be installed."""
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager

    # Files in the folder of the notebook must not pass for modules, hence ignore_cwd.
    argv = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    argv += ["--InteractiveShellApp.ignore_cwd=True", "--HistoryManager.enabled=False"]
    spec = KernelSpec(argv=argv, display_name="Python 3", language="python")

    class ThisPython(KernelSpecManager):  # type: ignore[misc, unused-ignore]
        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return spec

    return ThisPython()


def _environment(spare: Path) -> dict[str, str]:
    """Return the kernel's environment: ours, without start-up files, and with this bpvet."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONSTARTUP"}
    kept |= {"IPYTHONDIR": str(spare), "PYTHONHASHSEED": "0", "PYDEVD_DISABLE_FILE_VALIDATION": "1"}
    home = Path(bpvet.__file__).parent.parent
    installed = [Path(place) for place in (*site.getsitepackages(), site.getusersitepackages())]
    if home not in installed:
        kept["PYTHONPATH"] = os.pathsep.join(
            [str(home), *filter(None, [os.environ.get("PYTHONPATH")])]
        )
    return kept


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
