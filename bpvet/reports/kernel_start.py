"""Starts a report's kernel: what lies in the folders of a report is never taken for a module.

It is run as a script, by a Python that takes neither the current folder nor the environment's
paths nor start-up files, and told in its first argument, as JSON:

- ``never``: folders from which nothing is imported;
- ``bpvet``: the folder that this bpvet lies in, which is taken from there and nothing else;
- ``user``: the user's own site-packages, where the caller uses them; else "";
- ``else``: folders by a module's name, for modules that are not found otherwise.

Standard library only.
"""

from __future__ import annotations

import json
import os
import site
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec, PathFinder
from types import ModuleType
from typing import Any


class OnlyBpvet:
    """Finds bpvet in one folder, and nothing else there."""

    def __init__(self, home: str) -> None:
        self.home = home

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return where bpvet lies; None for any other module."""
        return PathFinder.find_spec(name, [self.home]) if name == "bpvet" else None


def settle(given: dict[str, Any]) -> None:
    """Settle where modules are looked for, as said above."""
    if given["user"]:
        site.addsitedir(given["user"])
    never = {os.path.realpath(one) for one in given["never"]}
    sys.path[:] = [one for one in sys.path if one and os.path.realpath(one) not in never]
    sys.meta_path.insert(0, OnlyBpvet(given["bpvet"]))  # type: ignore[arg-type, unused-ignore]
    for name, folder in given["else"].items():
        if os.path.realpath(folder) not in never and PathFinder.find_spec(name) is None:
            sys.path.append(folder)


if __name__ == "__main__":
    settle(json.loads(sys.argv.pop(1)))
    from ipykernel import kernelapp

    kernelapp.launch_new_instance()
