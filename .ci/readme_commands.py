"""Print the README's two commands, a line each: the main job, then the tests."""

from __future__ import annotations

import re
import sys
from pathlib import Path

text = Path(__file__).parent.parent.joinpath("README.md").read_text(encoding="utf-8")
blocks = re.findall(r"^```sh\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)
if len(blocks) < 2:
    sys.exit("README.md: the first two sh blocks should be the main command and the tests.")
for block in blocks[:2]:
    print(block.strip().replace("\\\n", " "))
