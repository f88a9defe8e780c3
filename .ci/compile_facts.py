"""The build's own step: data files of `bpvet.facts` are compiled (`bpvet/facts/compiled.py`)."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


# The build's library stands in the build's own environment alone: types of it are not known here.
class CompileFacts(BuildHookInterface):  # type: ignore[misc,type-arg]
    """Compiles the facts for a wheel, or in place for an editable install."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile, and have what was compiled taken into the wheel though git ignores it."""
        if self.target_name != "wheel":
            return
        # In a process of its own: of the package its facts alone are loaded, which need nothing.
        command = [sys.executable, "-m", "bpvet.facts.compiled"]
        subprocess.run(command, cwd=self.root, check=True, stdout=subprocess.DEVNULL)
        build_data["artifacts"].append("/bpvet/facts/built/*")
