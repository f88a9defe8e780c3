"""The watch of the fuzzing check sees what it is there to see."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from bpvet.command.main import COMMANDS
from reference_checks.fuzzing.counts import in_processes
from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.inputs import write_file
from reference_checks.fuzzing.judging import no_formula, nothing_acts, plain_json
from reference_checks.fuzzing.watch import Broken, Said

ROOT = Path(__file__).parents[1]
#: Where commands are called.
FILES = ("trial.py", "reports.py")
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


def test_every_command_is_called_by_the_trials_or_the_reports() -> None:
    called = "".join((ROOT / "reference_checks/fuzzing" / n).read_text() for n in FILES)
    assert [name for name in COMMANDS if f'"{name}"' not in called] == []


@pytest.mark.parametrize(
    ("cell", "formula"),
    [
        *(("=1+1", True), ("+a", True), ("@a", True), ("-a", True), ("-5", False)),
        *(("'=1+1", False), (" =1", True), ("a;=1", True), ("\uff1d1", True)),
        *(("a;'=1", False), ("' =1", False)),
    ],
)
def test_a_formula_in_a_sheet_is_seen(cell: str, formula: bool, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text(f"a,b\n1,{cell}\n")
    if formula:
        with pytest.raises(Broken, match="formula"):
            no_formula(table)
    else:
        no_formula(table)


@pytest.mark.parametrize(
    ("markup", "acts"),
    [
        ("<script>1</script>", True),
        ("<img src=x onerror=alert(1)>", True),
        ("<a href='javascript:alert(1)'>x</a>", True),
        ("<a href='http://example.org/'>x</a>", True),
        ("<p onclick='x'>y</p>", True),
        ("<p>&lt;script&gt;</p><a href='#below'>x</a>", False),
    ],
)
def test_what_could_act_on_a_page_is_seen(markup: str, acts: bool, tmp_path: Path) -> None:
    page = tmp_path / "p.html"
    page.write_text(f"<html><body>{markup}</body></html>")
    if acts:
        with pytest.raises(Broken, match="on the page"):
            nothing_acts(page)
    else:
        nothing_acts(page)


@pytest.mark.parametrize(
    ("printed", "wrong"),
    [
        ('{"a": NaN}', "NaN"),
        ('{"a": [1e999]}', "infinite"),
        ('{"a": 1', "no JSON"),
        (
            '{"readings": {"in": 3, "used": 1, "left_out": 1, "excluded": 0, "set_aside": 0}}',
            "add up",
        ),
    ],
)
def test_a_wrong_json_is_seen(printed: str, wrong: str) -> None:
    with pytest.raises(Broken, match=wrong):
        plain_json(Said(0, printed, "", 0.0))


def test_readings_that_add_up_pass() -> None:
    printed = '{"readings": {"in": 3, "used": 1, "left_out": 1, "excluded": 0, "set_aside": 1}}'
    assert plain_json(Said(0, printed, "", 0.0))["readings"]["in"] == 3


def test_counts_of_processes_add_up_and_one_that_died_is_told(tmp_path: Path) -> None:
    script = tmp_path / "s.py"
    script.write_text(
        "import json, sys\n"
        "if sys.argv[1] != 'dies':\n"
        "    held = {'tried': {'check': int(sys.argv[1])}, 'broken': 1, 'ended': True}\n"
        "    open(sys.argv[3], 'w').write(json.dumps(held))\n"
    )
    counts = in_processes(str(script), [["2"], ["3"]])
    assert (counts.inputs, counts.broken, counts.ended) == (5, 2, True)
    assert not in_processes(str(script), [["2"], ["dies"]]).ended


def test_the_same_bytes_are_the_same_trial(tmp_path: Path) -> None:
    data = random.Random(3).randbytes(900)
    held = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        place = write_file(Draws(data), tmp_path / name)
        held.append((place.name, place.read_bytes()))
    assert held[0] == held[1]
