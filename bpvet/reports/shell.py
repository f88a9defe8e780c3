"""A shell of IPython's that runs cells and leaves the rest of the process alone."""

from __future__ import annotations

from typing import Any

from IPython.core.builtin_trap import BuiltinTrap
from IPython.core.displayhook import DisplayHook
from IPython.core.interactiveshell import InteractiveShell

#: Kind of an output and what it holds, in the order in which they came.
Kept = list[tuple[str, Any]]


class Hook(DisplayHook):  # type: ignore[misc, unused-ignore]
    """Keeps the value of a cell in every form in which it can be shown."""

    def write_output_prompt(self) -> None:
        """Print nothing."""

    def flush(self) -> None:
        """Collect no garbage: a whole walk of it costs more than a small report's text."""

    def write_format_data(self, format_dict: Any, md_dict: Any = None) -> None:
        """Keep the forms that there are."""
        shell: Any = self.shell
        shell.kept.append(("execute_result", (format_dict, md_dict or {})))


class Shell(InteractiveShell):  # type: ignore[misc, unused-ignore]
    """Runs cells and leaves the rest of the process alone: its modules, prompts and names."""

    displayhook_class = Hook
    kept: Kept

    def error_of(self, source: str) -> BaseException | None:
        """Run a cell; return its error, or None."""
        run_cell: Any = self.run_cell  # its package bears few types
        done = run_cell(source, store_history=True)
        return done.error_before_exec or done.error_in_exec

    def init_virtualenv(self) -> None:
        """Look for modules where this process does."""

    def init_sys_modules(self) -> None:
        """Leave the process's own main module in its place."""

    def init_prompts(self) -> None:
        """Do not let this process pass for one that somebody types into."""

    def init_builtins(self) -> None:
        """Set the names that a cell finds while it runs, and none for good."""
        self.builtin_trap = BuiltinTrap(shell=self)

    def showtraceback(self, *_: object, **__: object) -> None:
        """Print nothing: a cell's error is told by whoever asked for its run."""

    def showsyntaxerror(self, *_: object, **__: object) -> None:
        """Print nothing, as `showtraceback`."""
