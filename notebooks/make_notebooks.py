"""Make the executed notebooks of this folder from the texts beside them.

``python notebooks/make_notebooks.py`` reads every ``*.py`` of the folder but this one (cells in
the percent format), runs it in a folder of its own, and writes the ``.ipynb`` of the same name.
The same text and library give the same bytes. Nobody edits an ``.ipynb``: change the text, and
make it again.
"""

from __future__ import annotations

import os
import sys
from copy import deepcopy
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import jupytext

import bpvet
from bpvet.reports.running import KERNEL_METADATA, text_of

FOLDER = Path(__file__).resolve().parent


def texts() -> list[Path]:
    """Return the texts that notebooks are made from, in the order of their names."""
    return sorted(path for path in FOLDER.glob("*.py") if path.name != Path(__file__).name)


def cells(text: Path) -> Any:
    """Return the notebook of a text before it is run; cells are named by their place."""
    notebook = jupytext.reads(text.read_text(encoding="utf-8"), fmt="py:percent")
    notebook.metadata.clear()
    for place, cell in enumerate(notebook.cells, start=1):
        cell["id"] = f"cell-{place:02d}"
        cell["metadata"] = {}
    return notebook


def executed(text: Path) -> str:
    """Return the content of the executed notebook of a text."""
    with TemporaryDirectory() as empty:
        made = in_kernel(cells(text), Path(empty))
    for cell in made.cells:
        if cell.cell_type == "code":
            cell.outputs = _joined(cell.outputs)
    return text_of(made)


def in_kernel(notebook: Any, folder: Path) -> Any:
    """Return a notebook with its outputs, its cells run in `folder` by a kernel of this Python.

    The kernel knows this bpvet and what is installed, and no set-up of the user's.
    """
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    argv = [sys.executable, "-P", "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    argv.append("--HistoryManager.enabled=False")

    class ThisPython(KernelSpecManager):
        """Knows one kernel, this Python's: none needs to be installed."""

        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return KernelSpec(argv=argv, display_name="Python 3", language="python")

    made = deepcopy(notebook)
    with TemporaryDirectory() as private:
        dropped = ("PYTHON", "IPYTHON", "JUPYTER", "MPL")
        kept = {name: held for name, held in os.environ.items() if not name.startswith(dropped)}
        kept |= {"PYTHONPATH": str(Path(bpvet.__file__).parent.parent), "PYTHONHASHSEED": "0"}
        kept |= dict.fromkeys(("IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "MPLCONFIGDIR"), private)
        # Through files that only this user can open, where there are such.
        ways = {"transport": "ipc", "ip": f"{private}/kernel"} if os.name == "posix" else {}
        specs = ThisPython()
        client = NotebookClient(
            made,
            km=AsyncKernelManager(kernel_name="python3", kernel_spec_manager=specs, **ways),
            timeout=900,
            record_timing=False,
            store_widget_state=False,
            resources={"metadata": {"path": str(folder)}},
        )
        client.execute(env=kept | {"PYDEVD_DISABLE_FILE_VALIDATION": "1"}, cleanup_kc=True)
    made.metadata.update(KERNEL_METADATA)
    return made


def _joined(outputs: list[Any]) -> list[Any]:
    """Return outputs with what was printed in pieces put together: how it broke was chance."""
    joined: list[Any] = []
    for output in outputs:
        same = joined and output.output_type == joined[-1].output_type == "stream"
        if same and output.name == joined[-1].name:
            joined[-1].text += output.text
        else:
            joined.append(output)
    return joined


def main(names: list[str]) -> None:
    """Write the notebooks of these names, or all of them."""
    for text in texts():
        if not names or text.stem in names:
            content = executed(text)
            text.with_suffix(".ipynb").write_text(content, encoding="utf-8", newline="\n")
            print(f"{text.stem}.ipynb: {len(content) // 1024} KB")


if __name__ == "__main__":
    main(sys.argv[1:])
