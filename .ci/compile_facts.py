"""The build's own step: data files of `bpvet.facts` are compiled (`bpvet/facts/compiled.py`)."""

from __future__ import annotations

import importlib.util
from pathlib import Path
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
        facts = Path(self.root) / "bpvet" / "facts"
        # The package itself cannot be imported here: what it depends on is not there yet.
        spec = importlib.util.spec_from_file_location("bpvet_compiled", facts / "compiled.py")
        assert spec is not None
        assert spec.loader is not None
        compiled = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(compiled)
        compiled.compile_all(str(facts))
        build_data["artifacts"].append(f"/bpvet/facts/{compiled.BUILT}/*{compiled.ENDING}")
