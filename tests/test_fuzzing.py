"""The watch of the fuzzing check sees what it is there to see."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
#: What a command might do wrong, and what the watch must say of it.
WRONG = {
    "raise ValueError('x')": "it raised ValueError: x",
    "open(astray / 'x', 'w')": "open",
    "(astray / 'x').mkdir()": "os.mkdir",
    "import os; os.system('true')": "os.system",
    "import subprocess; subprocess.run(['true'])": "subprocess.Popen",
    "(records / 'r.csv').write_text('y')": "the input was changed",
    "return 3": "it ended with 3",
    "return 1": "said nothing",
    "print('Traceback (most recent call last)'); return 0": "traceback",
    "import time; time.sleep(0.3); return 0": "it took",
    "while __import__('time').process_time() < 3: pass\n    return 0": "it took",
    "held = b'x' * (1 << 27); return 0": "memory grew",
}
SCRIPT = """
import sys
from pathlib import Path
sys.path.insert(0, {root!r})
from reference_checks.fuzzing import watch
spare = Path({spare!r})
records, own, astray = spare / "in", spare / "out", spare
records.mkdir(), own.mkdir()
(records / "r.csv").write_text("x")
def main(arguments):
    {wrong}
    return 0
watch.main, watch.MEMORY, watch._WAITING = main, 1 << 26, 0.0
try:
    watch.Watch().run(["check"], records, spare if "records" in {wrong!r} else own, seconds=0.2)
except watch.Broken as broken:
    print(broken)
"""


@pytest.mark.parametrize("wrong", WRONG)
def test_the_watch_sees(wrong: str, tmp_path: Path) -> None:
    script = SCRIPT.format(root=str(ROOT), spare=str(tmp_path), wrong=wrong)
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert WRONG[wrong] in ran.stdout


def test_a_good_call_passes(tmp_path: Path) -> None:
    script = SCRIPT.format(root=str(ROOT), spare=str(tmp_path), wrong="print('x')")
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout == ""
